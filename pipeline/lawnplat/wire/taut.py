"""Pull a rough way taut: the shortest way through plane ground that runs near it.

A shortest way among obstacles is a chain of straight legs between their corners. So the legs that
stay on the ground are looked for between the ground's corners near the way, the shortest chain of
them is taken, and the same is done again about the new way until it gets no shorter.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csgraph, csr_array
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, grow

BESIDE_M = 0.02
"""What is barred should be grown by this much first: a taut way touches its corners."""
_COARSE_M = 0.01
"""Corners of the ground count that leave it by more than this."""
_ON_IT_M = 0.002
_NEAR_M = (1.5, 3.0)
"""Corners this near to the way are looked at; those further off only where there is no chain."""
_ROUNDS = 8
_SAVED_M = 1e-6
_MOST_ROUGH = 60
_NOTHING_BEFORE = -9999


def taut_way(rough: FloatArray, ground: BaseGeometry) -> LineString | None:
    """Return the shortest way through ``ground`` about as ``rough`` runs; None where none is.

    Parameters
    ----------
    rough : array of shape (n, 2)
        A way whose ends lie in the ground, but which may leave it between them.
    ground : geometry
        Polygons. The way leaves them by 2 mm at most.
    """
    within = grow(ground, _ON_IT_M)
    shapely.prepare(within)
    corners = np.unique(shapely.get_coordinates(shapely.simplify(ground, _COARSE_M)), axis=0)
    for near_m in _NEAR_M:
        way = _pulled(_turning_points(rough), corners, within, near_m)
        if way is not None:
            return way
    return None


def _pulled(
    rough: FloatArray, corners: FloatArray, within: BaseGeometry, near_m: float
) -> LineString | None:
    best, best_m = rough, np.inf
    for _ in range(_ROUNDS):
        near = shapely.dwithin(LineString(best), shapely.points(corners), near_m)
        points = np.concatenate([best[:1], best[1:-1], corners[near], best[-1:]])
        found = _shortest_chain(points, within)
        if found is None:
            break
        length_m = float(np.hypot(*np.diff(found, axis=0).T).sum())
        saved_m, best = best_m - length_m, found
        best_m = length_m
        if saved_m < _SAVED_M:
            break
    return LineString(best) if np.isfinite(best_m) and best_m > 0 else None


def _turning_points(rough: FloatArray) -> FloatArray:
    """Return the ends of the way and where it turns, thinned evenly where there are many."""
    run = np.diff(rough, axis=0)
    turns = np.abs(run[1:, 0] * run[:-1, 1] - run[1:, 1] * run[:-1, 0]) > _SAVED_M
    kept = np.flatnonzero(np.concatenate([[True], turns, [True]]))
    thinned = np.unique(np.linspace(0, len(kept) - 1, _MOST_ROUGH).round().astype(int))
    return np.asarray(rough[kept[thinned]])


def _shortest_chain(points: FloatArray, within: BaseGeometry) -> FloatArray | None:
    """Return the shortest chain of legs inside ``within`` from the first point to the last."""
    first, last = np.triu_indices(len(points), k=1)
    length_m = np.hypot(*(points[last] - points[first]).T)
    apart = length_m > _SAVED_M
    first, last, length_m = first[apart], last[apart], length_m[apart]
    legs = shapely.linestrings(np.stack([points[first], points[last]], axis=1))
    clear: NDArray[np.bool_] = np.asarray(shapely.covers(within, legs))
    size = len(points)
    places = (first[clear], last[clear])
    network = csr_array((np.asarray(length_m[clear], float), places), shape=(size, size))
    way_m, before, _ = csgraph.dijkstra(
        network, directed=False, indices=np.array([0]), return_predecessors=True, min_only=True
    )
    if not np.isfinite(way_m[-1]):
        return None
    chain = [size - 1]
    while before[chain[-1]] != _NOTHING_BEFORE:
        chain.append(int(before[chain[-1]]))
    return np.asarray(points[chain[::-1]])
