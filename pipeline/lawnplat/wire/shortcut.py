"""Straighten a way found on a grid: the cheapest chain of straight legs between its points.

Dynamic programming over the points of the way: every leg between two of them that stays on free
ground and under the gradient limit may be taken. Repeated on points laid anew along the result, so
that the way is not tied to the grid's directions. On an inclined plane this comes within some
percent of the true optimum, which is max(straight distance, height / limit).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray

Gradient = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]
"""Rise a metre eastward and northward at x, y."""
Closeness = Callable[[FloatArray, FloatArray], FloatArray]
"""0 in the open to 1 hard by a wire, at x, y."""

_MOST_POINTS = 80
_ROUNDS = 3
_SHARP_BEND_M = 20.0
"""Metres of line that a bend of twice the largest allowed is worth: it is a last resort."""
_OVER_LIMIT = 0.02
"""Share of the limit by which a leg may pass it: what a gradient between grid cells may hide."""
_BARRED = 1000.0
"""How much more a barred leg costs where the way itself takes it."""
_CHECK_M = 0.25
_SAME_M = 1e-6
_WORTHWHILE = 1e-3
"""A round that saves a smaller share than this is the last."""
_MOST_CHECKS = 64
_STEPS_M = (0.5, 0.25, 0.1, 0.04)
_SWEEPS = 6
_DIRECTIONS = 16
_STRAIGHT_DEG = 0.5


@dataclass(frozen=True)
class LegCost:
    """What a leg costs: its length, more where it is steep or close to a wire.

    A leg that leaves ``free``, or is anywhere steeper than ``limit`` (m/m) by more than a share of
    it, is barred; between neighbouring points of a way it may still be taken, at a high price.
    """

    gradient: Gradient
    closeness: Closeness
    free: BaseGeometry
    limit: float
    per_gradient: float
    per_closeness: float
    per_bend: float = 0.0
    largest_bend_deg: float = 180.0

    def bends(self, turn_deg: FloatArray) -> FloatArray:
        """Return the cost of changes of direction, in metres of line."""
        share = turn_deg / self.largest_bend_deg
        return np.asarray(self.per_bend * share + _SHARP_BEND_M * np.maximum(share - 1.0, 0.0))

    def steepest(self, start: FloatArray, end: FloatArray) -> FloatArray:
        """Return the steepest gradient (m/m) along each straight leg. Shape (n,)."""
        return np.asarray(self._sampled(start, end)[2].max(axis=1))

    def legs(self, start: FloatArray, end: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Return the cost of each straight leg and whether it is barred. Shapes (n,)."""
        x, y, along = self._sampled(start, end)
        weight = 1.0 + self.per_closeness * self.closeness(x, y)
        if np.isfinite(self.limit):
            weight = weight + self.per_gradient * (along / self.limit) ** 2
        price = np.hypot(*(end - start).T) * _mean_along(weight)
        barred = along.max(axis=1, initial=0.0) > self.limit * (1 + _OVER_LIMIT)
        inside = np.flatnonzero(~barred)
        ways = np.asarray(shapely.linestrings(np.stack([start[inside], end[inside]], axis=1)))
        barred[inside] = ~np.asarray(shapely.covers(self.free, ways))
        return np.asarray(price), barred

    def _sampled(
        self, start: FloatArray, end: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return x, y and gradient along the leg at places on each leg. Shape (n, places)."""
        run = end - start
        length = np.hypot(run[:, 0], run[:, 1])
        checks = int(np.clip(np.ceil(length.max(initial=0.0) / _CHECK_M), 2, _MOST_CHECKS)) + 1
        share = np.linspace(0.0, 1.0, checks)
        x = start[:, :1] + run[:, :1] * share
        y = start[:, 1:] + run[:, 1:] * share
        unit = run / np.maximum(length, 1e-9)[:, None]
        east, north = self.gradient(x, y)
        return x, y, np.abs(east * unit[:, :1] + north * unit[:, 1:])


def _mean_along(values: FloatArray) -> FloatArray:
    """Return the trapezium mean of each row."""
    return np.asarray((values[:, 1:] + values[:, :-1]).mean(axis=1) / 2)


def straightened(
    way: FloatArray, cost: LegCost, heading: FloatArray | None = None
) -> FloatArray:
    """Return the corner points of the cheapest chain of legs along ``way``.

    Parameters
    ----------
    way : array of shape (n, 2)
        Points of an admissible way, from its start to its end.
    cost : LegCost
    heading : array of shape (2,), optional
        Unit vector of the line that leads to the start, so that the first bend counts too.
    """
    shapely.prepare(cost.free)
    best = way
    best_cost = np.inf
    for _ in range(_ROUNDS):
        points = _spread(best)
        corners, total = _cheapest_chain(points, cost, heading)
        if not np.isfinite(total) or total >= best_cost:
            break
        gained = best_cost - total
        best, best_cost = corners, total
        if gained < _WORTHWHILE * total:
            break
    smooth = relaxed(best, cost, heading)
    # Moved one at a time, corners may tie a loop into the line to spare it a sharp bend.
    return smooth if LineString(smooth).is_simple else best


def relaxed(
    corners: FloatArray, cost: LegCost, heading: FloatArray | None = None
) -> FloatArray:
    """Move each corner a little to and fro for as long as that makes the chain cheaper.

    Steps from half a metre down to some centimetres, in sixteen directions; the two ends stay.
    A corner that comes to lie on a straight is dropped.
    """
    points = corners.copy()
    for step_m in _STEPS_M:
        for _ in range(_SWEEPS):
            moved = [_nudged(points, place, step_m, cost, heading) for place in _inner(points)]
            if not any(moved):
                break
    turn = _bends_deg(points)
    return np.asarray(points[np.concatenate([[True], turn > _STRAIGHT_DEG, [True]])])


def _inner(points: FloatArray) -> range:
    return range(1, len(points) - 1)


def _nudged(
    points: FloatArray, place: int, step_m: float, cost: LegCost, heading: FloatArray | None
) -> bool:
    """Move one corner, in place, to the cheapest spot round it; return whether it moved."""
    angle = np.arange(_DIRECTIONS) * 2 * np.pi / _DIRECTIONS
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1) * step_m
    tries = points[place] + np.concatenate([[[0.0, 0.0]], ring])
    many = len(tries)
    before = np.repeat(points[place - 1][None], many, axis=0)
    after = np.repeat(points[place + 1][None], many, axis=0)
    price, barred = cost.legs(np.concatenate([before, tries]), np.concatenate([tries, after]))
    price = np.where(barred, price * _BARRED, price).reshape(2, many).sum(axis=0)
    into = heading if place == 1 else points[place - 1] - points[place - 2]
    chains = [before, tries, after]
    if into is not None:
        chains = [before - into, *chains]
    if place + 2 < len(points):
        chains.append(np.repeat(points[place + 2][None], many, axis=0))
    for one, two, three in zip(chains[:-2], chains[1:-1], chains[2:], strict=True):
        price = price + cost.bends(_turn_between(two - one, three - two))
    best = int(np.argmin(price))
    if price[best] >= price[0] - _SAME_M:
        return False
    points[place] = tries[best]
    return True


def _turn_between(into: FloatArray, out: FloatArray) -> FloatArray:
    """Return the change of direction between runs in and out, row by row, degrees."""
    cross = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    return np.asarray(np.abs(np.degrees(np.arctan2(cross, (into * out).sum(axis=1)))))


def _bends_deg(points: FloatArray) -> FloatArray:
    run = np.diff(points, axis=0)
    return _turn_between(run[:-1], run[1:])


def _spread(way: FloatArray) -> FloatArray:
    """Return points along ``way``: its corners, and more between them at even spacing."""
    line = LineString(way)
    room = _MOST_POINTS - len(way)
    if room <= 0:
        return shapely.get_coordinates(
            shapely.line_interpolate_point(line, np.linspace(0, line.length, _MOST_POINTS))
        )
    spacing = max(line.length / room, 0.2)
    corners = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(way, axis=0).T))])
    more = np.arange(spacing, line.length, spacing)
    chainage = np.unique(np.concatenate([corners, more]))
    kept = np.concatenate([[True], np.diff(chainage) > _SAME_M])
    return shapely.get_coordinates(shapely.line_interpolate_point(line, chainage[kept]))


def _cheapest_chain(
    points: FloatArray, cost: LegCost, heading: FloatArray | None
) -> tuple[FloatArray, float]:
    """Return the cheapest chain of admissible legs over ``points``, in order, and its cost."""
    size = len(points)
    first, last = np.triu_indices(size, k=1)
    price, barred = cost.legs(points[first], points[last])
    neighbours = last - first == 1
    price = np.where(barred, np.where(neighbours, price * _BARRED, np.inf), price)
    table = np.full((size, size), np.inf)
    table[first, last] = price
    return _walk_back(points, *_chained(points, table, cost, heading))


def _chained(
    points: FloatArray, table: FloatArray, cost: LegCost, heading: FloatArray | None
) -> tuple[FloatArray, NDArray[np.int64]]:
    """Return, for each last leg (from, to), the least cost of a chain that ends with it.

    The second array holds the point before ``from`` in that chain; -1 for a first leg.
    """
    size = len(points)
    run = points[None] - points[:, None]
    total = np.full((size, size), np.inf)
    before: NDArray[np.int64] = np.full((size, size), -1)
    total[0] = table[0]
    if heading is not None:
        total[0] += cost.bends(_turn_deg(heading[None], run[0])[0])
    for place in range(1, size - 1):
        came = np.flatnonzero(np.isfinite(total[:place, place]))
        goes = np.flatnonzero(np.isfinite(table[place]))
        if len(came) == 0 or len(goes) == 0:
            continue
        turn = _turn_deg(run[came, place], run[place, goes])
        sums = total[came, place][:, None] + cost.bends(turn)
        least = np.argmin(sums, axis=0)
        total[place, goes] = sums[least, np.arange(len(goes))] + table[place, goes]
        before[place, goes] = came[least]
    return total, before


def _turn_deg(into: FloatArray, out: FloatArray) -> FloatArray:
    """Return the change of direction between every run in and every run out. Shape (in, out)."""
    dot = into @ out.T
    cross = into[:, :1] * out[None, :, 1] - into[:, 1:] * out[None, :, 0]
    return np.asarray(np.abs(np.degrees(np.arctan2(cross, dot))))


def _walk_back(
    points: FloatArray, total: FloatArray, before: NDArray[np.int64]
) -> tuple[FloatArray, float]:
    last = len(points) - 1
    place = int(np.argmin(total[:, last]))
    least = float(total[place, last])
    if not np.isfinite(least):
        return points, float("inf")
    chain = [last, place]
    while chain[-1] > 0:
        chain.append(int(before[chain[-1], chain[-2]]))
    return np.asarray(points[chain[::-1]]), least
