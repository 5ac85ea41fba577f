"""Search ways from the straight run to every place where a return line could be joined."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from lawnplat.geometry import FloatArray, grow
from lawnplat.settings.types import RuleBook
from lawnplat.terrain.sample import gradient_at
from lawnplat.terrain.types import Terrain
from lawnplat.wire.corridor import MEETING_DEG, Corridor, Ends
from lawnplat.wire.landing import landings
from lawnplat.wire.leg_cost import BLOCK_SAMPLES
from lawnplat.wire.leg_search import ways_in_legs
from lawnplat.wire.route_grid import IntArray, RouteGrid, lay_grid, moves
from lawnplat.wire.scene import Scene
from lawnplat.wire.search import Ways, Weights, cheapest_on_banks, least_limit
from lawnplat.wire.smooth_search import smooth_ways
from lawnplat.wire.turning import Onward, Turning

_CELL_M = 0.25
_MOST_CELLS = 40_000
_FINEST_M = 0.1
_FINER = 1.6
_REACH_NEAR, _REACH_FAR, _REACH_CONTOUR = 3, 3, 8
_MANY_CELLS = 20_000
_MOST_CELLS_SMOOTH = 8_000


@dataclass(frozen=True)
class Gently:
    """How ways that turn gently are looked for: under what share of the limit, and in what steps.

    With ``in_legs`` in whole legs, else in shorter steps. ``bend_share`` is the share of a bend's
    worth that counts.
    """

    limit_share: float = 1.0
    in_legs: bool = False
    bend_share: float = 1.0


IN_LEGS = Gently(in_legs=True, bend_share=0.25)
"""Near the shortest that there is, with little said for fewer bends than the rules allow."""
IN_STEPS = Gently()
IN_GENTLER_STEPS = Gently(limit_share=0.93)
"""For where a line along ways in steps is too steep: on rough ground legs drawn between cells may
be steeper than the cells told."""

_MEETINGS = 33
_LOOK_M = 0.25
_MOST_ENDS_SHARE = 0.9
"""A grid that reaches this share of the ends is fine enough."""


@dataclass(frozen=True)
class Searched:
    """Ways to the ends; ``nodes`` is the cell of each end, -1 where it has none.

    ``over`` tells that no way keeps the machine's gradient limit, so that the ways are those whose
    steepest metre is least.
    """

    ways: Ways
    nodes: IntArray
    over: bool

    def way_to_first(self) -> FloatArray:
        """Return the way to the first end, that has to be reached. Shape (n, 2)."""
        return self.ways.to(int(self.nodes[0]))


def search_ends(scene: Scene, corridor: Corridor, ends: Ends) -> Searched | None:
    """Search ways to all ends, on a finer grid where a coarse one does not connect.

    None where no end is reached on the finest.
    """
    if corridor.free.is_empty or len(ends.joint) == 0:
        return None
    found = None
    narrow = any(passage.verdict == "guided" for passage in scene.ground.passages)
    for grid in _grids(corridor, scene.rules, narrow=narrow):
        start = int(grid.nearest(corridor.start[None], 3 * grid.cell_m)[0])
        nodes = grid.nearest(ends.inner, 2 * grid.cell_m)
        if start >= 0 and (nodes >= 0).any():
            found = (grid, start, nodes)
            if _share_reached(grid, start, nodes) >= _MOST_ENDS_SHARE:
                break
    if found is None:
        return None
    grid, start, nodes = found
    gentle = np.where(_gently_met(scene, ends), nodes, -1)
    return _under_limit(scene, grid, start, gentle if (gentle >= 0).any() else nodes)


def search_smooth_ends(
    scene: Scene, corridor: Corridor, ends: Ends, rough: Searched, gently: Gently
) -> Searched | None:
    """Search ways to all ends that turn gently, under the limit of the ``rough`` ways.

    None where there are none, on a grid as fine as that search's or as many cells allow.
    """
    coarse_m = float(np.sqrt(corridor.free.area / _MOST_CELLS_SMOOTH))
    grid = rough.ways.grid
    if grid.cell_m < coarse_m:
        grid = lay_grid(corridor.free, coarse_m, anchor=corridor.start)
    starts = _run_out(grid, corridor, scene.rules)
    nodes = np.where(rough.nodes >= 0, grid.nearest(ends.inner, 2 * grid.cell_m), -1)
    if len(starts) == 0 or (nodes < 0).all():
        return None
    network = _Network(grid, starts, corridor.ahead, gently.limit_share * rough.ways.limit)
    if gently.in_legs:
        ways = _in_legs(scene, corridor, ends, network, gently)
        nodes = np.where(nodes >= 0, grid.free.size + np.arange(len(nodes)), -1)
    else:
        onward = Onward(nodes[nodes >= 0], (ends.joint - ends.inner)[nodes >= 0])
        ways = _in_steps(scene, network, gently, onward)
    if not np.isfinite(ways.cost[nodes[nodes >= 0]]).any():
        return None
    return Searched(ways, nodes, rough.over)


@dataclass(frozen=True)
class _Network:
    """Where gentle ways are looked for, where they begin, and under what limit (m/m)."""

    grid: RouteGrid
    starts: IntArray
    ahead: FloatArray
    limit: float


def _in_steps(scene: Scene, network: _Network, gently: Gently, onward: Onward) -> Ways:
    return smooth_ways(
        network.grid,
        _gradient_on(network.grid, scene.terrain),
        network.starts,
        network.ahead,
        limit=network.limit,
        weights=line_weights(scene.rules),
        turning=_turning(scene.rules, gently),
        onward=onward,
    )


def _in_legs(
    scene: Scene, corridor: Corridor, ends: Ends, network: _Network, gently: Gently
) -> Ways:
    grid, limit = network.grid, network.limit
    steepest = partial(_steepest, scene.terrain)
    last_legs = landings(grid, corridor, ends.joint, scene.rules, steepest=steepest, limit=limit)
    return ways_in_legs(
        grid,
        steepest,
        network.starts,
        network.ahead,
        limit=limit,
        weights=line_weights(scene.rules),
        turning=_turning(scene.rules, gently),
        last_legs=last_legs,
    )


def _turning(rules: RuleBook, gently: Gently) -> Turning:
    line = rules.return_line
    per_bend = gently.bend_share * line.score_bend
    return Turning(line.largest_bend_deg, line.smallest_leg_m, per_bend)


def _steepest(terrain: Terrain, start: FloatArray, end: FloatArray) -> FloatArray:
    """Return the steepest gradient (m/m) along each straight leg. Shape (n,)."""
    run = end - start
    length_m = np.hypot(*run.T)
    steps = int(np.ceil(length_m.max(initial=0.0) / _LOOK_M)) + 1
    share = np.linspace(0.0, 1.0, steps + 1)
    unit = run / np.maximum(length_m, 1e-9)[:, None]
    steepest = np.empty(len(start))
    legs = max(BLOCK_SAMPLES // len(share), 1)
    for first in range(0, len(start), legs):
        block = slice(first, first + legs)
        x, y = (
            begin[:, None] + along[:, None] * share
            for begin, along in zip(start[block].T, run[block].T, strict=True)
        )
        east, north = gradient_at(terrain, x, y)
        east *= unit[block, :1]
        north *= unit[block, 1:]
        steepest[block] = np.abs(east + north).max(axis=1)
    return steepest


def _run_out(grid: RouteGrid, corridor: Corridor, rules: RuleBook) -> IntArray:
    """Return the cells along the straight run in which a way may begin, the nearest first."""
    first = corridor.first_turn(rules)
    length_m = float(np.hypot(*(corridor.start - first)))
    along_m = np.linspace(0.0, length_m, int(length_m / grid.cell_m) + 1 + (length_m > 0))
    found = grid.nearest(first + corridor.ahead * along_m[:, None], 3 * grid.cell_m)
    _, first_at = np.unique(found, return_index=True)
    in_order = found[np.sort(first_at)]
    return in_order[in_order >= 0]


def _gently_met(scene: Scene, ends: Ends) -> NDArray[np.bool_]:
    """Return the ends at which a line can meet the perimeter within the gradient limit.

    A line comes to the wire within `MEETING_DEG` of the square; a wire along the foot or the brow
    of a bank cannot be met there without going straight up or down it.
    """
    square = ends.inner - ends.joint
    heading = np.arctan2(square[:, 1], square[:, 0])[:, None]
    angles = heading + np.radians(np.linspace(-MEETING_DEG, MEETING_DEG, _MEETINGS))
    east, north = gradient_at(scene.terrain, ends.joint[:, 0], ends.joint[:, 1])
    along = np.abs(east[:, None] * np.cos(angles) + north[:, None] * np.sin(angles))
    return np.asarray(along.min(axis=1) <= scene.machine.slope_return_pct / 100.0)


def grid_cell_m(area_m2: float) -> float:
    """Return the cell for an area: fine for gardens, coarser where there would be too many."""
    return max(_CELL_M, float(np.sqrt(area_m2 / _MOST_CELLS)))


def _under_limit(scene: Scene, grid: RouteGrid, start: int, nodes: IntArray) -> Searched | None:
    """Search under the machine's limit; where nothing is reached, with longer moves, then steeper.

    Longer moves come nearer to the contour, which a low limit on a steep bank asks for.
    """
    limit = scene.machine.slope_return_pct / 100.0
    weights = line_weights(scene.rules)
    gradient = _gradient_on(grid, scene.terrain)
    good = nodes[nodes >= 0]
    many = grid.free.sum() > _MANY_CELLS
    for reach in (_REACH_FAR if many else _REACH_NEAR, _REACH_CONTOUR):
        found = moves(grid, reach, gradient)
        ways = cheapest_on_banks(grid, found, gradient, start, limit=limit, weights=weights)
        if np.isfinite(ways.cost[good]).any():
            return Searched(ways, nodes, over=False)
    least = least_limit(found, grid.free.size, start, good)
    if not np.isfinite(least):
        return None
    ways = cheapest_on_banks(grid, found, gradient, start, limit=least, weights=weights)
    return Searched(ways, nodes, over=True)


def _grids(corridor: Corridor, rules: RuleBook, *, narrow: bool) -> Iterator[RouteGrid]:
    """Yield grids over the free ground, ever finer.

    Of each cell size the free ground itself comes first, unless there are ``narrow`` passages, then
    ground half a cell wider, so that all narrow ways join; points beyond the free ground are drawn
    back onto it before the way is straightened.
    """
    cell_m = grid_cell_m(corridor.free.area)
    while True:
        if not narrow:
            yield lay_grid(corridor.free, cell_m, anchor=corridor.start)
        wider = min(0.5 * cell_m, 0.5 * rules.return_line.corridor_m)
        ground = shapely.intersection(grow(corridor.free, wider), corridor.room)
        yield lay_grid(ground, cell_m, anchor=corridor.start)
        if cell_m <= _FINEST_M:
            return
        cell_m /= _FINER


def _gradient_on(grid: RouteGrid, terrain: Terrain) -> tuple[FloatArray, FloatArray]:
    rows, columns = grid.free.shape
    x = grid.west_m + np.arange(columns) * grid.cell_m
    y = grid.south_m + np.arange(rows) * grid.cell_m
    return gradient_at(terrain, *np.meshgrid(x, y))


def _share_reached(grid: RouteGrid, start: int, nodes: IntArray) -> float:
    """Return the share of the ends that any way leads to, however steep.

    Cells that touch at a corner alone do not join: no move leads past a corner (`passed_over`).
    """
    label, _ = ndimage.label(grid.free)
    cells = label.ravel()
    return float(((cells[np.maximum(nodes, 0)] == cells[start]) & (nodes >= 0)).mean())


def line_weights(rules: RuleBook) -> Weights:
    """Return what steepness and closeness to a wire cost a return line."""
    line = rules.return_line
    return Weights(
        line.score_gradient, line.score_closeness, line.comfortable_m, line.score_switchback
    )
