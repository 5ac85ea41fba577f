"""The rim drawn in where the ground falls away outside it, against surfaces whose answer is known.

On z = -k r^2 / 2 the gradient is k r, straight outward, so that across the rim of a disc the fall
is k r, and across the side of a square at distance a from the middle it is k a all along. The line
that meets a limit L is therefore the disc of radius L / k, or the square of half side L / k. On a
shoulder, level and then z = -c (y0 - y)^2 / 2, the fall at y is c (y0 - y): the line lies at
y0 - L / c. A Gaussian and Horn's window leave the gradient of a quadratic as it is, but reach over
the edge where a shoulder begins: that lies a metre and more from every line that is measured here.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from lawnplat.ground.build import build_ground
from lawnplat.ground.rim_fall import long_runs, outward_fall_pct, rims_of
from lawnplat.plan import plan_site
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.build import build_terrain, choose_grid
from lawnplat.terrain.types import ElevationWindow

RULES = load_rule_book()
MEDIUM = load_machine("medium")
LIMIT = MEDIUM.slope_edge_pct / 100
EDGE_M = RULES.ground.open_edge_m
REACH_M = RULES.ground.edge_reach_m
DISC_M = MEDIUM.smallest_passage_m / 2
CHORD_M = 0.005
"""The lattice's roots are linear between two depths 0.1 m apart and arcs are chords: 5 mm."""
AIM = 0.0005
"""Rims are drawn for 0.05 % less than the limit."""


def terrain_of(site, surface, machine=MEDIUM, rules=RULES):
    grid = choose_grid(site, machine, rules)
    heights = surface(*np.meshgrid(*grid.centres()))
    return build_terrain(site, machine, rules, ElevationWindow(grid, heights, grid.cell_m))


def built(parcel, surface, *features, machine=MEDIUM, rules=RULES):
    site = Site("1", "invented", "EPSG:25832", parcel, features=features)
    terrain = terrain_of(site, surface, machine, rules)
    return build_ground(site, terrain, machine, rules), terrain


def bowl(k):
    return lambda x, y: -k * (x * x + y * y) / 2


def shoulder(y0, c):
    return lambda x, y: 0 * x - c * np.maximum(y0 - y, 0) ** 2 / 2


def plane(east, north):
    return lambda x, y: east * x + north * y


def lost(ground):
    return {each.kind: each.area.area for each in ground.keep_outs}.get("cross_fall", 0.0)


def assert_balanced(ground):
    mown = [part.area for part in ground.parts]
    given_up = [each.area for each in ground.keep_outs]
    whole = shapely.union_all([*mown, *given_up])
    # Square millimetres: overlays on arcs of chords round at a nanometre along a hundred metres.
    total = sum(area.area for area in (*mown, *given_up))
    assert total == pytest.approx(ground.lawn.area, abs=1e-5)
    assert shapely.symmetric_difference(whole, ground.lawn).area < 1e-5


def fall_by_hand(ground, gradient):
    """Return the largest fall across long straight stretches of the rim, from the formula."""
    worst = []
    for piece in ground.wire_ground.pieces:
        for rim in rims_of(piece):
            slope = gradient(*rim.places.T)
            fall = -100 * np.sum(np.stack(slope, axis=1) * rim.outward, axis=1)
            worst.extend(fall[~rim.is_corner(RULES.ground.edge_stretch_m)])
    return max(worst)


@pytest.mark.parametrize("inward_m", [0.1, 0.4, 0.777, 1.5, 1.9])
def test_a_disc_on_a_bowl_shrinks_to_the_radius_that_meets_the_limit(inward_m):
    rim_m = 8 - EDGE_M
    k = LIMIT / (rim_m - inward_m)
    ground, _ = built(Point(0, 0).buffer(8, quad_segs=64), bowl(k))
    radius = np.hypot(*shapely.get_coordinates(ground.parts[0].area.exterior).T)
    exact = rim_m - inward_m
    assert radius.max() <= exact + CHORD_M
    assert radius.min() >= exact - AIM / k - CHORD_M
    assert_balanced(ground)


@pytest.mark.parametrize("inward_m", [0.1, 0.4, 0.777, 1.5, 1.9])
def test_a_square_on_a_bowl_shrinks_to_the_square_that_meets_the_limit(inward_m):
    half_m = 8 - EDGE_M
    k = LIMIT / (half_m - inward_m)
    ground, _ = built(box(-8, -8, 8, 8), bowl(k))
    exact = half_m - inward_m
    # The aim's share of the depth, and what the corners may leave standing of one discs' step.
    assert ground.parts[0].area.bounds == pytest.approx(
        (-exact, -exact, exact, exact), abs=AIM / k + CHORD_M
    )
    # Nothing but the corners' rounding is lost beyond the square.
    square = (2 * exact) ** 2 - (4 - math.pi) * DISC_M**2
    slack = 8 * exact * (AIM / k + CHORD_M)
    assert ground.parts[0].area.area == pytest.approx(square, abs=slack)
    assert fall_by_hand(ground, lambda x, y: (-k * x, -k * y)) <= MEDIUM.slope_edge_pct + 0.02
    assert_balanced(ground)


@pytest.mark.parametrize(("y0", "c"), [(3.0, 0.1), (2.5, 0.1), (3.0, 0.08)])
def test_a_shoulder_is_left_where_it_gets_too_steep(y0, c):
    ground, _ = built(box(0, 0, 20, 12), shoulder(y0, c))
    exact = y0 - LIMIT / c
    west, south, east, north = ground.parts[0].area.bounds
    assert south == pytest.approx(exact, abs=AIM / c + CHORD_M)
    assert south >= exact - 1e-3
    assert (west, east, north) == pytest.approx((EDGE_M, 20 - EDGE_M, 12 - EDGE_M), abs=1e-3)
    # The loss is a strip along the edge; at both ends it is rounded off by the machine's disc.
    strip = (20 - 2 * EDGE_M) * (exact - EDGE_M)
    assert lost(ground) == pytest.approx(strip, abs=20 * (AIM / c + CHORD_M) + DISC_M**2)
    assert_balanced(ground)


def test_the_loss_is_named_and_left_to_hand():
    ground, _ = built(box(0, 0, 20, 12), shoulder(3.0, 0.1))
    kept = {each.kind: each.area for each in ground.keep_outs}
    trimmed = {each.against: each.area for each in ground.hand_trim}
    apart = shapely.symmetric_difference(trimmed["cross_fall"], kept["cross_fall"])
    assert apart.area < 1e-6  # rounding of overlays
    cause = next(cause for cause in ground.causes if cause.kind == "cross_fall")
    assert shapely.difference(kept["cross_fall"], cause.reach).area < 1e-6


@pytest.mark.parametrize("beyond_m", [0.15, 0.5])
def test_beyond_the_reach_the_rim_stays(beyond_m):
    half_m = 8 - EDGE_M
    k = LIMIT / (half_m - REACH_M - beyond_m)
    ground, _ = built(box(-8, -8, 8, 8), bowl(k))
    assert lost(ground) == 0
    square = (-half_m, -half_m, half_m, half_m)
    assert ground.parts[0].area.bounds == pytest.approx(square, abs=1e-3)


def test_the_reach_is_the_rule_books():
    rules = replace(RULES, ground=replace(RULES.ground, edge_reach_m=0.5))
    near, _ = built(box(-8, -8, 8, 8), bowl(LIMIT / (8 - EDGE_M - 0.4)), rules=rules)
    far, _ = built(box(-8, -8, 8, 8), bowl(LIMIT / (8 - EDGE_M - 0.7)), rules=rules)
    none = replace(RULES, ground=replace(RULES.ground, edge_reach_m=0.0))
    stays, _ = built(box(-8, -8, 8, 8), bowl(LIMIT / (8 - EDGE_M - 0.4)), rules=none)
    assert lost(near) > 0
    assert lost(far) == lost(stays) == 0


@pytest.mark.parametrize(
    ("parcel", "surface"),
    [
        (box(0, 0, 20, 12), plane(0.0, 0.14)),  # gentler than the limit
        (box(0, 0, 20, 12), plane(0.0, 0.30)),  # the same everywhere: no line inward is better
        (box(-8, -8, 8, 8), bowl(-0.028)),  # falls inward everywhere
        (box(0, 0, 20, 12), shoulder(3.0, -0.1)),  # rises at the edge
    ],
    ids=["gentle", "plane", "hollow", "rise"],
)
def test_where_nothing_is_gained_nothing_is_given_up(parcel, surface):
    ground, terrain = built(parcel, surface)
    site = Site("1", "invented", "EPSG:25832", parcel)
    level = build_ground(site, build_terrain(site, MEDIUM, RULES, None), MEDIUM, RULES)
    assert 100 * np.hypot(terrain.dz_dx, terrain.dz_dy).max() > 13
    # Steep ground beyond the lawn's edge may start the ring elsewhere: the same ground, then.
    assert shapely.equals(ground.parts[0].area.normalize(), level.parts[0].area.normalize())
    assert lost(ground) == 0


def advised(parcel, surface, *features, machine=MEDIUM):
    site = Site("1", "invented", "EPSG:25832", parcel, features=features)
    terrain = terrain_of(site, surface, machine)
    ground = build_ground(site, terrain, machine, RULES)
    from lawnplat.wire.edge_fall import edge_fall_findings  # noqa: PLC0415
    from lawnplat.wire.scene import Scene  # noqa: PLC0415

    scene = Scene(site, ground, terrain, machine, RULES)
    return edge_fall_findings(scene, ground.wire_ground.pieces)


def test_a_bank_that_no_line_mends_is_advised_at_its_foot():
    # 22 % down to the south: only the south edge falls outward.
    (finding,) = advised(box(0, 0, 20, 12), plane(0.0, 0.22))
    assert (finding.rule, finding.severity) == ("edge_cross_fall", "warn")
    assert finding.measured == pytest.approx(22.0, abs=0.1)
    assert finding.limit == MEDIUM.slope_edge_pct
    assert finding.place.y == pytest.approx(EDGE_M, abs=0.02)
    # The stretch is the south edge with the arcs at its ends, up to where 22 cos(a) is 15.
    straight = 20 - 2 * (EDGE_M + DISC_M)
    length = straight + 2 * DISC_M * math.acos(0.15 / 0.22)
    said = float(finding.text.split(" m of wire")[0].split()[-1])
    assert said == pytest.approx(length, abs=0.25)  # places are 0.1 m apart, and it is rounded
    for word in ("barrier", "by hand", "class", "22.0 %", "15 %", "2.0 m"):
        assert word in finding.text


@pytest.mark.parametrize(("east", "north"), [(0.22, 0), (-0.22, 0), (0, -0.22)])
def test_the_advisory_is_at_the_low_edge(east, north):
    (finding,) = advised(box(0, 0, 20, 12), plane(east, north))
    offset = np.array([finding.place.x - 10, finding.place.y - 6])
    half = np.array([10 - EDGE_M, 6 - EDGE_M])
    downhill = -np.sign([east, north])
    assert offset @ downhill == pytest.approx(np.abs(downhill) @ half, abs=0.02)


def test_a_drawn_in_rim_needs_no_advisory_and_one_side_out_of_reach_has_one():
    assert advised(box(0, 0, 20, 12), shoulder(3.0, 0.1)) == []

    def two_sides(x, y):
        return shoulder(3.0, 0.1)(x, y) - 0.22 * np.maximum(x - 12, 0)

    found = advised(box(0, 0, 20, 12), two_sides)
    assert len(found) == 1
    # At the east side or in the corners that end it.
    assert found[0].place.x == pytest.approx(20 - EDGE_M, abs=DISC_M)


def test_a_steeper_class_is_not_advised():
    assert advised(box(0, 0, 20, 12), plane(0.0, 0.22), machine=load_machine("steep")) == []


def test_an_island_is_passed_higher_up_where_the_ground_rolls_into_it():
    """A pond in a funnel: falls toward the pond with c (5 - r), so the ring lies at 5 - L / c."""
    c, radius_m = 0.08, 2.0
    pond = Point(10, 10).buffer(radius_m)

    def funnel(x, y):
        return -c * np.maximum(5 - np.hypot(x - 10, y - 10), 0) ** 2 / 2

    ground, _ = built(box(0, 0, 20, 20), funnel, Feature("water", pond, "invented"))
    (hole,) = ground.parts[0].area.interiors
    radius = np.hypot(*(shapely.get_coordinates(hole) - 10).T)
    exact = 5 - LIMIT / c
    assert exact > radius_m + RULES.kinds["water"].setback_m
    # A cone is no quadratic: a Gaussian of 0.19 m takes 0.19^2 / 2 * 5 c / r^2 = 0.07 % off the
    # fall at 3.1 m, and Horn's window half as much: 14 mm inward.
    assert exact - 0.02 <= radius.min()
    assert radius.max() <= exact + AIM / c + CHORD_M
    assert_balanced(ground)


def test_a_dimple_narrower_than_a_pegs_spacing_makes_no_notch():
    def dimple(x, y):
        return -0.05 * np.exp(-((x - 10) ** 2 + y**2) / (2 * 0.15**2))

    ground, _ = built(box(0, 0, 20, 12), dimple)
    assert lost(ground) == 0


def test_drawing_in_never_closes_the_way():
    """A corridor of 1.6 m between two lawns, its ground rolling off: drawn in it would be shut."""
    lawn = Polygon([(0, 0), (30, 0), (30, 10), (20, 10), (20, 2.3), (10, 2.3), (10, 10), (0, 10)])
    k = LIMIT / 1.0  # over the limit from 1 m below y = 3

    def roll(x, y):
        return -k * np.where((x > 9) & (x < 21), np.maximum(3 - y, 0), 0) ** 2 / 2

    ground, _ = built(lawn, roll)
    level, _ = built(lawn, plane(0, 0))
    assert len(ground.wire_ground.pieces) == len(level.wire_ground.pieces) == 1
    assert len(ground.parts) == len(level.parts) == 2
    assert_balanced(ground)


@pytest.mark.parametrize("length_m", [1.6, 2.2, 10.0])
def test_drawing_in_from_both_sides_never_closes_the_way(length_m):
    """A causeway of 1.56 m, crowned: one side could be drawn in by 0.44 m, both could not."""
    half_m = 0.78 + EDGE_M
    east_m = 10 + length_m
    ends = [box(0, 0, 10, 10), box(east_m, 0, east_m + 10, 10)]
    lawn = shapely.union_all([*ends, box(9, 5 - half_m, east_m + 1, 5 + half_m)])

    def crown(x, y):
        on_it = np.abs(x - 10 - length_m / 2) < length_m / 2 + 0.5
        return np.where(on_it, -LIMIT / 0.34 * np.minimum(np.abs(y - 5), 0.8) ** 2 / 2, 0 * x)

    ground, terrain = built(lawn, crown)
    middle = box(9.95 + length_m / 2, 0, 10.05 + length_m / 2, 10)
    kept = shapely.intersection(ground.wire_ground.pieces[0], middle)
    # A short one is drawn in by less, since its crown is smoothed from both ends: it may stay open.
    assert kept.area >= 0.1 * MEDIUM.smallest_passage_m
    if length_m > 5:
        assert kept.area == pytest.approx(0.1 * 1.56, abs=0.01)
    east, north = terrain.dz_dx, terrain.dz_dy
    assert 100 * np.hypot(east, north).max() > MEDIUM.slope_edge_pct
    assert len(ground.wire_ground.pieces) == 1
    assert len(ground.parts) == 2
    assert_balanced(ground)


def test_a_tree_by_the_drawn_in_rim_is_wired():
    line_y = 3.0 - LIMIT / 0.1
    tree = Feature("tree", Point(10, line_y + 0.2).buffer(0.15), "invented")
    ground, _ = built(box(0, 0, 20, 12), shoulder(3.0, 0.1), tree)
    keeps = RULES.kinds["tree"].setback_m - 2e-3  # arcs are chords
    assert ground.parts[0].area.distance(tree.geometry) >= keeps
    assert tree not in ground.wire_ground.firm
    far = Feature("tree", Point(10, 8).buffer(0.15), "invented")
    ground, _ = built(box(0, 0, 20, 12), shoulder(3.0, 0.1), far)
    assert ground.wire_ground.firm == (far,)
    assert_balanced(ground)


def test_the_mouth_of_a_crossing_is_not_drawn_in():
    path = Feature("path", box(0, 6, 20, 7), "invented")
    crossing = Feature("crossing", box(9, 6, 11, 7), "invented")

    def ditch(x, y):
        return 0 * x - 0.12 * np.maximum(2.0 - np.abs(y - 6.5), 0) ** 2 / 2

    ground, _ = built(box(0, 0, 20, 13), ditch, path, crossing)
    (piece,) = ground.wire_ground.pieces
    (strip,) = ground.wire_ground.crossings
    assert shapely.area(strip) > 0
    assert piece.covers(LineString([(10, 3), (10, 10)]))
    assert_balanced(ground)


def tightest_radius_m(ring, *, outward):
    """Return the least radius over 0.2 m of a ring, of its outward or of its inward turns."""
    count = int(np.ceil(ring.length / 0.02))
    step = ring.length / count
    places = shapely.line_interpolate_point(ring, (np.arange(count) + 0.5) * step)
    run = np.diff(shapely.get_coordinates(places), axis=0, append=[places[0].coords[0]])
    heading = np.unwrap(np.arctan2(run[:, 1], run[:, 0]))
    window = round(0.2 / step)
    turn = heading[window:] - heading[:-window]
    turn = turn if outward else -turn
    # Arcs are chords of a 64th of a turn: the window may hold one corner more than its share.
    return window * step / max(turn.max() - 2 * math.pi / 64, 1e-9)


@pytest.mark.parametrize("c", [0.06, 0.1, 0.2])
def test_the_drawn_rim_is_smooth(c):
    """The rim swings in along a hollowed shoulder whose edge itself meanders."""

    def meander(x, y):
        return -c * np.maximum(2.0 + 1.2 * np.sin(x / 2.0) - y, 0) ** 2 / 2

    ground, _ = built(box(0, 0, 30, 14), meander)
    assert lost(ground) > 1
    ring = shapely.orient_polygons(ground.parts[0].area, exterior_cw=False).exterior
    # 5 % for the window's own step of 0.02 m in 0.2 m on either side.
    assert tightest_radius_m(ring, outward=True) >= 0.95 * DISC_M
    assert tightest_radius_m(ring, outward=False) >= 0.95 * RULES.wire.corner_radius_m
    assert_balanced(ground)


def test_where_a_cut_has_to_end_it_turns_on_the_corners_radius():
    """East of x = 12 the shoulder begins too far in for any line within reach: the cut ends."""
    rules = replace(RULES, wire=replace(RULES.wire, corner_radius_m=0.8))

    def sharper(x, y):
        y0 = 2.6 + 2.4 / (1 + np.exp(-(x - 12)))
        return -0.1 * np.maximum(y0 - y, 0) ** 2 / 2

    ground, _ = built(box(0, 0, 24, 12), sharper, rules=rules)
    assert lost(ground) > 1
    ring = shapely.orient_polygons(ground.parts[0].area, exterior_cw=False).exterior
    assert tightest_radius_m(ring, outward=False) >= 0.95 * 0.8
    assert tightest_radius_m(ring, outward=True) >= 0.95 * 0.8


def test_runs_are_long_enough_and_bridge_short_gaps():
    over = np.zeros(40, dtype=bool)
    over[[1, 2, 3, 4, 6, 7]] = True  # one gap of one place
    over[20:23] = True  # too short
    over[[38, 39]] = True  # hangs together with the first, round the seam
    runs = long_runs(over, 4)
    assert [run.tolist() for run in runs] == [[38, 39, 0, 1, 2, 3, 4, 5, 6, 7]]
    assert long_runs(np.ones(10, dtype=bool), 4)[0].tolist() == list(range(10))
    assert long_runs(np.zeros(10, dtype=bool), 4) == []


def test_the_fall_is_outward_and_positive_downhill():
    site = Site("1", "invented", "EPSG:25832", box(0, 0, 20, 12))
    terrain = terrain_of(site, plane(0.1, 0.0))  # rises to the east
    (rim,) = rims_of(box(2, 2, 18, 10))
    fall = outward_fall_pct(terrain, rim.places, rim.outward)
    west, east = (np.isclose(rim.places[:, 0], x) for x in (2, 18))
    middle = np.abs(rim.places[:, 1] - 6) < 3
    assert fall[west & middle] == pytest.approx(10.0, abs=1e-6)
    assert fall[east & middle] == pytest.approx(-10.0, abs=1e-6)


def test_the_whole_plan_takes_the_drawn_in_ground():
    parcel = box(0, 0, 20, 12)
    outlet = Feature("power_outlet", Point(1, 12), "invented")
    site = Site("1", "invented", "EPSG:25832", parcel, features=(outlet,))
    grid = choose_grid(site, MEDIUM, RULES)
    heights = shoulder(3.0, 0.1)(*np.meshgrid(*grid.centres()))

    class Raster:
        def window(self, *_):
            return ElevationWindow(grid, heights, grid.cell_m)

    plan = plan_site(site, machine=MEDIUM, rules=RULES, elevation=Raster())
    line_y = 3.0 - LIMIT / 0.1
    wire = plan.layouts[0].perimeter
    assert wire.line.bounds[1] == pytest.approx(line_y, abs=0.01)
    against = {section.against for section in wire.sections}
    assert "cross_fall" in against
    worst = max(section.cross_fall_pct for section in wire.sections)
    assert worst <= MEDIUM.slope_edge_pct + 0.1
    assert "edge_cross_fall" not in {finding.rule for finding in plan.findings}
