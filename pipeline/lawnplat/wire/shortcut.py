"""Straighten a way found on a grid: the cheapest chain of straight legs between its points.

Dynamic programming over the points of the way: every leg between two of them that stays on free
ground and under the gradient limit may be taken. Repeated on points laid anew along the result, so
that the way is not tied to the grid's directions. On an inclined plane this comes within some
percent of the true optimum, which is max(straight distance, height / limit).
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString

from lawnplat.geometry import FloatArray
from lawnplat.wire.leg_cost import BARRED, STRAIGHT_DEG, LegCost, turn_between
from lawnplat.wire.relaxing import relaxed

_MOST_POINTS, _MOST_POINTS_FINE = 48, 80
_ROUNDS = 3
_WORTHWHILE = 3e-3
"""A round that saves a smaller share than this is the last."""
_SAME_M = 1e-6


def straightened(
    way: FloatArray,
    cost: LegCost,
    heading: FloatArray | None = None,
    *,
    relax: bool = True,
    fine: bool = False,
) -> FloatArray:
    """Return the corner points of the cheapest chain of legs along ``way``.

    Parameters
    ----------
    way : array of shape (n, 2)
        Points of an admissible way, from its start to its end.
    cost : LegCost
    heading : array of shape (2,), optional
        Unit vector of the line that leads to the start, so that the first bend counts too.
    relax : bool
        Whether corners are moved off the points of the way at last; without, some tenths of a
        percent longer in a quarter of the time.
    fine : bool
        Whether corners may lie closer together, for winding ways; takes twice as long.
    """
    shapely.prepare(cost.free)
    best = way
    best_cost = np.inf
    for _ in range(_ROUNDS):
        points = _spread(best, _MOST_POINTS_FINE if fine else _MOST_POINTS)
        corners, total = _cheapest_chain(points, cost, heading)
        if not np.isfinite(total) or total >= best_cost:
            break
        gained = best_cost - total
        best, best_cost = corners, total
        if gained < _WORTHWHILE * total:
            break
    if not relax:
        return best
    smooth = relaxed(best, cost, heading)
    # Moved one at a time, corners may tie a loop into the line to spare it a sharp bend.
    return smooth if LineString(smooth).is_simple else best


def _spread(way: FloatArray, most: int) -> FloatArray:
    """Return points along ``way``: its corners, and more between them at even spacing."""
    line = LineString(way)
    room = most - len(way)
    if room <= 0:
        return shapely.get_coordinates(
            shapely.line_interpolate_point(line, np.linspace(0, line.length, most))
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
    table = np.full((size, size), np.inf)
    first, last = np.triu_indices(size, k=1)
    table[first, last] = cost.open_legs(points[first], points[last])
    barred = np.flatnonzero(np.isinf(np.diagonal(table, 1)))
    if len(barred):
        price, _ = cost.legs(points[barred], points[barred + 1])
        table[barred, barred + 1] = price * BARRED
    return _walk_back(points, *_chained(points, table, cost, heading))


def _chained(
    points: FloatArray, table: FloatArray, cost: LegCost, heading: FloatArray | None
) -> tuple[FloatArray, NDArray[np.int64]]:
    """Return, for each last leg (from, to), the least cost of a chain that ends with it.

    The second array holds the point before ``from`` in that chain; -1 for a first leg.
    """
    size = len(points)
    run = points[None] - points[:, None]
    length_m = np.hypot(run[..., 0], run[..., 1])
    total = np.full((size, size), np.inf)
    before: NDArray[np.int64] = np.full((size, size), -1)
    total[0] = table[0]
    if heading is not None:
        turn = turn_between(np.broadcast_to(heading, run[0].shape), run[0])
        total[0] += cost.bends(turn, length_m[0])
        # A leg that goes straight on is part of the run that leads to the start.
        length_m[0] += np.where(turn < STRAIGHT_DEG, cost.smallest_leg_m, 0.0)
    taken = np.isfinite(table)
    bends, first = _all_bends(run, length_m, taken, cost)
    arriving, leaving = _points_of(taken.T), _points_of(taken)
    for place in range(1, size - 1):
        came, goes = arriving[place], leaving[place]
        if len(came) == 0 or len(goes) == 0:
            continue
        sums = bends[first[place] : first[place + 1]].reshape(len(goes), len(came))
        sums += total[:, place].take(came)
        least = sums.argmin(axis=1)
        total[place, goes] = sums[np.arange(len(goes)), least] + table[place].take(goes)
        before[place, goes] = came.take(least)
    return total, before


def _points_of(taken: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Return the columns that are true in each row."""
    columns, last = np.nonzero(taken)[1], np.cumsum(taken.sum(axis=1)).tolist()
    return [columns[begin:end] for begin, end in pairwise([0, *last])]


def _all_bends(
    run: FloatArray, length_m: FloatArray, taken: NDArray[np.bool_], cost: LegCost
) -> tuple[FloatArray, NDArray[np.int64]]:
    """Return what the bend between every two legs ``taken`` costs that follow each other.

    Ordered by the point between them, then by the one after, then by the one before. The second
    array holds where those of each point begin, shape (points + 1,).
    """
    arriving, leaving = taken.sum(axis=0), taken.sum(axis=1)
    legs = (run[..., 0], run[..., 1], length_m)
    # The legs that lead on from each point, each as often as one leads to it, and those.
    led_on = np.nonzero(taken)[0]
    many = arriving[led_on]
    on_x, on_y, onward_m = (np.repeat(each[taken], many) for each in legs)
    skipped = (np.cumsum(arriving) - arriving)[led_on] - (np.cumsum(many) - many)
    led_to = np.arange(many.sum()) + np.repeat(skipped, many)
    x, y, into_m = (each.T[taken.T].take(led_to) for each in legs)
    turn_deg = np.abs(np.degrees(np.arctan2(x * on_y - y * on_x, x * on_x + y * on_y)))
    bends = cost.bends(turn_deg, np.minimum(into_m, onward_m))
    return bends, np.concatenate([[0], np.cumsum(arriving * leaving)])


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
