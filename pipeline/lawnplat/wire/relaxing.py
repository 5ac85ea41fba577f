"""Relax a chain of legs: move, merge and drop its corners for as long as that makes it cheaper."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lawnplat.geometry import FloatArray
from lawnplat.wire.leg_cost import BARRED, LegCost
from lawnplat.wire.rounding import bends_deg
from lawnplat.wire.spot_prices import Spots, prices_if_moved, prices_under

_STEPS_M = (0.5, 0.2, 0.06)
_SWEEPS = 12
_DIRECTIONS = 12
_STRAIGHT_DEG = 0.5
_CHEAPER_M = 1e-3
"""A change that saves less is not worth a further look."""
_LATTICE = 9
_WIDER_M = 0.5
_FAR = 3
"""Corners so many places apart can be moved at once: neither's price holds the other."""


def relaxed(corners: FloatArray, cost: LegCost, heading: FloatArray | None = None) -> FloatArray:
    """Return a chain between the same ends that is no dearer than ``corners``.

    Each corner is moved in twelve directions by steps from half a metre down to some centimetres;
    two neighbouring corners are replaced by one where that is cheaper; a corner that comes to lie
    on a straight is dropped.

    Parameters
    ----------
    corners : array of shape (n, 2)
    cost : LegCost
    heading : array of shape (2,), optional
        Unit vector of the line that leads to the first corner.
    """
    points = _moved(corners.copy(), cost, heading)
    merged = _merged(points, cost, heading)
    while len(merged) < len(points):
        points = _moved(merged, cost, heading)
        merged = _merged(points, cost, heading)
    return _thinned(points, cost, heading)


def _thinned(points: FloatArray, cost: LegCost, heading: FloatArray | None) -> FloatArray:
    """Drop corners that hardly turn, unless a leg would then cut what it went round."""
    kept = np.concatenate([[True], bends_deg(points) > _STRAIGHT_DEG, [True]])
    if kept.all():
        return points
    thin = np.asarray(points[kept])
    return thin if cost.chain(thin, heading) <= cost.chain(points, heading) + _CHEAPER_M else points


def _moved(points: FloatArray, cost: LegCost, heading: FloatArray | None) -> FloatArray:
    inner = np.arange(1, len(points) - 1)
    for step_m in _STEPS_M:
        unsettled = inner
        for _ in range(_SWEEPS):
            if len(unsettled) == 0:
                break
            unsettled = np.intersect1d(_nudged(points, unsettled, step_m, cost, heading), inner)
    return points


def _nudged(
    points: FloatArray,
    places: NDArray[np.int64],
    step_m: float,
    cost: LegCost,
    heading: FloatArray | None,
) -> list[int]:
    """Move corners, in place, to the cheapest spot round each; those first that gain most.

    Returns the places to look at again: what a corner costs depends on the two to each side of it.
    """
    angle = np.arange(_DIRECTIONS) * 2 * np.pi / _DIRECTIONS
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1) * step_m
    tries = points[places][:, None] + np.concatenate([[[0.0, 0.0]], ring])
    shorter_m = _shorter_leg_m(points, places, tries)
    # Two corners must not run into each other: the bend between them would no longer be seen.
    fit = shorter_m >= np.minimum(shorter_m[:, :1], cost.smallest_leg_m)
    spots = _spots(points, places - 1, places + 1, tries, cost, heading)
    price = prices_if_moved(spots, fit, _CHEAPER_M)
    best = np.argmin(price, axis=1)
    gain_m = price[:, 0] - price.min(axis=1)
    moved: list[int] = []
    again: set[int] = set()
    for number in np.argsort(-gain_m, kind="stable"):
        place = int(places[number])
        if not gain_m[number] > _CHEAPER_M:
            break
        if all(abs(place - other) >= _FAR for other in moved):
            points[place] = tries[number, best[number]]
            moved.append(place)
            again.update(range(place - _FAR + 1, place + _FAR))
        else:
            again.add(place)
    return sorted(again)


def _shorter_leg_m(
    points: FloatArray, places: NDArray[np.int64], tries: FloatArray
) -> FloatArray:
    """Return the length of the shorter leg at each spot for each corner. Shape (places, tries)."""
    before, after = tries - points[places - 1][:, None], points[places + 1][:, None] - tries
    before_m, after_m = (np.hypot(leg[..., 0], leg[..., 1]) for leg in (before, after))
    return np.asarray(np.minimum(before_m, after_m))


def _merged(points: FloatArray, cost: LegCost, heading: FloatArray | None) -> FloatArray:
    """Replace the first two neighbouring corners by one where that makes the chain cheaper."""
    places = np.arange(1, len(points) - 2)
    if len(places) == 0:
        return points
    one, other = points[places], points[places + 1]
    half_m = np.hypot(*(other - one).T) / 2 + _WIDER_M
    offset = np.linspace(-1.0, 1.0, _LATTICE)
    lattice = np.stack(np.meshgrid(offset, offset), axis=-1).reshape(-1, 2)
    middle = (one + other)[:, None] / 2
    tries = np.concatenate(
        [one[:, None], other[:, None], middle + lattice * half_m[:, None, None]], axis=1
    )
    under = _prices_of_pairs(points, places, cost, heading) - _CHEAPER_M
    spots = _spots(points, places - 1, places + 2, tries, cost, heading)
    price = prices_under(spots, under)
    saves = price.min(axis=1) < under
    if not saves.any():
        return points
    first = int(np.argmax(saves))
    spot = tries[first, int(np.argmin(price[first]))]
    place = int(places[first])
    return np.concatenate([points[:place], spot[None], points[place + 2 :]])


def _runs(points: FloatArray, cost: LegCost, heading: FloatArray | None) -> FloatArray:
    """Return the runs into and between all points and out of the last, 0 where there is none.

    Run ``n`` leads to point ``n``. Shape (points + 1, 2).
    """
    none = np.zeros((1, 2))
    into = none if heading is None else cost.led_in(heading)
    return np.concatenate([into, np.diff(points, axis=0), none])


def _spots(  # noqa: PLR0917 - the chain and how it is priced
    points: FloatArray,
    first: NDArray[np.int64],
    last: NDArray[np.int64],
    tries: FloatArray,
    cost: LegCost,
    heading: FloatArray | None,
) -> Spots:
    """Return spots between two corners of a chain each, with the three bends there.

    Parameters
    ----------
    points : array of shape (n, 2)
    first, last : array of shape (places,)
        The corners before and after.
    tries : array of shape (places, tries, 2)
    cost : LegCost
    heading : array of shape (2,), optional
    """
    shape = tries.shape
    before, after = (
        np.broadcast_to(points[corner][:, None], shape) for corner in (first, last)
    )
    runs = _runs(points, cost, heading)
    into, out = (
        np.broadcast_to(runs[number][:, None], shape) for number in (first, last + 1)
    )
    chain = np.stack([into, tries - before, after - tries, out])
    bends = cost.bends_between(chain.reshape(4, -1, 2)).sum(axis=0)
    start, end = np.stack([before, tries]), np.stack([tries, after])
    return Spots(cost, start.reshape(2, -1, 2), end.reshape(2, -1, 2), bends, shape[1])


def _prices_of_pairs(
    points: FloatArray,
    places: NDArray[np.int64],
    cost: LegCost,
    heading: FloatArray | None,
) -> FloatArray:
    """Return the price of the three legs and four bends at and beside each two corners."""
    price, barred = cost.legs(points[:-1], points[1:])
    price = np.where(barred, price * BARRED, price)
    bends = cost.bends_between(_runs(points, cost, heading))
    legs = price[places - 1] + price[places] + price[places + 1]
    return np.asarray(legs + sum(bends[places + step] for step in range(-1, 3)))
