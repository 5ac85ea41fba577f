"""Grid, switchbacks, ways round, distances home and scores of the wire room, by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box
from shapely.ops import substring

from lawnplat.ground.build import build_ground
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.build import build_terrain, choose_grid
from lawnplat.terrain.types import ElevationWindow
from lawnplat.wire.build import build_layout
from lawnplat.wire.detour import way_round
from lawnplat.wire.places import places_on, rims_of
from lawnplat.wire.route_grid import centres_within, lay_grid, moves
from lawnplat.wire.scene import Scene
from lawnplat.wire.search import Weights, cheapest, cheapest_on_banks
from lawnplat.wire.station_measures import Measures, scores
from lawnplat.wire.ways_home import driving_network

RULES = load_rule_book()
MEDIUM = load_machine("medium")
LENGTH_ONLY = Weights(0.0, 0.0, 1.0)


def scene_of(*features, parcel, surface=None):
    site = Site("1", "invented", "EPSG:25832", parcel, features=features)
    window = None
    if surface is not None:
        grid = choose_grid(site, MEDIUM, RULES)
        window = ElevationWindow(grid, surface(*np.meshgrid(*grid.centres())), 0.25)
    terrain = build_terrain(site, MEDIUM, RULES, window)
    return Scene(site, build_ground(site, terrain, MEDIUM, RULES), terrain, MEDIUM, RULES)


def layout_of(scene):
    return build_layout(scene.site, scene.ground, scene.terrain, MEDIUM, RULES).layout


def test_a_grid_has_a_cell_wherever_its_centre_is_inside():
    # 3 x 2 m in cells of 0.5 m anchored in a centre: centres at 0.25, 0.75, ...: 6 x 4 cells.
    grid = lay_grid(box(10, 20, 13, 22), 0.5, np.array([10.25, 20.25]))
    assert grid.free.sum() == 24
    xy = grid.coordinates(grid.free_nodes())
    assert xy.min(axis=0) == pytest.approx([10.25, 20.25])
    assert xy.max(axis=0) == pytest.approx([12.75, 21.75])
    # The clearance of a cell is that to the nearest cell that is not free: one cell at the rim.
    assert grid.clearance_at(np.array([10.25]), np.array([20.25])) == pytest.approx(0.5)
    assert grid.clearance_at(np.array([11.25]), np.array([20.75])) == pytest.approx(1.0)
    assert not grid.free[[0, -1]].any()
    assert not grid.free[:, [0, -1]].any()


def test_the_nearest_free_cell_within_reach():
    grid = lay_grid(box(0, 0, 2, 2), 1.0, np.array([0.5, 0.5]))
    near, far = grid.nearest(np.array([[0.6, 1.4], [9.0, 9.0]]), 2.0)
    assert grid.coordinates(np.array([near]))[0] == pytest.approx([0.5, 1.5])
    assert far == -1
    assert grid.free_at(np.array([0.5, 5.0]), np.array([0.5, 0.5])).tolist() == [True, False]


def climbing(width_m, rise_m, per_switchback):
    """Return the way straight up a plane of 45 % under a limit of 25 %, and what it costs."""
    grid = lay_grid(box(0, 0, width_m, rise_m), 0.5, np.array([0.25, 0.25]))
    gradient = (np.zeros(grid.free.shape), np.full(grid.free.shape, 0.45))
    found = moves(grid, 4, gradient)
    ends = np.array([[width_m / 2, 0.3], [width_m / 2, rise_m - 0.3]])
    start, end = grid.nearest(ends, 1.0)
    weights = Weights(0.0, 0.0, 1.0, per_switchback=per_switchback)
    ways = cheapest_on_banks(grid, found, gradient, int(start), limit=0.25, weights=weights)
    plain = cheapest(grid, found, int(start), 0.25, LENGTH_ONLY)
    return ways.to(int(end)), float(ways.cost[end]), float(plain.cost[end])


def switchbacks(way):
    east = np.sign(np.diff(way[:, 0]))
    east = east[east != 0]
    return int((east[1:] != east[:-1]).sum())


def test_on_a_bank_every_switchback_is_paid_for():
    # On 45 % with a limit of 25 % a leg runs arccos(25/45) = 56.25 degrees off the fall line (table
    # of check values): 11 m up takes 16.5 m to the side. In a strip 36 m wide one switchback does.
    way, cost, length = climbing(36, 11.5, per_switchback=5.0)
    assert switchbacks(way) == 1
    assert LineString(way).length >= length - 1e-9
    assert cost == pytest.approx(LineString(way).length + 5.0, abs=1e-6)
    # In a strip of 9.5 m (legs of at most 9 m to the side) it takes two.
    way, cost, _ = climbing(9.5, 11.5, per_switchback=5.0)
    assert switchbacks(way) == 2
    assert cost == pytest.approx(LineString(way).length + 10.0, abs=1e-6)


def test_switchbacks_that_cost_nothing_change_nothing():
    _, cost, length = climbing(20, 11.5, per_switchback=1e-9)
    assert cost == pytest.approx(length, abs=1e-6)


def test_on_gentle_ground_there_are_no_switchbacks():
    grid = lay_grid(box(0, 0, 10, 10), 0.5)
    gradient = (np.full(grid.free.shape, 0.1), np.full(grid.free.shape, 0.05))
    found = moves(grid, 3, gradient)
    start = int(grid.free_nodes()[0])
    weights = Weights(1, 1, 1, per_switchback=9)
    one = cheapest_on_banks(grid, found, gradient, start, limit=0.2, weights=weights)
    other = cheapest(grid, found, start, 0.2, Weights(1, 1, 1))
    assert (one.cost == other.cost).all()


def ring(west, south, east, north):
    return LineString(box(west, south, east, north).exterior.coords)


def test_a_way_round_a_wall():
    # From a ring that ends at x = 4 to one that begins at x = 8, round the wall's head at y = 6:
    # sqrt(2^2 + 4^2) on each side where both rings end at y = 2 (by hand): 8.944 m.
    room = box(0, 0, 12, 10)
    wall = box(5.95, -1, 6.05, 6)
    free = room - wall - box(0, 0, 4, 2).buffer(-1e-3) - box(8, 0, 12, 2).buffer(-1e-3)
    way = way_round(ring(0, 0, 4, 2), ring(8, 0, 12, 2), free)
    least = 2 * math.hypot(1.95, 4) + 0.1
    assert not way.intersects(wall.buffer(-2e-3))
    # The wall's head is passed at up to a cell and a half of 0.25 m.
    assert least - 0.01 <= way.length <= least + 2 * 0.375


@pytest.mark.parametrize(
    "free", [Polygon(), box(0, 0, 12, 10) - box(5, -1, 6, 11), box(0, 0, 1, 1)]
)
def test_no_way_round_is_none(free):
    assert way_round(ring(0, 0, 4, 2), ring(8, 0, 12, 2), free) is None


def test_distances_home_on_an_open_lawn():
    scene = scene_of(parcel=box(0, 0, 20, 10))
    network = driving_network(scene, scene.ground.wire_ground.pieces[0])
    home = np.array([[10.0, 1.0]])
    (ways,) = network.ways_m(home)
    straight = np.hypot(*(network.grid.coordinates(network.nodes) - home).T)
    # 16 directions are up to 2.75 % longer than straight; the start is put on a cell.
    slack = network.cell_m
    assert (ways >= straight - slack).all()
    assert (ways <= 1.0275 * straight + slack).all()
    # To a line across the whole lawn it is the distance beside it.
    across = np.stack([np.full(41, 10.0), np.linspace(0.4, 9.6, 41)], axis=1)
    beside = np.abs(network.grid.coordinates(network.nodes)[:, 0] - 10.0)
    assert np.abs(network.ways_to_line_m(across) - beside).max() <= 1.5 * network.cell_m
    assert np.isinf(network.ways_to_line_m(np.array([[99.0, 99.0]]))).all()
    # Several at once, one of them nowhere near: each as far as alone, by the distance beside it.
    upright = np.stack([np.full(41, 4.0), np.linspace(0.4, 9.6, 41)], axis=1)
    points = np.concatenate([across, [[99.0, 99.0]], upright])
    owner = np.repeat([0, 1, 2], [41, 1, 41])
    first, nowhere, third = network.ways_to_lines_m(points, owner, 3)
    assert np.abs(first - beside).max() <= 1.5 * network.cell_m
    assert np.isinf(nowhere).all()
    beside = np.abs(network.grid.coordinates(network.nodes)[:, 0] - 4.0)
    assert np.abs(third - beside).max() <= 1.5 * network.cell_m


def test_distances_home_go_through_a_passage_and_leave_a_strip_out():
    drive = Feature("path", box(10, -1, 13, 11), "invented")
    over = Feature("crossing", box(10, 4, 13, 5.5), "invented")
    scene = scene_of(drive, over, parcel=box(0, 0, 23, 10))
    network = driving_network(scene, scene.ground.wire_ground.pieces[0])
    (ways,) = network.ways_m(np.array([[5.0, 1.0]]))
    assert np.isfinite(ways).all()
    assert len(ways) == network.mown.sum() < len(network.nodes)
    # To (20, 1) over the strip: at least by its near corners (9.7, 4) and (13.3, 4).
    xy = network.grid.coordinates(network.nodes[network.mown])
    there = int(np.argmin(np.hypot(*(xy - (20.0, 1.0)).T)))
    string = math.hypot(4.7, 3) + 3.6 + math.hypot(6.7, 3)
    assert string - network.cell_m <= ways[there] <= 1.0275 * string + 3 * network.cell_m


def test_scores_by_hand():
    # Mean 10, worst 20 (counts a quarter), cable 4 (half), tilt 2, open ground 3 taken off
    # one and a half times: 10 + 5 + 2 + 2 - 4.5 = 14.5. The second has 5 m of cable more, 2 m of
    # them under paving, but 6 m of mean less: + 2.5 + 2 - 6. A cable that is not known counts
    # nothing: 1 + 1 + 2 - 4.5.
    measures = Measures(
        tilt_pct=np.array([2.0, 2.0, 2.0]),
        outlet_m=np.array([4.0, 9.0, np.nan]),
        mean_m=np.array([10.0, 4.0, 1.0]),
        worst_m=np.array([20.0, 20.0, 4.0]),
        open_m=np.array([3.0, 3.0, 3.0]),
        paved_m=np.array([0.0, 2.0, np.nan]),
        upslope_m2=np.zeros(3),
        water_m=np.full(3, np.nan),
    )
    assert scores(measures, RULES) == pytest.approx([14.5, 13.0, -0.5])


def test_level_ground_with_a_near_outlet_needs_no_advice():
    scene = scene_of(Feature("power_outlet", Point(0, 5), "invented"), parcel=box(0, 0, 20, 10))
    assert not [f for f in layout_of(scene).findings if f.rule.startswith("station")]


def test_no_outlet_known_asks_for_one():
    (finding,) = [
        f for f in layout_of(scene_of(parcel=box(0, 0, 20, 10))).findings
        if f.rule == "station_power"
    ]  # fmt: skip
    assert finding.severity == "warn"
    assert "residual-current" in finding.text
    assert finding.limit == RULES.station.cable_reach_m


def test_tilted_ground_is_to_be_levelled():
    # 12 % everywhere: the least tilted place has 12 %, over the rule's 5 %.
    scene = scene_of(parcel=box(0, 0, 20, 10), surface=lambda x, _y: 50 + 0.12 * x)
    layout = layout_of(scene)
    (finding,) = [f for f in layout.findings if f.rule == "station_tilt"]
    assert finding.measured == pytest.approx(12.0, abs=0.01)
    assert layout.station.tilt_pct == pytest.approx(12.0, abs=1e-6)


def test_a_level_corner_of_a_slope_is_chosen():
    # Level west of x = 6, 12 % east of it: the station stands where it is level.
    scene = scene_of(
        parcel=box(0, 0, 20, 10), surface=lambda x, _y: 50 + 0.12 * np.maximum(x - 6, 0)
    )
    layout = layout_of(scene)
    assert layout.station.tilt_pct <= RULES.station.largest_tilt_pct
    assert shapely.get_x(layout.station.point) < 7.5
    tilted = [o for o in layout.station.options if o.tilt_pct > RULES.station.largest_tilt_pct]
    assert tilted
    assert all("tilted" in option.rejected_because for option in tilted)


@pytest.mark.parametrize("seed", range(6))
def test_a_grid_holds_the_places_that_shapely_finds_inside(seed):
    # Reference: GEOS's own point-in-polygon test, place by place, at a real grid's coordinates.
    random = np.random.default_rng(seed)
    middles = shapely.points(random.uniform(2, 18, (8, 2)) + np.array([500_000.0, 5_400_000.0]))
    discs = shapely.buffer(middles, random.uniform(0.5, 4.0, 8))
    holes = shapely.union_all(shapely.buffer(middles[:3], 0.4))
    ground = shapely.difference(shapely.union_all(discs), holes)
    x, y = 499_998.0 + np.arange(96) * 0.25, 5_399_998.0 + np.arange(90) * 0.25
    inside = centres_within(ground, x, y)
    assert 0 < inside.sum() < inside.size
    assert (inside == shapely.contains_xy(ground, *np.meshgrid(x, y))).all()


def test_the_sides_of_a_square_are_not_inside_it():
    inside = centres_within(box(1, 1, 3, 3), np.arange(5.0), np.arange(5.0))
    assert np.argwhere(inside).tolist() == [[2, 2]]


@pytest.mark.parametrize("face_m", [1.4, 1.9, 2.18, 2.6])
def test_wire_called_straight_is_so_at_its_corners_too(face_m):
    # Against a house in two steps of 20 cm. With a face of 2.18 m the rim was looked at every
    # quarter of a metre, and a corner between two such places lay 36 mm off the line.
    steps = [(10, 3), (10, 3.2), (10 - face_m, 3.2), (10 - face_m, 3.4), (-1, 3.4)]
    house = Feature("building", Polygon([(-1, -1), (30, -1), (30, 3), *steps]), "invented")
    scene = scene_of(house, parcel=box(0, 0, 24, 16))
    (piece,) = scene.ground.wire_ground.pieces
    places = places_on(scene, piece, Point())
    rim = rims_of(piece)[0]
    reach_m = RULES.station.straight_wire_m
    straight = np.flatnonzero(places.straight_wire)
    assert len(straight) > 10
    # From twice round, so that the start of the ring is no end.
    twice = LineString([*rim.coords, *rim.coords[1:]])
    for place in straight:
        at_m = places.chainage_m[place] + (rim.length if places.chainage_m[place] < reach_m else 0)
        run = shapely.get_coordinates(substring(twice, at_m - reach_m, at_m + reach_m))
        off_m = np.abs((run - places.point[place]) @ places.ahead[place])
        assert off_m.max() <= RULES.pegs.curve_offset_m + 1e-9
