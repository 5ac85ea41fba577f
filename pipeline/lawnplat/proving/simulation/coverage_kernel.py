"""What a straight way cuts, on a raster of points."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray


class Marks(NamedTuple):
    """Points of the lawn, in a raster that runs row by row from the south-west.

    Attributes
    ----------
    mown : array of shape (rows, columns) of uint8
        1 where the point is to be mown.
    passes : array of the same shape, int64
        How many ways went over it.
    last_day : array of the same shape, int32
        Day on which it was last cut; -1 for never.
    frame : array of shape (3,)
        x and y of the first point, distance between points.
    """

    mown: NDArray[np.uint8]
    passes: NDArray[np.int64]
    last_day: NDArray[np.int32]
    frame: NDArray[np.float64]


@njit(cache=True, nogil=True)
def _widened(
    low: float, high: float, middle: float, off: float, radius: float
) -> tuple[float, float]:
    """Return the span of a row, with what a disc at ``off`` from the row takes of it."""
    if abs(off) > radius:
        return low, high
    half = math.sqrt(radius * radius - off * off)
    return min(low, middle - half), max(high, middle + half)


@njit(cache=True, nogil=True)
def _within(step: float, low: float, high: float) -> tuple[float, float]:
    """Return the span of s in which ``low <= step * s <= high``."""
    if step > 0.0:
        return low / step, high / step
    if step < 0.0:
        return high / step, low / step
    if low <= 0.0 <= high:
        return -math.inf, math.inf
    return math.inf, -math.inf


@njit(cache=True, nogil=True)
def cut(  # noqa: PLR0917 - compiled: plain numbers in order
    marks: Marks, x: float, y: float, dx: float, dy: float, way_m: float, radius_m: float, day: int
) -> tuple[int, int]:
    """Mark all points within ``radius_m`` of a straight way.

    Parameters
    ----------
    marks : Marks
        ``passes`` and ``last_day`` are changed.
    x, y, dx, dy, way_m : float
        Start, unit direction and length.
    radius_m : float
        Half the cutting width.
    day : int

    Returns
    -------
    tuple of (int, int)
        How many points were cut for the first time on this day, and for the first time at all.
    """
    rows, columns = marks.mown.shape
    west, south, side = marks.frame[0], marks.frame[1], marks.frame[2]
    end_x, end_y = x + way_m * dx, y + way_m * dy
    first = max(math.ceil((min(y, end_y) - radius_m - south) / side), 0)
    last = min(math.floor((max(y, end_y) + radius_m - south) / side), rows - 1)
    today, ever = 0, 0
    for row in range(first, last + 1):
        at_y = south + row * side
        low, high = _widened(math.inf, -math.inf, x, at_y - y, radius_m)
        low, high = _widened(low, high, end_x, at_y - end_y, radius_m)
        off = at_y - y
        along_low, along_high = _within(dx, -dy * off, way_m - dy * off)
        beside_low, beside_high = _within(-dy, -radius_m - dx * off, radius_m - dx * off)
        strip_low, strip_high = max(along_low, beside_low), min(along_high, beside_high)
        if strip_low <= strip_high:
            low, high = min(low, x + strip_low), max(high, x + strip_high)
        if low > high:
            continue
        start = max(math.ceil((low - west) / side), 0)
        stop = min(math.floor((high - west) / side), columns - 1)
        for column in range(start, stop + 1):
            if marks.mown[row, column] == 0:
                continue
            marks.passes[row, column] += 1
            before = marks.last_day[row, column]
            if before != day:
                today += 1
                ever += before < 0
                marks.last_day[row, column] = day
    return today, ever
