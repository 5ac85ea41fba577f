"""What a crossing may lead over and what it keeps clear of, by hand.

Two lawns of 10 x 10 m to both sides of a drive 3 m wide; the crossing is 2 m wide, from y = 4 m to
6 m. Setbacks and widths are the rule book's and the machine class's.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from shapely import LineString, Point, box

from lawnplat.geometry import grow
from lawnplat.ground.build import build_ground
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.build import build_terrain

RULES = load_rule_book()
MEDIUM = load_machine("medium")
PASSAGE_M = MEDIUM.smallest_passage_m
PARCEL = box(0, 0, 23, 10)
DRIVE = box(10, 0, 13, 10)
OVER = box(10, 4, 13, 6)
ARC_M = 2e-3  # chords of an arc may come this much nearer
WIRED = ("flower_bed", "shrub", "hedge", "rock", "planter", "furniture", "no_mow", "fence")


def feature(kind, geometry, setback_m=None):
    return Feature(kind, geometry, f"features {kind}", setback_m=setback_m)


def planned(*things, rules=RULES, drive="path", over=OVER):
    features = (feature(drive, DRIVE), feature("crossing", over), *things)
    site = Site("1", "invented", "EPSG:25832", PARCEL, features=features)
    return build_ground(site, build_terrain(site, MEDIUM, rules, None), MEDIUM, rules)


def roles(ground):
    return [part.role for part in ground.parts]


def bed_in_the_way(kind, left_m):
    """A thing in the middle of the drive that leaves so much of the crossing clear to its south."""
    south = 4 + left_m + RULES.kinds[kind].setback_m
    return feature(kind, box(11, south, 12, 6.5))


@pytest.mark.parametrize("kind", WIRED)
def test_a_crossing_is_cut_to_what_a_thing_in_it_leaves_clear(kind):
    thing = bed_in_the_way(kind, PASSAGE_M + 0.05)
    ground = planned(thing)
    (strip,) = ground.wire_ground.crossings
    assert roles(ground) == ["main", "linked"]
    assert strip.distance(thing.geometry) >= RULES.kinds[kind].setback_m - ARC_M
    # It is still as wide as the machine passes: a disc of that width goes from lawn to lawn.
    (piece,) = ground.wire_ground.pieces
    beside = shapely.intersection(piece, box(9, 0, 14, 10))
    assert len(shapely.get_parts(grow(beside, -0.49 * PASSAGE_M))) == 1
    assert ground.findings == ()


@pytest.mark.parametrize("kind", WIRED)
def test_where_too_little_stays_clear_it_is_left_out_and_what_blocks_it_is_named(kind):
    thing = bed_in_the_way(kind, PASSAGE_M - 0.05)
    ground = planned(thing)
    assert ground.wire_ground.crossings == ()
    assert roles(ground) == ["main", "carried"]
    (finding,) = ground.findings
    assert (finding.rule, finding.severity) == ("crossing", "warn")
    assert finding.where == "features crossing"
    setback_m = RULES.kinds[kind].setback_m
    for word in (kind.replace("_", " "), f"features {kind}", f"{setback_m:.2f} m", "left out"):
        assert word in finding.text
    assert finding.limit == PASSAGE_M
    assert finding.place is not None
    assert finding.place.distance(thing.geometry) <= setback_m
    assert finding.place.within(grow(OVER, 1.0))


def test_what_blocks_most_is_named_and_the_rest_counted():
    row = [feature("rock", Point(11.5, y).buffer(0.25)) for y in (4.2, 5.8)]
    ground = planned(*row, feature("shrub", Point(11.5, 5).buffer(0.6)))
    (finding,) = ground.findings
    assert "shrub" in finding.text
    assert "2 more" in finding.text


def test_a_fence_right_across_blocks_a_crossing():
    ground = planned(feature("fence", LineString([(13.1, 0), (13.1, 10)])))
    assert ground.wire_ground.crossings == ()
    assert "fence" in ground.findings[0].text


@pytest.mark.parametrize("drive", ["path", "gravel", "paving_flush"])
def test_paths_and_paving_are_led_over(drive):
    ground = planned(drive=drive)
    assert len(ground.wire_ground.crossings) == 1
    assert ground.findings == ()


def test_a_things_own_setback_is_kept_in_a_crossing():
    shrub = feature("shrub", Point(11.5, 6.3).buffer(0.2), setback_m=1.0)
    (strip,) = planned(shrub).wire_ground.crossings
    assert strip.distance(shrub.geometry) >= 1.0 - ARC_M


def test_a_firms_rule_book_may_let_a_crossing_lead_over_a_kind():
    meadow = bed_in_the_way("no_mow", PASSAGE_M - 0.05)
    kinds = {**RULES.kinds, "no_mow": replace(RULES.kinds["no_mow"], crossable=True)}
    assert len(planned(meadow, rules=replace(RULES, kinds=kinds)).wire_ground.crossings) == 1
    # A barrier stays one.
    pond = bed_in_the_way("water", PASSAGE_M - 0.05)
    kinds = {**RULES.kinds, "water": replace(RULES.kinds["water"], crossable=True)}
    assert planned(pond, rules=replace(RULES, kinds=kinds)).wire_ground.crossings == ()


def test_a_strip_stays_by_the_crossing_that_was_surveyed():
    # It lies along the drive: prolonged square to it, all its length would be led over.
    along = shapely.Polygon([(11, 2), (12.4, 0.5), (12.8, 4.7), (12.1, 4.8), (11.7, 4)])
    (strip,) = planned(over=along).wire_ground.crossings
    widest_m = max(rule.setback_m for rule in RULES.kinds.values())
    near = grow(along, 2 * widest_m + RULES.wire.corner_radius_m)
    assert shapely.difference(strip, near).area < 1e-4
