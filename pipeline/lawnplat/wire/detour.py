"""A way round obstacles between two rings, for a wire pair outside the lawn."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.sparse import csgraph
from shapely import LineString, MultiPolygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, grow, polygons
from lawnplat.wire.leg_cost import LegCost
from lawnplat.wire.route_grid import graph, lay_grid, moves
from lawnplat.wire.shortcut import straightened

_CELL_M = 0.25
_MOST_CELLS = 60_000
_NOTHING_BEFORE = -9999
_SAME_M = 1e-6
_ON_IT_M = 1e-3


def way_round(one: LineString, other: LineString, free: BaseGeometry) -> LineString | None:
    """Return a short way through ``free`` from ring ``one`` to ring ``other``; None where none is.

    Found on a grid of 16 neighbours, then straightened; on a finer grid where a coarse one has no
    way. The way never leaves ``free``, however thin what lies between.
    """
    parts = np.array(polygons(free), dtype=object)
    # A part that does not touch both rings cannot hold the way: often none does.
    both = shapely.dwithin(parts, one, 2 * _ON_IT_M) & shapely.dwithin(parts, other, 2 * _ON_IT_M)
    if not both.any():
        return None
    free = MultiPolygon(list(parts[both]))
    # Where a ring is barred no way begins, though the nearest point of it be there.
    near = grow(free, _ON_IT_M)
    begin, end = shapely.intersection(one, near), shapely.intersection(other, near)
    cell_m = max(_CELL_M, float(np.sqrt(free.area / _MOST_CELLS)))
    for size_m in (cell_m, cell_m / 2):
        rough = _rough_way(begin, end, free, size_m)
        if rough is not None:
            joined = _joined(begin, end, rough)
            way = LineString(straightened(joined, _length_only(near), relax=False))
            if shapely.covers(near, way):
                return way
    return None


def _rough_way(
    one: BaseGeometry, other: BaseGeometry, free: BaseGeometry, cell_m: float
) -> FloatArray | None:
    """Return the cell centres of the shortest way over the grid; None where there is none.

    Every point of a move is within half a cell of a centre that it passes over, so that with
    centres half a cell inside ``free`` no move crosses what is not free.
    """
    inner = grow(free, -0.5 * cell_m)
    if inner.is_empty:
        return None
    grid = lay_grid(inner, cell_m)
    nodes = grid.free_nodes()
    places = shapely.points(grid.coordinates(nodes))
    starts = nodes[shapely.dwithin(one, places, 1.5 * cell_m)]
    ends = nodes[shapely.dwithin(other, places, 1.5 * cell_m)]
    if len(starts) == 0 or len(ends) == 0:
        return None
    found = moves(grid, reach=2)
    network = graph(grid, found, found.length_m)
    cost, before, _ = csgraph.dijkstra(
        network, indices=starts, min_only=True, return_predecessors=True
    )
    best = ends[int(np.argmin(cost[ends]))]
    if not np.isfinite(cost[best]):
        return None
    chain = [int(best)]
    while before[chain[-1]] != _NOTHING_BEFORE:
        chain.append(int(before[chain[-1]]))
    return grid.coordinates(np.array(chain[::-1]))


def _joined(one: BaseGeometry, other: BaseGeometry, way: FloatArray) -> FloatArray:
    """Lead the way from the nearest point of ring ``one`` to the nearest point of ``other``."""
    first = shapely.get_coordinates(shapely.shortest_line(one, shapely.points(way[0])))[:1]
    last = shapely.get_coordinates(shapely.shortest_line(other, shapely.points(way[-1])))[:1]
    whole = np.concatenate([first, way, last])
    moved = np.hypot(*np.diff(whole, axis=0).T) > _SAME_M
    return np.asarray(whole[np.concatenate([[True], moved])])


def _length_only(free: BaseGeometry) -> LegCost:
    def level(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        return np.zeros_like(x), np.zeros_like(y)

    def apart(x: FloatArray, y: FloatArray) -> FloatArray:  # noqa: ARG001
        return np.zeros_like(x)

    return LegCost(level, apart, free, np.inf, 0.0, 0.0)
