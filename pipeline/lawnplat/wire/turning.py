"""How a way over a grid may turn, and in which direction it has to end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lawnplat.geometry import FloatArray
from lawnplat.wire.route_grid import RouteGrid


@dataclass(frozen=True)
class Turning:
    """How a way may turn: as far as ``largest_deg`` in each ``leg_m``, at a price.

    ``per_bend`` is what the largest bend is worth, in metres of line.
    """

    largest_deg: float
    leg_m: float
    per_bend: float

    def price(self, turn_deg: FloatArray) -> FloatArray:
        """Return what turns are worth, in metres of line."""
        return np.asarray(self.per_bend * turn_deg / self.largest_deg)


@dataclass(frozen=True)
class Onward:
    """The direction in which a way goes on from each of some cells; shapes (n,) and (n, 2)."""

    nodes: NDArray[np.int64]
    ahead: FloatArray

    def barred(self, angles: FloatArray, largest_deg: float) -> FloatArray:
        """Return infinity where a way that comes in a direction would turn too far, else 0.

        ``angles`` are radians from east, shape (m,); the result has shape (m, n).
        """
        onward = np.arctan2(self.ahead[:, 1], self.ahead[:, 0])
        turns_deg = between_deg(angles[:, None], onward)
        return np.where(turns_deg > largest_deg, np.inf, 0.0)


def between_deg(one: FloatArray | float, other: FloatArray | float) -> FloatArray:
    """Return the angle between directions given in radians, degrees."""
    turn = (np.subtract(other, one) + np.pi) % (2 * np.pi) - np.pi
    return np.asarray(np.abs(np.degrees(turn)))


def angles_of(steps: NDArray[np.int64]) -> FloatArray:
    """Return the directions of steps (cells upward, right), radians from east. Shape (n,)."""
    return np.asarray(np.arctan2(steps[:, 0], steps[:, 1]))


def directed(step: NDArray[np.int64]) -> tuple[tuple[int, int], bool]:
    """Return a step (cells upward, right) as `moves_by` knows it, and whether it goes that way."""
    up, right = (int(part) for part in step)
    forward = up > 0 or (up == 0 and right > 0)
    return ((up, right) if forward else (-up, -right)), forward


def along_run_m(grid: RouteGrid, starts: NDArray[np.int64], ahead: FloatArray) -> FloatArray:
    """Return how far each cell lies beyond the first in the direction ``ahead``, never under 0."""
    further_m = (grid.coordinates(starts) - grid.coordinates(starts[:1])) @ ahead
    return np.asarray(np.maximum(further_m, 0.0))
