"""Cheapest ways over a grid under a gradient limit, and the least steep where none keeps it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csgraph, csr_array

from lawnplat.geometry import FloatArray
from lawnplat.wire.route_grid import Cells, Moves, RouteGrid, graph, network_of

NOTHING_BEFORE = -9999
"""What scipy writes where a way begins."""
_ON_CONTOUR = 1e-6
_BLOCK = 8192
"""Moves priced together."""


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
        return self.to_each(np.array([node]))[0]

    def to_each(self, nodes: NDArray[np.int64]) -> list[FloatArray]:
        """Return the way to each of some cells, as `to` does."""
        if not np.isfinite(self.cost[nodes]).all():
            unreached = nodes[~np.isfinite(self.cost[nodes])]
            raise ValueError(f"no way leads to cell {unreached[0]}")
        # All ways are followed back together, each as far as it goes.
        states = self.last[nodes]
        chain = []
        while (going := states != NOTHING_BEFORE).any():
            chain.append(states)
            states = np.where(going, self.before[np.where(going, states, 0)], NOTHING_BEFORE)
        ways = np.stack(chain[::-1], axis=1)
        return [self._places_of(way[way != NOTHING_BEFORE]) for way in ways]

    def _places_of(self, states: NDArray[np.int64]) -> FloatArray:
        """Return the cell centres of the states of a way, each cell once."""
        cells = states % self.grid.free.size
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
    cost = priced(grid, found, limit, weights)
    banks = _Banks(gradient, steep, weights.per_switchback)
    network = _two_sided(grid, found, cost, found.steepest <= limit, banks)
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


def _two_sided(
    grid: RouteGrid, found: Moves, cost: FloatArray, kept: NDArray[np.bool_], banks: _Banks
) -> csr_array:
    """Return the directed graph with two states a cell, the second only where it is steep.

    Of the moves only those ``kept``.
    """
    cells = grid.free.size
    steep = banks.steep.ravel()
    plain = kept.copy()
    for block in _blocks(len(plain)):
        plain[block] &= ~(steep.take(found.start[block]) | steep.take(found.end[block]))
    sloping = np.flatnonzero(kept & ~plain)
    first, last, worth = found.start.take(sloping), found.end.take(sloping), cost.take(sloping)
    starts, ends, costs = [], [], []
    run = grid.coordinates(last) - grid.coordinates(first)
    east, north = (part.ravel()[first] for part in banks.gradient)
    leftward = east * run[:, 1] - north * run[:, 0]
    hair = _ON_CONTOUR * np.hypot(east, north) * found.length_m.take(sloping)
    gentle = ~(steep[first] & steep[last])
    second = np.array([0, cells], np.int32)[:, None] * steep
    for state, sign in ((0, 1.0), (1, -1.0)):
        for one, other, way in ((first, last, 1.0), (last, first, -1.0)):
            can = gentle | (sign * way * leftward >= -hair)
            starts.append(one[can] + second[state].take(one[can]))
            ends.append(other[can] + second[state].take(other[can]))
            costs.append(worth[can])
    sides = np.flatnonzero(grid.free.ravel() & steep).astype(np.int32)
    change = np.full(len(sides), banks.per_switchback)
    more = (
        np.concatenate([*starts, sides, sides + cells]),
        np.concatenate([*ends, sides + cells, sides]),
        np.concatenate([*costs, change, change]),
    )
    return network_of(*_both_ways(found, cost, plain, more), 2 * cells)


def _both_ways(
    found: Moves, cost: FloatArray, plain: NDArray[np.bool_], more: tuple[Cells, Cells, FloatArray]
) -> tuple[Cells, Cells, FloatArray]:
    """Return start, end and cost of the ``plain`` moves backward and forward, and of ``more``.

    Backward from the last move on, as `graph` has it.
    """
    level = int(np.count_nonzero(plain))
    size = 2 * level + len(more[0])
    start, end, worth = np.empty(size, np.int32), np.empty(size, np.int32), np.empty(size)
    done = 0
    for block in _blocks(len(plain)):
        at = np.flatnonzero(plain[block])
        first, last = found.start[block].take(at), found.end[block].take(at)
        price = cost[block].take(at)
        forward = slice(level + done, level + done + len(at))
        backward = slice(level - done - len(at), level - done)
        start[forward], end[forward], worth[forward] = first, last, price
        start[backward], end[backward], worth[backward] = last[::-1], first[::-1], price[::-1]
        done += len(at)
    start[2 * level :], end[2 * level :], worth[2 * level :] = more
    return start, end, worth


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
    return within, priced(grid, within, limit, weights)


def priced(grid: RouteGrid, found: Moves, limit: float, weights: Weights) -> FloatArray:
    """Return what each move costs under a gradient limit."""
    close = weights.closeness(grid.clearance_m).ravel()
    limited = np.isfinite(limit) and limit > 0
    cost = np.empty(len(found.start))
    for block in _blocks(len(cost)):
        share = close.take(found.start[block])
        share += close.take(found.end[block])
        share *= weights.per_closeness / 2
        share += 1.0
        if limited:
            share += weights.per_gradient * (found.steepest[block] / limit) ** 2
        np.multiply(share, found.length_m[block], out=cost[block])
    return cost


def _blocks(size: int) -> Iterator[slice]:
    """Yield short slices: memory used again is quick, and new memory costs more than the sums."""
    for first in range(0, size, _BLOCK):
        yield slice(first, first + _BLOCK)


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
