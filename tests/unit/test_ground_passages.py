"""Narrow places and crossings by hand, on lawns drawn on squared paper."""

from __future__ import annotations

import math

import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from lawnplat.geometry import grow
from lawnplat.ground.build import build_ground
from lawnplat.ground.crossings import Strip, strips
from lawnplat.ground.narrow import clear_width, divide, measure
from lawnplat.ground.pieces import closed_passages, joined, parts_of
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.build import build_terrain

RULES = load_rule_book()
MEDIUM = load_machine("medium")  # smallest passage 0.7 m, comfortable 2.0 m
# Widths are found by bisection to a 4096th of the comfortable width, on chords of 1/64 turn, with
# 2 cm of slack where a disc touches a wide piece.
WIDTH_M = 2e-3


def two_yards(width_m, length_m=4.0):
    """Two yards of 10 x 10 m joined by a straight lane in the middle of their facing sides."""
    half = width_m / 2
    lane = box(9.9, 5 - half, 10.1 + length_m, 5 + half)
    return shapely.union_all([box(0, 0, 10, 10), lane, box(10 + length_m, 0, 20 + length_m, 10)])


@pytest.mark.parametrize("width_m", [0.75, 0.9, 1.2, 1.6, 1.95])
def test_a_lane_is_a_passage_as_wide_as_it_is_drawn(width_m):
    division = divide(two_yards(width_m), MEDIUM.comfortable_passage_m, 4.0)
    (passage,) = division.passages
    assert passage.width_m == pytest.approx(width_m, abs=WIDTH_M)
    assert passage.verdict == "guided"
    assert division.links == ((0, 1),)
    # Its sides are 4 m. A disc of 1 m lies within the 2 cm that count as touching for at most
    # sqrt(2 x 1 x 0.02) = 0.2 m from each mouth.
    assert 4.0 - 2 * 0.2 <= passage.length_m <= 4.0
    start, end = shapely.get_coordinates(passage.axis)
    assert start[1] == pytest.approx(5, abs=1e-6)
    assert end[1] == pytest.approx(5, abs=1e-6)


@pytest.mark.parametrize("width_m", [2.05, 3.0, 10.0])
def test_a_wide_lane_parts_nothing(width_m):
    division = divide(two_yards(width_m), MEDIUM.comfortable_passage_m, 4.0)
    assert (len(division.parts), division.passages) == (1, ())


def test_the_parts_and_the_passage_make_the_piece():
    piece = two_yards(1.0)
    division = divide(piece, 2.0, 4.0)
    assert shapely.union_all(list(division.parts)).area == pytest.approx(piece.area, rel=1e-6)
    assert sum(part.area for part in division.parts) == pytest.approx(piece.area, rel=1e-6)


def test_a_niche_behind_a_narrow_place_is_no_part_of_its_own():
    # Behind the lane lies a niche of 2.4 x 2.4 m: a disc of 1 m fits in, but it has under 6 m2.
    niche = shapely.union_all([box(0, 0, 10, 10), box(9.9, 4.5, 12, 5.5), box(12, 3.8, 14.4, 6.2)])
    assert len(divide(niche, 2.0, 6.0).parts) == 1
    assert len(divide(niche, 2.0, 4.0).parts) == 2


def test_three_yards_in_a_row_have_two_passages():
    row = shapely.union_all([two_yards(1.0), shapely.affinity.translate(two_yards(1.4), 14, 0)])
    division = divide(row, 2.0, 4.0)
    assert len(division.parts) == 3
    assert sorted(p.width_m for p in division.passages) == pytest.approx([1.0, 1.4], abs=WIDTH_M)


def test_a_funnel_is_as_wide_as_its_narrowest_place():
    neck = Polygon([(9.9, 4), (12, 4.6), (14.1, 4), (14.1, 6), (12, 5.4), (9.9, 6)])
    piece = shapely.union_all([box(0, 0, 10, 10), neck, box(14, 0, 24, 10)])
    (passage,) = divide(piece, 2.0, 4.0).passages
    # 0.8 m between the two tips: nothing else is narrower (by hand).
    assert passage.width_m == pytest.approx(0.8, abs=WIDTH_M)


def test_clear_width_and_measure_between_given_wide_pieces():
    one, other, neck = box(0, 0, 4, 4), box(6, 0, 10, 4), box(4, 1.5, 6, 2.5)
    ground = shapely.union_all([one, other, neck])
    assert clear_width(ground, neck, one, other, 2.0) == pytest.approx(1.0, abs=WIDTH_M)
    passage = measure(ground, neck, one, other, 2.0)
    # The 2 cm that count as touching are missing at both ends.
    assert passage.length_m == pytest.approx(2.0 - 0.04, abs=0.01)
    assert passage.verdict == "guided"
    assert measure(ground, neck, one, other, 0.9).verdict == "open"
    # Walled off, nothing passes.
    assert clear_width(shapely.union_all([one, other]), neck, one, other, 2.0) < WIDTH_M


def planned_ground(*features, parcel):
    site = Site("1", "invented", "EPSG:25832", parcel, features=features)
    return build_ground(site, build_terrain(site, MEDIUM, RULES, None), MEDIUM, RULES)


def feature(kind, geometry):
    return Feature(kind, geometry, f"features {kind}")


@pytest.mark.parametrize(
    # The lane between the house and the edge is 0.35 m narrower on both sides than drawn.
    ("gap_m", "verdict", "roles"),
    [(1.0, "closed", ["main", "carried"]), (1.6, "guided", ["main", "linked"]),
     (3.0, None, ["main"])],
)  # fmt: skip
def test_front_and_back_past_a_house(gap_m, verdict, roles):
    house = feature("building", box(0, 10, 12 - gap_m, 20))
    ground = planned_ground(house, parcel=box(0, 0, 12, 30))
    assert [part.role for part in ground.parts] == roles
    assert [passage.verdict for passage in ground.passages] == ([verdict] if verdict else [])
    for passage in ground.passages:
        assert passage.width_m == pytest.approx(gap_m - 0.7, abs=WIDTH_M)


def two_lawns_and_a_drive():
    """10 x 10 m to both sides of a drive 3 m wide."""
    return box(0, 0, 23, 10), feature("path", box(10, 0, 13, 10))


def test_a_crossing_joins_two_lawns():
    parcel, drive = two_lawns_and_a_drive()
    ground = planned_ground(drive, feature("crossing", box(10, 4, 13, 5.5)), parcel=parcel)
    (strip,) = ground.wire_ground.crossings
    # Over the drive and its two setbacks of 0.3 m: 3.6 x 1.5 m, and at each mouth two corners of
    # the rule book's radius, which take (1 - pi / 4) r^2 each of what was given up to the drive.
    assert shapely.covers(grow(strip, 1e-6), box(9.7, 4, 13.3, 5.5))
    radius_m = RULES.wire.corner_radius_m
    assert strip.bounds == pytest.approx((9.7, 4 - radius_m, 13.3, 5.5 + radius_m), abs=0.02)
    corners_m2 = 4 * (1 - math.pi / 4) * radius_m**2
    assert strip.area == pytest.approx(3.6 * 1.5 + corners_m2, abs=0.01 * corners_m2)
    assert [(part.role, part.via) for part in ground.parts] == [
        ("main", "crossing"), ("linked", "crossing"),
    ]  # fmt: skip
    (piece,) = ground.wire_ground.pieces
    lawns = sum(part.area.area for part in ground.parts)
    assert piece.area == pytest.approx(lawns + strip.area, abs=1e-4)
    assert ground.findings == ()


def test_without_a_crossing_the_second_lawn_is_carried():
    parcel, drive = two_lawns_and_a_drive()
    ground = planned_ground(drive, parcel=parcel)
    assert [part.role for part in ground.parts] == ["main", "carried"]
    assert len(ground.wire_ground.pieces) == 2


@pytest.mark.parametrize(
    "shape", [box(10, 4, 13, 4.6), box(2, 2, 4, 4)],
    ids=["narrower than the machine", "in the middle of a lawn"],
)  # fmt: skip
def test_a_useless_crossing_is_said_to_be(shape):
    parcel, drive = two_lawns_and_a_drive()
    ground = planned_ground(drive, feature("crossing", shape), parcel=parcel)
    (finding,) = ground.findings
    assert (finding.rule, finding.severity) == ("crossing", "warn")
    assert finding.where == "features crossing"
    assert finding.limit == MEDIUM.smallest_passage_m
    assert [part.role for part in ground.parts] == ["main", "carried"]


def test_a_crossing_drawn_too_short_is_prolonged():
    # It ends a metre before the drive's edge: less than twice the widest setback and a machine.
    parcel, drive = two_lawns_and_a_drive()
    ground = planned_ground(drive, feature("crossing", box(10, 4, 12, 5.5)), parcel=parcel)
    (strip,) = ground.wire_ground.crossings
    assert shapely.covers(grow(strip, 1e-6), box(9.7, 4, 13.3, 5.5))
    assert strip.bounds[::2] == pytest.approx((9.7, 13.3), abs=1e-6)


def test_a_crossing_over_a_junction_is_not_drawn_out_along_the_drive():
    """A strip leads over what it is drawn on, prolonged by setbacks and a machine's width alone."""
    parcel, drive = two_lawns_and_a_drive()
    spur = feature("path", box(13, 4, 23, 5.6))
    way = feature("crossing", box(10, 3.6, 13.5, 6))
    ground = planned_ground(drive, spur, way, parcel=parcel)
    reach_m = 2 * RULES.kinds["path"].setback_m + 1.5 * MEDIUM.smallest_passage_m
    for strip in ground.wire_ground.crossings:
        assert shapely.covers(box(10 - reach_m, 0, 13.5 + reach_m, 10), strip)


def test_a_crossing_keeps_off_a_tree_that_stands_in_it():
    parcel, drive = two_lawns_and_a_drive()
    trunk = feature("tree", Point(11.5, 4.3).buffer(0.2))
    ground = planned_ground(drive, trunk, feature("crossing", box(10, 4, 13, 6)), parcel=parcel)
    (strip,) = ground.wire_ground.crossings
    # Chords of an arc may come 2 mm nearer.
    assert strip.distance(trunk.geometry) >= RULES.kinds["tree"].setback_m - 2e-3
    blocked = feature("tree", Point(11.5, 5).buffer(0.4))
    ground = planned_ground(drive, blocked, feature("crossing", box(10, 4, 13, 6)), parcel=parcel)
    assert ground.wire_ground.crossings == ()
    assert [finding.rule for finding in ground.findings] == ["crossing"]


def test_strips_by_themselves():
    lawns = [box(0.35, 0.35, 9.7, 9.65), box(13.3, 0.35, 22.65, 9.65)]
    _, drive = two_lawns_and_a_drive()
    way = feature("crossing", box(10, 4, 13, 6))
    site = Site("1", "invented", "EPSG:25832", box(0, 0, 23, 10), features=(drive, way))
    found, findings = strips(lawns, site, Polygon(), MEDIUM, RULES)
    assert findings == []
    assert [strip.joins for strip in found] == [(0, 1)]


def test_joined_pieces_come_largest_first():
    small, middle, large = box(0, 0, 4, 4), box(6, 0, 12, 6), box(20, 0, 30, 10)
    pieces = joined([small, middle, large], [Strip(box(4, 1, 6, 2), (0, 1))])
    assert [round(piece.mown_m2) for piece in pieces] == [100, 16 + 36]
    assert pieces[1].area.area == pytest.approx(16 + 36 + 2, abs=1e-4)
    assert pieces[0].strips == ()


def test_parts_are_numbered_from_the_largest_and_firm_things_cut_out():
    piece = joined([two_yards(1.0)], [])
    parts, passages = parts_of(piece, box(4, 4, 5, 5), MEDIUM, RULES)
    assert [(part.number, part.role, part.via) for part in parts] == [
        (1, "main", "passage"), (2, "linked", "passage"),
    ]  # fmt: skip
    assert len(passages) == 1
    assert sum(part.area.area for part in parts) == pytest.approx(204 - 1, rel=1e-5)


def test_a_closed_passage_is_measured():
    one, other, neck = box(0, 0, 8, 8), box(10, 0, 18, 8), box(8, 4, 10, 4.5)
    (passage,) = closed_passages([neck], joined([one, other], []), MEDIUM)
    assert passage.verdict == "closed"
    assert passage.width_m == pytest.approx(0.5, abs=WIDTH_M)
    assert passage.length_m == pytest.approx(2.0, abs=0.01)
    # What leads nowhere is no passage.
    assert closed_passages([box(8, 4, 9, 4.5)], joined([one, other], []), MEDIUM) == []
    assert closed_passages([neck], [], MEDIUM) == []


def test_the_axis_of_a_passage_is_a_line_along_it():
    (passage,) = divide(two_yards(1.0), 2.0, 4.0).passages
    assert isinstance(passage.axis, LineString)
    assert passage.area.covers(passage.axis.interpolate(0.5, normalized=True))


@pytest.mark.parametrize("gap_m", [0.8, 1.2, 1.6])
def test_a_short_neck_between_two_ponds_is_as_wide_as_they_are_apart(gap_m):
    # Closed form: two circles of radius r whose centres are 6 m apart leave a gap of 6 - 2 r.
    ponds = [Point(6, y).buffer(3 - gap_m / 2, quad_segs=64) for y in (0, 6)]
    lawn = shapely.difference(box(0, 0, 12, 6), shapely.union_all(ponds))
    (passage,) = divide(lawn, 2.0, 1.0).passages
    assert passage.width_m == pytest.approx(gap_m, abs=WIDTH_M)
    assert passage.verdict == "guided"


@pytest.mark.parametrize("apart_m", [0.6, 1.0, 4.0])
def test_of_two_lanes_side_by_side_each_is_as_wide_as_it_is_drawn(apart_m):
    # Once the narrow one was told nearly as wide as its neighbour, through which a disc came round.
    lanes = [box(9.9, 2, 12.1, 2.9), box(9.9, 2.9 + apart_m, 12.1, 4.5 + apart_m)]
    lawn = shapely.union_all([box(0, 0, 10, 10), *lanes, box(12, 0, 22, 10)])
    found = divide(lawn, 2.0, 4.0).passages
    assert sorted(passage.width_m for passage in found) == pytest.approx([0.9, 1.6], abs=WIDTH_M)
