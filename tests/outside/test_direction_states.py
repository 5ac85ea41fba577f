"""Searches whose states know a direction, against the same graphs built plainly for networkx.

On a bank, the side on which uphill lies; for ways that turn gently, one of 32 headings, or
the leg by which a cell was come to.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import product

import networkx as nx
import numpy as np
import pytest
from shapely import LineString, box

from lawnplat.wire.landing import Landings
from lawnplat.wire.leg_search import ways_in_legs
from lawnplat.wire.route_grid import RouteGrid, moves, steps
from lawnplat.wire.search import Ways, Weights, cheapest_on_banks
from lawnplat.wire.smooth_search import smooth_ways
from lawnplat.wire.turning import Onward, Turning

CELL_M = 0.5
WEIGHTS = Weights(0.5, 0.0, 1.0, per_switchback=30.0)
ROWS, COLUMNS = 12, 14


def grid_with_gaps(seed: int, blocked: float = 0.08) -> RouteGrid:
    free = np.random.default_rng(seed).random((ROWS, COLUMNS)) > blocked
    free[[0, -1]] = free[:, [0, -1]] = False
    return RouteGrid(0.0, 0.0, CELL_M, free, np.full(free.shape, 9.0))


def plain_moves(
    grid: RouteGrid, reach: int, gradient: tuple[np.ndarray, np.ndarray]
) -> Iterator[tuple[int, int, float, float, tuple[float, float]]]:
    """Yield every move both ways: start, end, length, steepest, run in cells (east, north)."""
    found = moves(grid, reach, gradient)
    at = grid.coordinates(np.arange(grid.free.size)) / CELL_M
    for start, end, length, steep in zip(
        found.start.tolist(), found.end.tolist(), found.length_m, found.steepest, strict=True
    ):
        for one, other in ((start, end), (end, start)):
            yield one, other, length, steep, tuple(at[other] - at[one])


def two_sided_costs(
    grid: RouteGrid, gradient: tuple[np.ndarray, np.ndarray], start: int, limit: float
) -> dict[int, float]:
    """Return the least cost to each cell, uphill kept to one side on steep ground."""
    east, north = (part.ravel() for part in gradient)
    steep = np.hypot(east, north) > limit
    network = nx.DiGraph()
    for one, other, length, steepest, run in plain_moves(grid, 3, gradient):
        if steepest > limit:
            continue
        cost = length * (1 + WEIGHTS.per_gradient * (steepest / limit) ** 2)
        # Over 0 where uphill lies to the left of who goes there.
        uphill_left = run[0] * north[one] - run[1] * east[one]
        for left in (True, False):
            kept = uphill_left >= -1e-9 if left else uphill_left <= 1e-9
            if kept or not (steep[one] and steep[other]):
                network.add_edge((one, left), (other, left), weight=cost)
    for cell in grid.free_nodes().tolist():
        change = WEIGHTS.per_switchback if steep[cell] else 0.0
        network.add_edge((cell, True), (cell, False), weight=change)
        network.add_edge((cell, False), (cell, True), weight=change)
    reached = nx.multi_source_dijkstra_path_length(network, {(start, True), (start, False)})
    costs: dict[int, float] = {}
    for (cell, _), cost in reached.items():
        costs[cell] = min(cost, costs.get(cell, math.inf))
    return costs


@pytest.mark.parametrize("uphill_deg", [0, 37, 90, 165, 180, 270, 300])
def test_on_banks_every_cell_costs_what_networkx_finds(uphill_deg: int) -> None:
    # From the middle cells lie up and down the bank, and aside: ways climb, descend, and tack over
    # moves that go north and south alike.
    grid = grid_with_gaps(uphill_deg)
    angle = math.radians(uphill_deg)
    gradient = (
        np.full(grid.free.shape, 0.35 * math.cos(angle)),
        np.full(grid.free.shape, 0.35 * math.sin(angle)),
    )
    gradient[0][:, : COLUMNS // 3] *= 0.3  # gentle ground, where changing sides is free
    gradient[1][:, : COLUMNS // 3] *= 0.3
    middle = grid.free_nodes()[len(grid.free_nodes()) // 2]
    limit = 0.22
    ways = cheapest_on_banks(
        grid, moves(grid, 3, gradient), gradient, int(middle), limit=limit, weights=WEIGHTS
    )
    plain = two_sided_costs(grid, gradient, int(middle), limit)
    assert {int(cell) for cell in np.flatnonzero(np.isfinite(ways.cost))} == set(plain)
    cells = np.array(sorted(plain))
    # A free change costs a billionth in ours, for a graph has no edge of weight 0.
    np.testing.assert_allclose(ways.cost[cells], [plain[c] for c in cells.tolist()], atol=1e-6)
    tacked = [plain[c] > WEIGHTS.per_switchback for c in cells.tolist()]
    assert any(tacked)
    assert not all(tacked)


def test_down_a_bank_costs_as_much_as_up() -> None:
    # Who goes the same way back has uphill on the other side throughout: as many switchbacks.
    grid = RouteGrid(0.0, 0.0, CELL_M, np.ones((20, 20), bool), np.full((20, 20), 9.0))
    gradient = (np.full((20, 20), 0.3), np.full((20, 20), 0.1))
    found = moves(grid, 3, gradient)
    low, high = 10 * 20 + 2, 11 * 20 + 17
    up, down = (
        cheapest_on_banks(grid, found, gradient, start, limit=0.15, weights=WEIGHTS)
        for start in (low, high)
    )
    assert up.cost[high] > WEIGHTS.per_switchback  # straight on it would be twice the limit
    assert up.cost[high] == pytest.approx(down.cost[low])


TURNING = Turning(largest_deg=60.0, leg_m=1.0, per_bend=2.0)


def smooth(grid: RouteGrid, starts: list[int], ahead: tuple[float, float], ends: list[int]) -> Ways:
    level = np.zeros(grid.free.shape)
    onward = Onward(np.array(ends, int), np.tile([1.0, 0.0], (len(ends), 1)))
    return smooth_ways(
        grid, (level, level), np.array(starts), np.array(ahead), limit=0.2, weights=WEIGHTS,
        turning=TURNING, onward=onward,
    )  # fmt: skip


def smooth_costs(grid: RouteGrid, start: int, ahead_deg: float) -> dict[int, float]:
    """Return the least cost to each cell over plain steps with headings."""
    every = [*steps(3), *((-up, -right) for up, right in steps(3))]
    # Steps of at least half a smallest leg: cells of 50 cm are that long.
    headings = {step: math.degrees(math.atan2(*step)) for step in every}
    open_ways = {(a, b) for a, b, *_ in plain_moves(grid, 3, (np.zeros(grid.free.shape),) * 2)}
    network = nx.DiGraph()
    for (old, old_deg), ((up, right), new_deg) in product(headings.items(), headings.items()):
        length = CELL_M * math.hypot(up, right)
        turn = apart_deg(new_deg, old_deg)
        if turn > 60 * min(length, 0.75) + 1e-9:
            continue
        for cell in grid.free_nodes().tolist():
            to = cell + up * COLUMNS + right
            if (cell, to) in open_ways:
                network.add_edge((cell, old), (to, (up, right)), weight=length + 2 * turn / 60)
    begin = {(start, step) for step in headings if apart_deg(headings[step], ahead_deg) <= 45}
    network.add_nodes_from(begin)
    return least_by_cell(network, begin)


def apart_deg(one: float, other: float) -> float:
    return abs((one - other + 180) % 360 - 180)


def least_by_cell(network: nx.DiGraph, begin: set[tuple[int, tuple[int, int]]]) -> dict[int, float]:
    costs: dict[int, float] = {}
    for (cell, _), cost in nx.multi_source_dijkstra_path_length(network, begin).items():
        costs[cell] = min(cost, costs.get(cell, math.inf))
    return costs


@pytest.mark.parametrize("seed", range(4))
def test_gently_turning_ways_cost_what_networkx_finds(seed: int) -> None:
    grid = grid_with_gaps(50 + seed, 0.04)
    start = int(grid.free_nodes()[len(grid.free_nodes()) // 2])
    angle = math.radians(90 * seed + 10)
    ways = smooth(grid, [start], (math.cos(angle), math.sin(angle)), [])
    plain = smooth_costs(grid, start, 90 * seed + 10)
    cells = np.array(sorted(plain))
    assert {int(cell) for cell in np.flatnonzero(np.isfinite(ways.cost))} == set(plain)
    assert len(cells) > 50
    np.testing.assert_allclose(ways.cost[cells], [plain[c] for c in cells.tolist()], rtol=1e-9)


def plain_legs(least_m: float, most_m: float) -> dict[tuple[int, int], float]:
    """Return the shortest leg in each direction (cells upward, right) and its angle in degrees."""
    found: dict[float, tuple[int, int]] = {}
    for leg in product(range(-6, 7), repeat=2):
        if least_m <= CELL_M * math.hypot(*leg) <= most_m:
            angle = round(math.degrees(math.atan2(*leg)), 6)
            found[angle] = min(found.get(angle, leg), leg, key=lambda each: math.hypot(*each))
    return {leg: math.degrees(math.atan2(*leg)) for leg in found.values()}


def cells_under(leg: tuple[int, int]) -> list[tuple[int, int]]:
    """Return the cells that a leg from cell (0, 0) touches, as a square touches a line."""
    line = LineString([(0, 0), leg])
    every = product(range(-6, 7), repeat=2)
    return [(r, c) for r, c in every if box(r - 0.5, c - 0.5, r + 0.5, c + 0.5).intersects(line)]


def leg_costs(
    grid: RouteGrid, starts: list[int], ahead_deg: float, plane: tuple[float, float], limit: float
) -> dict[int, float]:
    """Return the least cost to each cell over whole legs of 1.0 to 1.5 m on a plane."""
    legs = plain_legs(1.0, 1.5)
    free = {tuple(cell) for cell in np.argwhere(grid.free).tolist()}
    network = nx.DiGraph()
    for leg, angle in legs.items():
        under, length = cells_under(leg), CELL_M * math.hypot(*leg)
        steep = abs(plane[0] * leg[1] + plane[1] * leg[0]) * CELL_M / length
        cost = length * (1 + WEIGHTS.per_gradient * (steep / limit) ** 2)
        turns = {old: apart_deg(angle, old_deg) for old, old_deg in legs.items()}
        for row, column in free:
            if steep > limit or not all((row + r, column + c) in free for r, c in under):
                continue
            cell = row * COLUMNS + column
            to = cell + leg[0] * COLUMNS + leg[1]
            for old, turn in turns.items():
                if turn <= 60:
                    network.add_edge((cell, old), (to, leg), weight=cost + 2 * turn / 60)
            turn = apart_deg(angle, ahead_deg)
            if cell in starts and turn <= 60:
                along = CELL_M * starts.index(cell)
                network.add_edge("home", (to, leg), weight=along + cost + 2 * turn / 60)
    network.add_node("home")
    reached = nx.single_source_dijkstra_path_length(network, "home")
    costs: dict[int, float] = {}
    for state, cost in reached.items():
        if state != "home":
            costs[state[0]] = min(cost, costs.get(state[0], math.inf))
    return costs


@pytest.mark.parametrize("seed", range(4))
def test_ways_in_legs_cost_what_networkx_finds(seed: int) -> None:
    # The run goes east over three cells, from any of which a way may begin; the plane is too steep
    # straight up, so that legs climb aslant.
    grid = grid_with_gaps(70 + seed, 0.03)
    first = ROWS // 2 * COLUMNS + 5
    starts = [first, first + 1, first + 2]
    grid.free.ravel()[starts] = True
    plane, limit = (0.05 * seed, 0.22), 0.2

    def steepest(start: np.ndarray, end: np.ndarray) -> np.ndarray:
        run = end - start
        return np.abs(run @ np.array(plane)) / np.hypot(*run.T)

    none = np.zeros(0, int)
    ways = ways_in_legs(
        grid, steepest, np.array(starts), np.array([1.0, 0.0]), limit=limit, weights=WEIGHTS,
        turning=TURNING, last_legs=Landings(none, none, np.zeros(0), np.zeros(0), 0),
    )  # fmt: skip
    plain = leg_costs(grid, starts, 0.0, plane, limit)
    cells = np.array(sorted(plain))
    assert {int(cell) for cell in np.flatnonzero(np.isfinite(ways.cost))} == set(plain)
    assert len(cells) >= 30
    np.testing.assert_allclose(ways.cost[cells], [plain[c] for c in cells.tolist()], rtol=1e-9)


def test_the_last_leg_goes_on_from_the_cheapest_way_that_it_may_follow() -> None:
    # By hand: from the west straight on to the end are 4 m; the one that comes from the north to it
    # would have to turn by 90 degrees, so the nearer cell is no way there.
    grid = RouteGrid(0.0, 0.0, CELL_M, np.ones((20, 20), bool), np.full((20, 20), 9.0))
    start = 10 * 20 + 2
    beside, above = 10 * 20 + 8, 12 * 20 + 10
    cells, lengths = np.array([beside, above]), np.array([1.0, 0.1])
    last = Landings(cells, np.array([1, 1]), np.radians([0.0, -90.0]), lengths, ends=2)
    ways = ways_in_legs(
        grid, lambda start, _: np.zeros(len(start)), np.array([start]), np.array([1.0, 0.0]),
        limit=0.2, weights=WEIGHTS, turning=TURNING, last_legs=last,
    )  # fmt: skip
    assert ways.cost[grid.free.size] == np.inf  # no leg leads to the first end
    assert ways.cost[grid.free.size + 1] == pytest.approx(3.0 + 1.0)
    np.testing.assert_allclose(
        ways.to(grid.free.size + 1)[[0, -1]], grid.coordinates(np.array([start, beside]))
    )


def test_a_way_begins_where_along_the_run_it_is_shortest() -> None:
    # By hand: the run goes east over five cells of 25 cm; straight on it is as long from each, and
    # to a place square to the third it turns before, in steps of 60 degrees a metre.
    grid = RouteGrid(0.0, 0.0, 0.25, np.ones((60, 60), bool), np.full((60, 60), 9.0))
    run = [30 * 60 + 10 + cell for cell in range(5)]
    both, first = smooth(grid, run, (1.0, 0.0), []), smooth(grid, run[:1], (1.0, 0.0), [])
    assert both.cost[30 * 60 + 40] == pytest.approx(30 * 0.25)
    last = smooth(grid, run[-1:], (1.0, 0.0), [])
    found = np.minimum(first.cost, last.cost + 4 * 0.25)
    assert (both.cost <= found + 1e-9).all()
    assert both.to(run[0] + 20)[0] in grid.coordinates(np.array(run))


def test_a_gently_turning_way_back_swings_round() -> None:
    grid = RouteGrid(0.0, 0.0, 0.25, np.ones((60, 60), bool), np.full((60, 60), 9.0))
    start, behind = 30 * 60 + 40, 30 * 60 + 20
    way = smooth(grid, [start], (1.0, 0.0), []).to(behind)
    run = np.diff(way, axis=0)
    turn = np.abs(np.degrees(np.angle((run[1:] @ [1, 1j]) / (run[:-1] @ [1, 1j]))))
    # No step turns by more than three quarters of the largest bend, nor a metre by much more than
    # the whole: steps are half a metre to 0.8 m long.
    assert turn.max() <= 45 + 1e-6
    assert turn.sum() >= 180 - 45
    swing_m = np.ptp(way[:, 1])
    # Half a turn at 60 degrees a metre is 3 m of arc, a circle of 1.91 m across (arithmetic).
    assert swing_m > 1.0


def test_a_way_comes_to_its_end_so_that_it_can_go_on() -> None:
    grid = RouteGrid(0.0, 0.0, 0.25, np.ones((60, 60), bool), np.full((60, 60), 9.0))
    start, end = 30 * 60 + 40, 30 * 60 + 20
    # Straight on westward it would come with its back to the east, where it is to go on.
    straight = smooth(grid, [start], (-1.0, 0.0), [])
    onward = smooth(grid, [start], (-1.0, 0.0), [end])
    assert straight.cost[end] == pytest.approx(5.0)
    last = np.diff(onward.to(end)[-2:], axis=0)[0]
    assert last @ [1.0, 0.0] >= np.hypot(*last) * math.cos(math.radians(60)) - 1e-9
