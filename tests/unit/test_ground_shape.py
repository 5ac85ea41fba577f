"""Corners rounded where room allows, islands joined where the machine cannot pass between them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, affinity, box

from lawnplat.geometry import grow, polygons
from lawnplat.ground.build import build_ground
from lawnplat.ground.opening import opened
from lawnplat.ground.shape import rounded, shaped
from lawnplat.ground.waists import without_waists
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.build import build_terrain

RULES = load_rule_book()
MEDIUM = load_machine("medium")
DISC_M = MEDIUM.smallest_passage_m / 2
CHORD = 2 * math.pi / 64
"""Arcs are chords of a 64th of a turn."""


def with_corners(radius_m):
    return replace(RULES, wire=replace(RULES.wire, corner_radius_m=radius_m))


def ground_of(*features, parcel, rules=RULES):
    site = Site("1", "invented", "EPSG:25832", parcel, features=features)
    return build_ground(site, build_terrain(site, MEDIUM, rules, None), MEDIUM, rules)


def tightest_m(polygon):
    """Return the least radius over 0.2 m of any outward turn of the outer ring."""
    ring = shapely.orient_polygons(polygon, exterior_cw=False).exterior
    count = int(np.ceil(ring.length / 0.02))
    step = ring.length / count
    places = shapely.line_interpolate_point(ring, (np.arange(2 * count) % count + 0.5) * step)
    run = np.diff(shapely.get_coordinates(places), axis=0)
    heading = np.unwrap(np.arctan2(run[:, 1], run[:, 0]))
    window = round(0.2 / step)
    turn = heading[window:] - heading[:-window]
    return window * step / max(turn.max() - CHORD, 1e-9)


@pytest.mark.parametrize("radius_m", [0.5, 1.0, 2.0])
def test_a_rectangles_corners_take_the_rule_books_radius(radius_m):
    ground = ground_of(parcel=box(0, 0, 20, 12), rules=with_corners(radius_m))
    part = ground.parts[0].area
    sides = 20 - 2 * RULES.ground.open_edge_m, 12 - 2 * RULES.ground.open_edge_m
    exact = math.prod(sides) - (4 - math.pi) * radius_m**2
    # A circle less its 64-gon, GEOS rounding the chords of one arc by half as much again.
    chords = 1.5**2 * (math.pi - 32 * math.sin(math.pi / 32)) * radius_m**2
    assert part.area == pytest.approx(exact, abs=chords + 1e-6)
    assert tightest_m(part) >= 0.95 * radius_m  # 0.02 m steps at both ends of 0.2 m
    given_up = sum(each.area.area for each in ground.keep_outs)
    assert part.area + given_up == pytest.approx(240, abs=1e-6)


def test_a_smaller_radius_than_the_machines_own_changes_nothing():
    plain = ground_of(parcel=box(0, 0, 20, 12), rules=with_corners(0.0))
    for radius_m in (0.3, DISC_M):
        same = ground_of(parcel=box(0, 0, 20, 12), rules=with_corners(radius_m))
        assert same.parts[0].area.equals_exact(plain.parts[0].area, 0.0)


@pytest.mark.parametrize("width_m", [0.8, 1.2, 1.9, 2.5])
def test_passages_keep_their_width(width_m):
    """Two lawns and a passage narrower than the corners' discs between them."""
    neck = box(9, 5, 13, 5 + width_m)
    lawn = shapely.union_all([box(0, 0, 10, 10), neck, box(12, 0, 22, 10)])
    reach = shaped(lawn, MEDIUM, with_corners(1.0))
    assert len(polygons(reach)) == 1
    middle = shapely.intersection(reach, box(10.5, 4, 11.5, 8))
    assert middle.area == pytest.approx(width_m, rel=1e-6)


def test_a_waist_at_a_houses_corner_keeps_its_width():
    house = box(10, 0, 20, 8.1)
    lawn = shapely.difference(box(0, 0, 30, 10), house)
    reach = shaped(lawn, MEDIUM, with_corners(1.0))
    assert shapely.intersection(reach, box(14, 8, 16, 10)).area == pytest.approx(3.8, rel=1e-6)


def test_a_waist_at_a_corner_turned_to_the_edge_keeps_its_width():
    """Discs come near from both sides, so that what is left over looks like two corners' tips."""
    house = Polygon([(15, 8.1), (19, 4.1), (15, 0.1), (11, 4.1)])
    lawn = shapely.difference(box(0, -10, 30, 10), house)
    reach = shaped(lawn, MEDIUM, with_corners(1.0))
    lost = shapely.intersection(shapely.difference(lawn, reach), box(11, 7, 19, 10))
    assert lost.area < 1e-6


def test_an_arm_too_narrow_for_the_radius_is_still_mown():
    lawn = shapely.union(box(0, 0, 10, 10), box(9, 4, 18, 5))
    reach = shaped(lawn, MEDIUM, with_corners(1.0))
    assert reach.bounds[2] == pytest.approx(18, abs=1e-6)
    assert tightest_m(polygons(reach)[0]) >= 0.95 * DISC_M


def test_an_inward_corner_has_the_setbacks_radius():
    """Round a house's corner the wire runs on an arc of the setback: no tighter than the rule."""
    house = Feature("building", box(8, 4, 12, 8), "invented")
    (hole,) = ground_of(house, parcel=box(0, 0, 20, 12)).parts[0].area.interiors
    setback_m = RULES.kinds["building"].setback_m
    length = 4 * 4 + 2 * math.pi * setback_m  # Steiner: perimeter and a whole turn
    assert hole.length == pytest.approx(length, rel=1e-3)  # chords


def tightest_inward_m(ring):
    """Return the least radius over 0.15 m of any turn of a closed ring round what it holds."""
    ring = shapely.orient_polygons(Polygon(ring), exterior_cw=False).exterior
    count = int(np.ceil(ring.length / 0.01))
    step = ring.length / count
    places = shapely.line_interpolate_point(ring, (np.arange(2 * count) % count + 0.5) * step)
    run = np.diff(shapely.get_coordinates(places), axis=0)
    heading = np.unwrap(np.arctan2(run[:, 1], run[:, 0]))
    window = round(0.15 / step)
    turn = (heading[window:] - heading[:-window]).max()
    return window * step / max(turn - CHORD, 1e-9)


TERRACE = box(8, 4, 12, 8)


@pytest.mark.parametrize(
    ("kind", "shape", "radius_m", "sliver_m2"),
    [
        # At a right angle a disc of 0.3 m over an arc of 0.1 m sticks out beyond both straights by
        # (0.3 - 0.1)(1 - 1 / root 2) = 59 mm: two segments of 0.014 m2 each, and their fillets.
        ("paving_flush", TERRACE, 0.3, 0.035),
        ("paving_flush", affinity.rotate(TERRACE, 30), 0.3, 0.035),
        ("paving_flush", Polygon([(8, 4), (12, 4.5), (8, 8)]), 0.3, 0.15),  # down to 41 degrees
        ("paving_flush", box(8, 4, 12, 4.1), 0.3, 0.12),  # an edging: a whole turn at each end
        ("paving_flush", LineString([(8, 4), (12, 4), (12, 8)]), 0.3, 0.2),
        ("paving_flush", box(8, 4, 8.2, 4.2), 0.3, 0.15),  # smaller than the wire can turn
        ("building", TERRACE, 1.0, 0.4),
    ],
)
def test_an_inward_corner_tighter_than_the_rule_is_swung_round(kind, shape, radius_m, sliver_m2):
    """Nothing nearer than the setback, no bend tighter, a sliver a corner given up and no more."""
    rules = with_corners(radius_m)
    thing = Feature(kind, shape, "invented")
    ground = ground_of(thing, parcel=box(0, 0, 20, 12), rules=rules)
    plain = ground_of(thing, parcel=box(0, 0, 20, 12), rules=with_corners(0.0))
    ((hole,), (tight,)) = (each.parts[0].area.interiors for each in (ground, plain))
    setback_m = RULES.kinds[kind].setback_m
    assert hole.distance(shape) >= setback_m - 2e-3  # chords of an arc
    # Corners are as good as round where the wire lies within 5 mm of it: over 0.15 m, 7 %.
    assert tightest_inward_m(hole) >= 0.9 * radius_m
    corners = len(np.unique(shapely.get_coordinates(shape), axis=0))
    lost_m2 = Polygon(hole).area - Polygon(tight).area
    assert 0 < lost_m2 <= corners * sliver_m2
    whole = ground.parts[0].area.area + sum(each.area.area for each in ground.keep_outs)
    assert whole == pytest.approx(ground.lawn.area, abs=1e-6)
    # Where nothing bends, the wire has not moved: by no more than an opening's chords.
    moved = shapely.difference(Polygon(hole), grow(Polygon(tight), 1e-3))
    ends = shapely.multipoints(shapely.get_coordinates(shape))
    assert shapely.covers(grow(ends, 2 * radius_m + 1.0), moved)


def test_an_inward_corner_in_a_passage_leaves_the_passage_its_width():
    """Between flush paving and the edge the machine just passes: there is no room to swing out."""
    paving = Feature("paving_flush", box(8, 0, 12, 10.75), "invented")
    ground = ground_of(paving, parcel=box(0, 0, 20, 12))
    assert [part.role for part in ground.parts] == ["main", "linked"]
    (passage,) = ground.passages
    # 1.25 m less 0.35 m at the open edge and 0.1 m at the paving, to the bisection's 0.5 mm.
    assert passage.width_m == pytest.approx(0.8, abs=1e-3)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(0, 2 * math.pi), min_size=3, max_size=7, unique=True),
    st.floats(0.4, 1.5),
)
def test_corners_of_convex_lawns_bend_no_tighter_than_the_rule(angles, radius_m):
    lawn = shapely.convex_hull(
        shapely.multipoints([(8 * math.cos(angle), 8 * math.sin(angle)) for angle in angles])
    )
    inner = grow(lawn, -4 * radius_m)
    if lawn.area < 1 or inner.is_empty or inner.area < 1:
        return  # no room
    reach = rounded(grow(grow(lawn, -DISC_M), DISC_M), radius_m, DISC_M)
    # Corners under some 40 degrees run out in a tip, which is kept: look at the others.
    turns = shapely.get_coordinates(lawn.exterior)[:-1]
    before, after = np.roll(turns, 1, axis=0) - turns, np.roll(turns, -1, axis=0) - turns
    cosines = np.sum(before * after, axis=1) / np.hypot(*before.T) / np.hypot(*after.T)
    if np.degrees(np.arccos(np.clip(cosines, -1, 1))).min() < 45:
        return
    assert len(polygons(reach)) == 1
    assert tightest_m(polygons(reach)[0]) >= 0.93 * radius_m
    assert shapely.difference(reach, lawn).area < 1e-6


@pytest.mark.parametrize(
    ("gap_m", "rings"),
    [(0.0, 1), (0.4, 1), (0.6, 1), (0.65, 1), (0.69, 1), (0.71, 2), (1.5, 2)],
)
def test_islands_closer_than_the_machine_passes_are_one(gap_m, rings):
    """Two round beds whose setbacks leave ``gap_m``: the smallest passage of the class is 0.70."""
    setback_m = RULES.kinds["flower_bed"].setback_m
    apart = 2 * (1 + setback_m) + gap_m
    beds = [
        Feature("flower_bed", Point(10 + side * apart / 2, 8).buffer(1, quad_segs=64), "invented")
        for side in (-1, 1)
    ]
    ground = ground_of(*beds, parcel=box(0, 0, 20, 16))
    (part,) = ground.parts
    assert len(part.area.interiors) == rings
    whole = part.area.area + sum(each.area.area for each in ground.keep_outs)
    assert whole == pytest.approx(ground.lawn.area, abs=1e-6)


@pytest.mark.parametrize(("gap_m", "rings"), [(0.3, 0), (0.65, 0), (0.69, 0), (0.71, 1)])
def test_an_island_closer_to_the_edge_than_the_machine_passes_is_part_of_the_edge(gap_m, rings):
    reach_m = RULES.ground.open_edge_m + gap_m + RULES.kinds["flower_bed"].setback_m
    bed = Feature("flower_bed", Point(10, reach_m + 1).buffer(1, quad_segs=64), "invented")
    (part,) = ground_of(bed, parcel=box(0, 0, 20, 16)).parts
    assert len(part.area.interiors) == rings


@pytest.mark.parametrize(("width_m", "pieces"), [(0.6, 2), (0.69, 2), (0.71, 1)])
def test_a_waist_between_two_rounds_parts_the_lawn_when_no_disc_passes(width_m, pieces):
    rounds = [Point(10, side * (1.5 + width_m / 2)).buffer(1.5, quad_segs=64) for side in (-1, 1)]
    lawn = shapely.difference(box(0, -1.5, 20, 1.5), shapely.union_all(rounds))
    assert len(polygons(shaped(lawn, MEDIUM, RULES))) == pieces


@pytest.mark.parametrize("gap_m", [0.64, 0.652, 0.655, 0.661, 0.6624, 0.67])
def test_the_wires_on_both_sides_of_a_closed_neck_keep_apart(gap_m):
    """A round of 1.3 m stands ``gap_m`` off a straight edge, too near for a disc of 0.35 m."""
    round_m, wide_m = 1.3, 0.1  # 5 cm to both sides of a waist: our own rule
    lawn = box(-8, 0, 8, 10) - Point(0, gap_m + round_m).buffer(round_m, quad_segs=256)
    (left,) = polygons(without_waists(opened(lawn, DISC_M), DISC_M))
    assert len(left.interiors) == 0
    one, other = (left.intersection(box(x, 0, x + 1, 2 * DISC_M)) for x in (-1, 0))
    # By hand: discs that touch edge and round from both sides have their middles this far apart.
    high_m = gap_m + round_m - DISC_M
    across = (round_m + DISC_M) ** 2 - high_m**2
    apart_m = 2 * math.sqrt(max(across, 0)) - 2 * DISC_M
    # Chords: a disc of 64 corners is up to 0.4 mm short of its circle on each side.
    assert one.distance(other) == pytest.approx(max(apart_m, wide_m), abs=5e-3)


def test_no_hole_of_a_hairs_width_is_left():
    """A ring so thin that no wire could go round it: 0.1 mm of lawn missing."""
    lawn = shapely.difference(box(0, 0, 10, 10), box(5, 5, 5.0001, 5.0001))
    assert len(polygons(shaped(lawn, MEDIUM, RULES))[0].interiors) == 0
