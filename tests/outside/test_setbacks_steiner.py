"""Setbacks against Steiner's formulae for parallel bodies.

A convex polygon with area A, perimeter P and inner angles a_i has the inset A - P r + r^2 sum
cot(a_i/2) while no edge vanishes, and the outset A + P r + pi r^2 (Steiner, as in any textbook on
convex bodies; the figures for 20 x 10 and the 3-4-5 triangle are from our table of check values).
A disc of radius q that is rolled through a corner of angle a leaves q^2 (cot(a/2) - (pi - a)/2) of
it (the kite between the corner and the touching points, less the sector: arithmetic).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.spatial import HalfspaceIntersection
from shapely import LineString, Point, Polygon, box

from lawnplat.geometry import QUARTER_SEGMENTS
from lawnplat.ground.build import build_ground
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.build import build_terrain

RULES = load_rule_book()
MEDIUM = load_machine("medium")
EDGE_M = RULES.ground.open_edge_m
DISC_M = MEDIUM.smallest_passage_m / 2

# Arcs are drawn as chords, so that a rounded corner is short of its circle, never beyond it: round
# a whole turn by the circle less the polygon of 4 x 16 corners in it, and as GEOS rounds the number
# of chords to the nearest, one may span half as much again; what is lost goes with the square.
CHORDS = 1.5**2 * (math.pi - 2 * QUARTER_SEGMENTS * math.sin(math.pi / (2 * QUARTER_SEGMENTS)))
# 1e-9 m of rounding in GEOS' own arithmetic along some 100 m of rim.
ROUNDING_M2 = 1e-6


def ground_of(parcel, *features, machine=MEDIUM, rules=RULES):
    site = Site("1", "invented", "EPSG:25832", parcel, features=features)
    return build_ground(site, build_terrain(site, machine, rules, None), machine, rules)


def fine(radius_m, smallest_part_m2=0.1):
    """Return a machine whose disc is ``radius_m``, and rules that keep small lawns."""
    machine = replace(MEDIUM, smallest_passage_m=2 * radius_m)
    return machine, replace(RULES, ground=replace(RULES.ground, smallest_part_m2=smallest_part_m2))


def inner_angles(polygon):
    ring = np.array(shapely.orient_polygons(polygon).exterior.coords)[:-1]
    before, after = np.roll(ring, 1, axis=0) - ring, np.roll(ring, -1, axis=0) - ring
    turn = np.arctan2(before[:, 1], before[:, 0]) - np.arctan2(after[:, 1], after[:, 0])
    return np.mod(turn, 2 * math.pi)


def cotangents(angles):
    return float((1 / np.tan(angles / 2)).sum())


def mown_by_steiner(polygon, setback_m, disc_m):
    """Area and rim of the mitred inset with its corners rounded by the disc."""
    angles = inner_angles(polygon)
    cot = cotangents(angles)
    area = polygon.area - polygon.length * setback_m + setback_m**2 * cot
    lost = disc_m**2 * (cot - ((math.pi - angles) / 2).sum())
    rim = polygon.length - 2 * (setback_m + disc_m) * cot + disc_m * (math.pi - angles).sum()
    return area - lost, rim


def only_part(ground):
    assert len(ground.parts) == 1
    return ground.parts[0].area


def assert_short_by_chords(found_m2, exact_m2, radius_m):
    assert -CHORDS * radius_m**2 - ROUNDING_M2 <= found_m2 - exact_m2 <= ROUNDING_M2


def test_a_rectangle_with_open_edges():
    # 20 x 10 less 0.35 all round is 19.3 x 9.3; four square corners lose q^2 (1 - pi/4) each.
    mown = only_part(ground_of(box(0, 0, 20, 10)))
    exact = 19.3 * 9.3 - DISC_M**2 * (4 - math.pi)
    assert exact == pytest.approx(mown_by_steiner(box(0, 0, 20, 10), EDGE_M, DISC_M)[0])
    assert_short_by_chords(mown.area, exact, DISC_M)


@pytest.mark.parametrize(
    # Inset of 20 x 10 by 0.3 and by 1: table of check values. A path keeps 0.3, water 1.0.
    ("kind", "setback_m", "inset_m2"),
    [("path", 0.3, 182.36), ("water", 1.0, 144.0), ("fence", 0.35, 19.3 * 9.3)],
)
def test_a_rectangle_with_one_thing_all_round(kind, setback_m, inset_m2):
    assert RULES.kinds[kind].setback_m == setback_m
    round_it = Feature(kind, LineString(box(0, 0, 20, 10).exterior.coords), "invented")
    ground = ground_of(box(0, 0, 20, 10), round_it)
    assert ground.open_edges is None
    assert_short_by_chords(only_part(ground).area, inset_m2 - DISC_M**2 * (4 - math.pi), DISC_M)


def test_a_setback_of_the_features_own_goes_before_its_kinds():
    round_it = Feature("fence", LineString(box(0, 0, 20, 10).exterior.coords), "", setback_m=1.0)
    ground = ground_of(box(0, 0, 20, 10), round_it)
    assert_short_by_chords(only_part(ground).area, 144 - DISC_M**2 * (4 - math.pi), DISC_M)


def test_the_triangle_of_three_four_five():
    # Its inset by 0.5 is 1.5 m2 (table of check values: the incircle has radius 1, so half the
    # size). A disc of 1 cm keeps the corners' share at 0.2 %.
    triangle = Polygon([(0, 0), (4, 0), (0, 3)])
    machine, rules = fine(0.01)
    edge = Feature("path", LineString(triangle.exterior.coords), "", setback_m=0.5)
    mown = only_part(ground_of(triangle, edge, machine=machine, rules=rules))
    exact, rim = mown_by_steiner(triangle, 0.5, 0.01)
    assert exact == pytest.approx(1.5, abs=0.003)
    assert_short_by_chords(mown.area, exact, 0.01)
    # 1 % of chords on arcs of 6 cm in all.
    assert mown.length == pytest.approx(rim, abs=1e-4)


@pytest.mark.parametrize("sides", [3, 4, 5, 6, 8, 12])
def test_regular_polygons(sides):
    # Side s: A = n s^2 / (4 tan(pi/n)); the inset by r has the inradius less r (geometry).
    side = 30.0 / sides + 3.0
    around = 2 * math.pi * np.arange(sides) / sides
    inradius = side / (2 * math.tan(math.pi / sides))
    corner = inradius / math.cos(math.pi / sides)
    polygon = Polygon(np.stack([np.cos(around), np.sin(around)], axis=1) * corner)
    inset = sides * math.tan(math.pi / sides) * (inradius - EDGE_M) ** 2
    angle = math.pi * (sides - 2) / sides
    lost = sides * DISC_M**2 * (1 / math.tan(angle / 2) - (math.pi - angle) / 2)
    assert_short_by_chords(only_part(ground_of(polygon)).area, inset - lost, DISC_M)


@pytest.mark.parametrize("turn_deg", [0.0, 17.0, 45.0, 88.5])
def test_a_lawn_turned_is_the_same_lawn(turn_deg):
    turned = shapely.affinity.rotate(box(0, 0, 20, 10), turn_deg, origin=(3, 4))
    exact = 19.3 * 9.3 - DISC_M**2 * (4 - math.pi)
    assert_short_by_chords(only_part(ground_of(turned)).area, exact, DISC_M)


def test_an_island_takes_its_outer_parallel_body():
    # 20 x 10 grown by 1 with round corners: 263.141593 m2, rim 66.283185 m (table of check values).
    pond = Feature("water", box(10, 10, 30, 20), "invented")
    (hole,) = only_part(ground_of(box(0, 0, 40, 30), pond)).interiors
    assert_short_by_chords(Polygon(hole).area, 263.141593, 1.0)
    # Chords of 1.5/64 turn are 0.09 % shorter than their arcs of 2 pi in all.
    assert -0.0009 * 2 * math.pi < hole.length - 66.283185 < 0


def test_a_round_island():
    # A disc of 2 m with a setback of 1 m: a disc of 3 m. Its outline is the inner polygon of the
    # 2 m circle in 256 corners, 2e-4 smaller.
    pond = Feature("water", Point(10, 10).buffer(2, quad_segs=64), "invented")
    (hole,) = only_part(ground_of(box(0, 0, 20, 20), pond)).interiors
    body_m2 = math.pi * 4 - Point(0, 0).buffer(2, quad_segs=64).area
    assert 0 <= math.pi * 9 - Polygon(hole).area <= 3 * body_m2 + CHORDS * 9


def test_two_things_along_two_edges_keep_each_its_own():
    # 20 x 10: water to the south keeps 1.0, a path to the north 0.3, the rest 0.35: the rectangle
    # 19.3 x 8.7 with rounded corners (by hand).
    water = Feature("water", LineString([(0, 0), (20, 0)]), "invented")
    path = Feature("path", LineString([(0, 10), (20, 10)]), "invented")
    mown = only_part(ground_of(box(0, 0, 20, 10), water, path))
    west, south, east, north = mown.bounds
    assert (south, north) == pytest.approx((1.0, 9.7), abs=1e-9)
    assert (west, east) == pytest.approx((0.35, 19.65), abs=1e-9)
    assert_short_by_chords(mown.area, 19.3 * 8.7 - DISC_M**2 * (4 - math.pi), DISC_M)


def test_what_is_mown_and_what_is_given_up_make_the_lawn():
    pond = Feature("water", box(10, 10, 30, 20), "invented")
    ground = ground_of(box(0, 0, 40, 30), pond)
    given_up = sum(keep_out.area.area for keep_out in ground.keep_outs)
    assert only_part(ground).area + given_up == pytest.approx(1000.0, abs=ROUNDING_M2)


def inset_by_half_planes(polygon, depth_m):
    """Return the set of points at least ``depth_m`` inside: an intersection of half-planes.

    Worked out by qhull from a point that a linear programme finds: nothing of GEOS in it.
    """
    ring = np.array(shapely.orient_polygons(polygon).exterior.coords)
    along = np.diff(ring, axis=0)
    out = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.hypot(*along.T)[:, None]
    reach = (out * ring[:-1]).sum(axis=1) - depth_m
    best = linprog(
        [0, 0, -1],
        A_ub=np.column_stack([out, np.ones(len(out))]),
        b_ub=reach,
        bounds=[(None, None), (None, None), (0, None)],
    )
    if best.status != 0 or best.x[2] < 1e-3:
        return None
    corners = HalfspaceIntersection(np.column_stack([out, -reach]), best.x[:2]).intersections
    middle = corners.mean(axis=0)
    order = np.argsort(np.arctan2(*(corners - middle).T[::-1]))
    return Polygon(corners[order])


@given(
    st.lists(
        st.tuples(st.floats(0, 40, allow_subnormal=False), st.floats(0, 25, allow_subnormal=False)),
        min_size=4,
        max_size=12,
    ),
    st.sampled_from([0.3, 0.35, 1.0, 1.7]),
)
@settings(max_examples=120, deadline=None, derandomize=True)
def test_any_convex_lawn(places, setback_m):
    # What a disc of radius q reaches in the inset by r is the inset by r + q, grown by q: by
    # Steiner A' + P' q + pi q^2, edges vanished or not.
    lawn = shapely.convex_hull(shapely.multipoints(places))
    assume(isinstance(lawn, Polygon) and lawn.area > 30)
    # The lawn's shape is thinned to 1 cm first: take lawns that this leaves alone.
    thin = shapely.simplify(lawn, RULES.ground.shape_tolerance_m)
    assume(len(thin.exterior.coords) == len(lawn.exterior.coords))
    core = inset_by_half_planes(lawn, setback_m + DISC_M)
    assume(core is not None)
    exact = core.area + core.length * DISC_M + math.pi * DISC_M**2
    assume(exact > RULES.ground.smallest_part_m2 + 0.1)
    edge = Feature("path", LineString(lawn.exterior.coords), "", setback_m=setback_m)
    mown = only_part(ground_of(lawn, edge))
    assert_short_by_chords(mown.area, exact, DISC_M)
    rim = core.length + 2 * math.pi * DISC_M
    # Chords of 1.5/64 turn are 0.09 % shorter than their arcs.
    assert -0.0009 * 2 * math.pi * DISC_M - 1e-6 <= mown.length - rim <= 1e-6
