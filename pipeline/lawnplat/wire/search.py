"""Cheapest ways over a grid under a gradient limit, and the least steep where none keeps it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csgraph, csr_array

from lawnplat.geometry import FloatArray
from lawnplat.wire.route_grid import Moves, RouteGrid, graph

_NOTHING_BEFORE = -9999


@dataclass(frozen=True)
class Ways:
    """Cheapest ways from one start. ``cost`` is infinite where no way is; one entry a cell."""

    grid: RouteGrid
    start: int
    cost: FloatArray
    before: NDArray[np.int32]
    limit: float
    """The gradient (m/m) that no move of these ways exceeds."""

    def to(self, node: int) -> FloatArray:
        """Return the way's cell centres from the start to ``node``. Shape (n, 2)."""
        chain = [node]
        while chain[-1] != self.start:
            previous = int(self.before[chain[-1]])
            if previous == _NOTHING_BEFORE:
                raise ValueError(f"no way leads to cell {node}")
            chain.append(previous)
        return self.grid.coordinates(np.array(chain[::-1]))


@dataclass(frozen=True)
class Weights:
    """How much more a metre costs at the gradient limit, and hard by a wire, than in the open."""

    per_gradient: float
    per_closeness: float
    comfortable_m: float

    def closeness(self, clearance_m: FloatArray) -> FloatArray:
        """Return 0 where the clearance is comfortable, 1 where there is none."""
        return np.asarray(np.clip(1.0 - clearance_m / self.comfortable_m, 0.0, 1.0) ** 2)


def cheapest(
    grid: RouteGrid, found: Moves, start: int, limit: float, weights: Weights
) -> Ways:
    """Return the cheapest ways from ``start`` over moves no steeper than ``limit`` (m/m)."""
    kept = found.steepest <= limit
    within = Moves(found.start[kept], found.end[kept], found.length_m[kept], found.steepest[kept])
    close = weights.closeness(grid.clearance_m).ravel()
    near = (close[within.start] + close[within.end]) / 2
    steep = (within.steepest / limit) ** 2 if np.isfinite(limit) and limit > 0 else 0.0
    cost = within.length_m * (1.0 + weights.per_gradient * steep + weights.per_closeness * near)
    network = graph(grid, within, cost)
    reach, before = csgraph.dijkstra(
        network, directed=True, indices=np.array([start]), return_predecessors=True
    )
    return Ways(grid, start, reach[0], before[0], limit)


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
