"""Cheapest ways over a grid under a gradient limit, and the least steep where none keeps it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csgraph, csr_array

from lawnplat.geometry import FloatArray
from lawnplat.wire.route_grid import Moves, RouteGrid, graph

NOTHING_BEFORE = -9999
"""What scipy writes where a way begins."""
_ON_CONTOUR = 1e-6


@dataclass(frozen=True)
class Ways:
    """Cheapest ways from one start. ``cost`` is infinite where no way is; one entry a cell."""

    grid: RouteGrid
    start: int
    cost: FloatArray
    limit: float
    """The gradient (m/m) that no move of these ways exceeds."""
    before: NDArray[np.int32]
    """The state before each state of the search; there may be more than one state a cell."""
    last: NDArray[np.int64]
    """The state with which the way to each cell ends."""

    def to(self, node: int) -> FloatArray:
        """Return the way's cell centres from the start to ``node``. Shape (n, 2)."""
        if not np.isfinite(self.cost[node]):
            raise ValueError(f"no way leads to cell {node}")
        chain = [self.last[node]]
        while self.before[chain[-1]] != NOTHING_BEFORE:
            chain.append(self.before[chain[-1]])
        cells = np.array(chain[::-1]) % self.grid.free.size
        moved = np.concatenate([[True], cells[1:] != cells[:-1]])
        return self.grid.coordinates(cells[moved])


@dataclass(frozen=True)
class Weights:
    """How much more a metre costs at the gradient limit, and hard by a wire, than in the open."""

    per_gradient: float
    per_closeness: float
    comfortable_m: float
    per_switchback: float = 0.0
    """Metres of line that a switchback on a bank is worth."""

    def closeness(self, clearance_m: FloatArray) -> FloatArray:
        """Return 0 where the clearance is comfortable, 1 where there is none."""
        return np.asarray(np.clip(1.0 - clearance_m / self.comfortable_m, 0.0, 1.0) ** 2)


def cheapest(
    grid: RouteGrid, found: Moves, start: int, limit: float, weights: Weights
) -> Ways:
    """Return the cheapest ways from ``start`` over moves no steeper than ``limit`` (m/m)."""
    within, cost = admitted(grid, found, limit, weights)
    network = graph(grid, within, cost)
    reach, before = csgraph.dijkstra(
        network, directed=True, indices=np.array([start]), return_predecessors=True
    )
    return Ways(grid, start, reach[0], limit, before[0], np.arange(grid.free.size))


def cheapest_on_banks(
    grid: RouteGrid,
    found: Moves,
    gradient: tuple[FloatArray, FloatArray],
    start: int,
    *,
    limit: float,
    weights: Weights,
) -> Ways:
    """Return the cheapest ways as `cheapest` does, every switchback on a bank counted.

    Each cell has two states: going with the uphill side to the left, or to the right. On ground
    steeper than ``limit`` a move belongs to one of them, and to change from one to the other costs
    as much as ``weights.per_switchback`` metres of line; elsewhere the change is free.

    Parameters
    ----------
    gradient : pair of arrays of shape (rows, columns)
        Rise a metre eastward and northward at the cell centres.
    """
    steep = np.hypot(*gradient) > limit
    if not (steep & grid.free).any():
        return cheapest(grid, found, start, limit, weights)
    within, cost = admitted(grid, found, limit, weights)
    network = _two_sided(grid, within, cost, _Banks(gradient, steep, weights.per_switchback))
    reach, before = csgraph.dijkstra(
        network, directed=True, indices=np.array([start, start + grid.free.size]), min_only=True,
        return_predecessors=True,
    )[:2]
    both = reach.reshape(2, -1)
    side = np.argmin(both, axis=0)
    cells = np.arange(grid.free.size)
    return Ways(grid, start, both[side, cells], limit, before, cells + side * grid.free.size)


@dataclass(frozen=True)
class _Banks:
    """Where the ground is steeper than the limit, and what a switchback there is worth."""

    gradient: tuple[FloatArray, FloatArray]
    steep: NDArray[np.bool_]
    per_switchback: float


def _two_sided(grid: RouteGrid, found: Moves, cost: FloatArray, banks: _Banks) -> csr_array:
    """Return the directed graph with two states a cell, the second only where it is steep."""
    cells = grid.free.size
    steep = banks.steep.ravel()
    plain = ~(steep[found.start] | steep[found.end])
    starts = [found.end[plain][::-1], found.start[plain]]
    ends = [found.start[plain][::-1], found.end[plain]]
    costs = [cost[plain][::-1], cost[plain]]
    first, last, worth = found.start[~plain], found.end[~plain], cost[~plain]
    run = grid.coordinates(last) - grid.coordinates(first)
    east, north = (part.ravel()[first] for part in banks.gradient)
    leftward = east * run[:, 1] - north * run[:, 0]
    hair = _ON_CONTOUR * np.hypot(east, north) * found.length_m[~plain]
    gentle = ~(steep[first] & steep[last])
    for state, sign in ((0, 1.0), (1, -1.0)):
        for one, other, way in ((first, last, 1.0), (last, first, -1.0)):
            kept = gentle | (sign * way * leftward >= -hair)
            starts.append(one[kept] + state * cells * steep[one[kept]])
            ends.append(other[kept] + state * cells * steep[other[kept]])
            costs.append(worth[kept])
    sides = np.flatnonzero(grid.free.ravel() & steep)
    change = np.full(len(sides), banks.per_switchback)
    table = (
        np.concatenate([*costs, change, change]),
        (
            np.concatenate([*starts, sides, sides + cells]).astype(np.int32),
            np.concatenate([*ends, sides + cells, sides]).astype(np.int32),
        ),
    )
    return csr_array(table, shape=(2 * cells, 2 * cells))


def admitted(
    grid: RouteGrid, found: Moves, limit: float, weights: Weights
) -> tuple[Moves, FloatArray]:
    """Return the moves no steeper than ``limit`` and what each costs."""
    kept = np.flatnonzero(found.steepest <= limit)
    within = found
    if len(kept) < len(found.start):
        within = Moves(
            found.start.take(kept),
            found.end.take(kept),
            found.length_m.take(kept),
            found.steepest.take(kept),
        )
    close = weights.closeness(grid.clearance_m).ravel()
    near = (close[within.start] + close[within.end]) / 2
    steep = (within.steepest / limit) ** 2 if np.isfinite(limit) and limit > 0 else 0.0
    cost = within.length_m * (1.0 + weights.per_gradient * steep + weights.per_closeness * near)
    return within, cost


def least_limit(found: Moves, cells: int, start: int, ends: NDArray[np.int64]) -> float:
    """Return the least gradient limit (m/m) under which one of ``ends`` is reached from ``start``.

    Bisection over the gradients that occur; infinity where no way leads there at any gradient.
    """
    levels = np.unique(found.steepest)
    if len(levels) == 0 or not _reached(found, cells, start, ends, float(levels[-1])):
        return float("inf")
    low, high = 0, len(levels) - 1
    while low < high:
        middle = (low + high) // 2
        if _reached(found, cells, start, ends, float(levels[middle])):
            high = middle
        else:
            low = middle + 1
    return float(levels[high])


def _reached(
    found: Moves, cells: int, start: int, ends: NDArray[np.int64], limit: float
) -> bool:
    kept = found.steepest <= limit
    links = csr_array(
        (np.ones(int(kept.sum()), np.int8), (found.start[kept], found.end[kept])),
        shape=(cells, cells),
    )
    _, label = csgraph.connected_components(links, directed=False)
    return bool((label[ends] == label[start]).any())
