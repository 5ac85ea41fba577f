"""Relax a chain of legs: move, merge and drop its corners for as long as that makes it cheaper."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from lawnplat.geometry import FloatArray
from lawnplat.wire.leg_cost import BARRED, LegCost, turn_between
from lawnplat.wire.rounding import bends_deg

_STEPS_M = (0.5, 0.2, 0.06)
_SWEEPS = 5
_DIRECTIONS = 12
_STRAIGHT_DEG = 0.5
_CHEAPER_M = 1e-6
_LATTICE = 9
_WIDER_M = 0.5


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
    inner = range(1, len(points) - 1)
    for step_m in _STEPS_M:
        unsettled = set(inner)
        for _ in range(_SWEEPS):
            moved = [
                place
                for place in sorted(unsettled)
                if _nudged(points, place, step_m, cost, heading)
            ]
            # What a corner costs depends on the two to each side of it.
            unsettled = {near for place in moved for near in range(place - 2, place + 3)}
            unsettled &= set(inner)
            if not unsettled:
                break
    return points


def _nudged(
    points: FloatArray, place: int, step_m: float, cost: LegCost, heading: FloatArray | None
) -> bool:
    """Move one corner, in place, to the cheapest spot round it; return whether it moved."""
    angle = np.arange(_DIRECTIONS) * 2 * np.pi / _DIRECTIONS
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1) * step_m
    tries = points[place] + np.concatenate([[[0.0, 0.0]], ring])
    price = _prices(points[:place], tries, points[place + 1 :], cost, heading)
    shortest = np.minimum(_legs_m(points, place, tries[:1]), cost.smallest_leg_m)
    # Two corners must not run into each other: the bend between them would no longer be seen.
    price[(_legs_m(points, place, tries) < shortest).any(axis=0)] = np.inf
    best = int(np.argmin(price))
    if price[best] >= price[0] - _CHEAPER_M:
        return False
    points[place] = tries[best]
    return True


def _legs_m(points: FloatArray, place: int, tries: FloatArray) -> FloatArray:
    """Return the lengths of the two legs at each spot for one corner. Shape (2, tries)."""
    before, after = tries - points[place - 1], points[place + 1] - tries
    return np.stack([np.hypot(*before.T), np.hypot(*after.T)])


def _merged(points: FloatArray, cost: LegCost, heading: FloatArray | None) -> FloatArray:
    """Replace the first two neighbouring corners by one where that makes the chain cheaper."""
    for place in range(1, len(points) - 2):
        pair = points[place : place + 2]
        half_m = np.hypot(*(pair[1] - pair[0])) / 2 + _WIDER_M
        offset = np.linspace(-half_m, half_m, _LATTICE)
        lattice = np.stack(np.meshgrid(offset, offset), axis=-1).reshape(-1, 2)
        tries = np.concatenate([pair, pair.mean(axis=0) + lattice])
        before, after = points[:place], points[place + 2 :]
        price = _prices(before, tries, after, cost, heading)
        best = int(np.argmin(price))
        if price[best] < _price_of_pair(before, pair, after, cost, heading) - _CHEAPER_M:
            return np.concatenate([before, tries[best : best + 1], after])
    return points


def _prices(
    before: FloatArray,
    tries: FloatArray,
    after: FloatArray,
    cost: LegCost,
    heading: FloatArray | None,
) -> FloatArray:
    """Return the price of the two legs and the bends at and beside one corner at each spot."""
    many = len(tries)
    last, first = (np.repeat(row[None], many, axis=0) for row in (before[-1], after[0]))
    price, barred = cost.legs(np.concatenate([last, tries]), np.concatenate([tries, first]))
    price = np.where(barred, price * BARRED, price).reshape(2, many).sum(axis=0)
    chain = [tries - last, first - tries]
    into = before[-1] - before[-2] if len(before) > 1 else heading
    if into is not None:
        chain = [np.repeat(into[None], many, axis=0), *chain]
    if len(after) > 1:
        chain.append(np.repeat((after[1] - after[0])[None], many, axis=0))
    for one, other in pairwise(chain):
        price = price + cost.bends(turn_between(one, other))
    return np.asarray(price)


def _price_of_pair(
    before: FloatArray,
    pair: FloatArray,
    after: FloatArray,
    cost: LegCost,
    heading: FloatArray | None,
) -> float:
    """Return the price of the three legs and the bends at and beside two corners."""
    stops = np.concatenate([before[-1:], pair, after[:1]])
    price, barred = cost.legs(stops[:-1], stops[1:])
    runs = list(np.diff(stops, axis=0))
    into = before[-1] - before[-2] if len(before) > 1 else heading
    runs = runs if into is None else [into, *runs]
    runs = [*runs, after[1] - after[0]] if len(after) > 1 else runs
    turns = turn_between(np.array(runs[:-1]), np.array(runs[1:]))
    return float(np.where(barred, price * BARRED, price).sum() + cost.bends(turns).sum())
