"""What one straight leg of a line costs, and what it costs to bend between two."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

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
_SHARP_SHARE = 0.05
"""The price of a sharp bend grows over this share of the largest allowed, then stays."""
_OVER_LIMIT = 0.02
"""Share of the limit by which a leg may pass it: what a gradient between grid cells may hide."""
_CHECK_M = 0.25
_MOST_CHECKS = 64


@dataclass(frozen=True)
class LegCost:
    """What a leg costs: its length, more where it is steep or close to a wire.

    A leg shorter than ``smallest_leg_m`` costs up to as much more as a bend.

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
    smallest_leg_m: float = 0.0

    def bends(self, turn_deg: FloatArray) -> FloatArray:
        """Return the cost of changes of direction, in metres of line."""
        share = turn_deg / self.largest_bend_deg
        sharp = np.clip((share - 1.0) / _SHARP_SHARE, 0.0, 1.0)
        return np.asarray(self.per_bend * share + _SHARP_BEND_M * sharp)

    def steepest(self, start: FloatArray, end: FloatArray) -> FloatArray:
        """Return the steepest gradient (m/m) along each straight leg. Shape (n,)."""
        return np.asarray(self._sampled(start, end)[2].max(axis=1))

    def legs(self, start: FloatArray, end: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Return the cost of each straight leg and whether it is barred. Shapes (n,)."""
        x, y, along = self._sampled(start, end)
        weight = 1.0 + self.per_closeness * self.closeness(x, y)
        if np.isfinite(self.limit):
            weight = weight + self.per_gradient * (along / self.limit) ** 2
        length_m = np.hypot(*(end - start).T)
        price = length_m * _mean_along(weight)
        if self.smallest_leg_m > 0:
            price = price + self.per_bend * np.maximum(1.0 - length_m / self.smallest_leg_m, 0.0)
        barred = along.max(axis=1, initial=0.0) > self.limit * (1 + _OVER_LIMIT)
        inside = np.flatnonzero(~barred)
        ways = np.asarray(shapely.linestrings(np.stack([start[inside], end[inside]], axis=1)))
        barred[inside] = ~np.asarray(shapely.covers(self.free, ways))
        return np.asarray(price), barred

    def chain(self, corners: FloatArray, heading: FloatArray | None = None) -> float:
        """Return the cost of a chain of legs, barred ones at their high price, with its bends."""
        price, barred = self.legs(corners[:-1], corners[1:])
        run = np.diff(corners, axis=0)
        if heading is not None:
            run = np.concatenate([heading[None], run])
        turns = turn_between(run[:-1], run[1:])
        return float(np.where(barred, price * BARRED, price).sum() + self.bends(turns).sum())

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


def turn_between(into: FloatArray, out: FloatArray) -> FloatArray:
    """Return the change of direction between runs in and out, row by row, degrees."""
    cross = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    return np.asarray(np.abs(np.degrees(np.arctan2(cross, (into * out).sum(axis=1)))))
