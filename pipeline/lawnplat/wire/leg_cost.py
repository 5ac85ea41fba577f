"""What one straight leg of a line costs, and what it costs to bend between two."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray

Gradient = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]
"""Rise a metre eastward and northward at x, y."""
Closeness = Callable[[FloatArray, FloatArray], FloatArray]
"""0 in the open to 1 hard by a wire, at x, y."""

BARRED = 1000.0
"""How much more a barred leg costs where the way itself takes it."""
_SHARP_BEND_M = 20.0
"""Metres of line that a bend sharper than the largest allowed is worth: it is a last resort."""
_BARRED_BEND_M = 1000.0
"""What one twice as sharp is worth where a way without is at hand: no detour is as long."""
_SHARP_SHARE = 0.05
"""The price of a sharp bend grows over this share of the largest allowed, then stays."""
_HAIR = 1e-3
_LEAST_SHARE = 1.0 - 1e-9
"""A metre costs no less than this: its weight is 1 at least, but for rounding."""
STRAIGHT_DEG = 0.5
_CHECK_M = 0.25
_FEWEST_CHECKS, _MOST_CHECKS = 4, 64
BLOCK_SAMPLES = 6_000
"""Places looked at together: so many that they stay in the processor's cache."""
_GLANCES = 4
"""Where many legs are priced, each is first looked at in so many places, to bar it quickly."""


@dataclass(frozen=True)
class LegCost:
    """What a leg costs: its length, more where it is steep or close to a wire.

    A leg shorter than ``smallest_leg_m`` costs up to as much more as a bend, and the bends at its
    ends may turn by no more than its share of that length: a line turns no further in it for having
    more corners.

    A bend sharper than the largest allowed is a last resort; ``gently`` prices it by how much
    sharper it is, and so high that any way without is cheaper.

    A leg that leaves ``free``, or is anywhere steeper than ``limit`` by more than ``over_limit``
    (both m/m), is barred; between neighbouring points of a way it may still be taken, at a high
    price.
    """

    gradient: Gradient
    closeness: Closeness
    free: BaseGeometry
    limit: float
    per_gradient: float
    per_closeness: float
    per_bend: float = 0.0
    largest_bend_deg: float = 180.0
    smallest_leg_m: float = 0.0
    gently: bool = False
    over_limit: float = 0.0
    asked: dict[tuple[float, bytes], FloatArray] = field(
        default_factory=dict, repr=False, compare=False
    )
    """What `open_legs` found: a way is drawn more than once, its legs stay what they are."""

    @property
    def _sharp_bend_m(self) -> float:
        return _BARRED_BEND_M if self.gently else _SHARP_BEND_M

    def bends(self, turn_deg: FloatArray, shorter_m: FloatArray) -> FloatArray:
        """Return the cost of changes of direction, in metres of line.

        ``shorter_m`` is the length of the shorter of the two legs that meet there.
        """
        share = turn_deg / self.largest_bend_deg
        leg_m = max(self.smallest_leg_m, _HAIR)
        allowed = np.minimum(np.maximum(shorter_m / leg_m, _HAIR), 1.0)
        over = np.maximum(share / allowed - 1.0, 0.0)
        sharp = over if self.gently else np.minimum(over / _SHARP_SHARE, 1.0)
        return np.asarray(self.per_bend * share + self._sharp_bend_m * sharp)

    def bends_between(self, runs: FloatArray) -> FloatArray:
        """Return the cost of the bend between every two ``runs`` that follow each other.

        Runs have shape (n + 1, ..., 2); where one is 0 there is no bend.
        """
        before, after = runs[:-1], runs[1:]
        length_m = np.hypot(runs[..., 0], runs[..., 1])
        turns = turn_between(before.reshape(-1, 2), after.reshape(-1, 2))
        turns = turns.reshape(length_m[1:].shape)
        # Two runs that go straight on are one leg.
        on = turns < STRAIGHT_DEG
        leg_m = length_m.copy()
        leg_m[:-1] += np.where(on, length_m[1:], 0.0)
        leg_m[1:] += np.where(on, length_m[:-1], 0.0)
        return self.bends(turns, np.minimum(leg_m[:-1], leg_m[1:]))

    def led_in(self, heading: FloatArray) -> FloatArray:
        """Return the run that a straight run in a direction counts as: it is long enough."""
        return heading[None] * max(self.smallest_leg_m, 1.0)

    def steepest(self, start: FloatArray, end: FloatArray) -> FloatArray:
        """Return the steepest gradient (m/m) along each straight leg. Shape (n,)."""
        length_m = np.hypot(*(end - start).T)
        shares = np.linspace(0.0, 1.0, int(_checks(length_m).max(initial=_FEWEST_CHECKS)) + 1)
        return np.asarray(self._along(start, end, length_m, shares)[2].max(axis=1))

    def legs(self, start: FloatArray, end: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Return the cost of each straight leg and whether it is barred. Shapes (n,).

        What a leg costs depends on the leg alone, not on those it is asked with.
        """
        price, barred = self.on_slopes(start, end)
        asked = np.flatnonzero(~barred)
        barred[asked] = ~self.on_ground(start[asked], end[asked])
        return price, barred

    def open_legs(self, start: FloatArray, end: FloatArray) -> FloatArray:
        """Return the cost of each straight leg, infinite where it is barred. Shape (n,)."""
        key = (self.over_limit, start.tobytes() + end.tobytes())
        if key not in self.asked:
            self.asked[key] = self._open_legs(start, end)
        return self.asked[key].copy()

    def _open_legs(self, start: FloatArray, end: FloatArray) -> FloatArray:
        length_m = np.hypot(*(end - start).T)
        glances = np.linspace(0.0, 1.0, _GLANCES + 1)
        likely = np.flatnonzero(~self._too_steep(self._along(start, end, length_m, glances)[2]))
        likely = likely[self.on_ground(start[likely], end[likely])]
        cost, steep = self.on_slopes(start[likely], end[likely])
        price = np.full(len(start), np.inf)
        price[likely[~steep]] = cost[~steep]
        return price

    def on_ground(self, start: FloatArray, end: FloatArray) -> NDArray[np.bool_]:
        """Return which straight legs stay on free ground. Shape (n,)."""
        shapely.prepare(self.free)
        legs = shapely.linestrings(np.stack([start, end], axis=1))
        return np.asarray(shapely.covers(self.free, legs))

    def on_slopes(self, start: FloatArray, end: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Return the cost of each straight leg and whether it is too steep. Shapes (n,)."""
        length_m = np.hypot(*(end - start).T)
        checks = _checks(length_m)
        price, steep = np.empty(len(start)), np.empty(len(start), bool)
        block_of = np.cumsum(checks + 1) // BLOCK_SAMPLES
        bounds = np.flatnonzero(np.diff(block_of, prepend=-1, append=-1))
        for first, last in pairwise(bounds):
            block = slice(first, last)
            price[block], steep[block] = self._block(
                start[block], end[block], length_m[block], checks[block]
            )
        price += self._short(length_m)
        return price, steep

    def least(self, start: FloatArray, end: FloatArray) -> FloatArray:
        """Return a bound under the cost of each straight leg, by its length. Shape (...,)."""
        run = end - start
        length_m = np.hypot(run[..., 0], run[..., 1])
        return np.asarray(_LEAST_SHARE * length_m + self._short(length_m))

    def _short(self, length_m: FloatArray) -> FloatArray:
        """Return what legs cost for being shorter than the smallest."""
        if self.smallest_leg_m <= 0:
            return np.zeros_like(length_m)
        return self.per_bend * np.maximum(1.0 - length_m / self.smallest_leg_m, 0.0)

    def _too_steep(self, along: FloatArray) -> NDArray[np.bool_]:
        return self._over(along.max(axis=1, initial=0.0))

    def _over(self, steepest: FloatArray) -> NDArray[np.bool_]:
        return np.asarray(steepest > self.limit + self.over_limit)

    def _block(
        self, start: FloatArray, end: FloatArray, length_m: FloatArray, checks: NDArray[np.int64]
    ) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Return cost and steepness of some legs, short ones not yet priced as such."""
        places = checks + 1
        first = np.cumsum(places) - places
        leg = np.repeat(np.arange(len(start)), places)
        share = (np.arange(len(leg)) - first.take(leg)) / checks.take(leg)
        run = (end - start).T
        x, y = (
            here.take(leg) + on.take(leg) * share for here, on in zip(start.T, run, strict=True)
        )
        unit = run / np.maximum(length_m, 1e-9)
        east, north = self.gradient(x, y)
        along = east * unit[0].take(leg)
        along += north * unit[1].take(leg)
        np.abs(along, out=along)
        weight = self.per_closeness * self.closeness(x, y)
        weight += 1.0
        if np.isfinite(self.limit):
            share = along / self.limit
            share *= share
            share *= self.per_gradient
            weight += share
        # The trapezium mean: the ends count half.
        ends = (weight[first] + weight[first + checks]) / 2
        mean = (np.add.reduceat(weight, first) - ends) / checks
        return length_m * mean, self._over(np.maximum.reduceat(along, first))

    def chain(self, corners: FloatArray, heading: FloatArray | None = None) -> float:
        """Return the cost of a chain of legs, barred ones at their high price, with its bends."""
        price, barred = self.legs(corners[:-1], corners[1:])
        run = np.diff(corners, axis=0)
        if heading is not None:
            run = np.concatenate([self.led_in(heading), run])
        return float(np.where(barred, price * BARRED, price).sum() + self.bends_between(run).sum())

    def _along(
        self, start: FloatArray, end: FloatArray, length_m: FloatArray, shares: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return x, y and gradient along the leg at ``shares`` of each leg. Shape (n, shares)."""
        run = end - start
        x = start[:, :1] + run[:, :1] * shares
        y = start[:, 1:] + run[:, 1:] * shares
        unit = run / np.maximum(length_m, 1e-9)[:, None]
        east, north = self.gradient(x, y)
        return x, y, np.abs(east * unit[:, :1] + north * unit[:, 1:])


def _checks(length_m: FloatArray) -> NDArray[np.int64]:
    """Return into how many steps each leg is cut to look at it: a power of two, so that few differ.

    Every leg's places then contain those at which `LegCost.open_legs` glances.
    """
    steps = np.clip(length_m / _CHECK_M, _FEWEST_CHECKS, _MOST_CHECKS)
    return np.asarray(2 ** np.ceil(np.log2(steps)), dtype=np.int64)


def turn_between(into: FloatArray, out: FloatArray) -> FloatArray:
    """Return the change of direction between runs in and out, row by row, degrees."""
    cross = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    along = (into * out).sum(axis=1)
    return np.asarray(np.abs(np.degrees(np.arctan2(cross, along))))
