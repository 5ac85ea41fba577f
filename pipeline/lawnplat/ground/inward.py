"""The line inward of a rim on which the ground falls outward no more than a limit.

A lattice is laid over the ground beside the rim: places along it, and depths square to it. The
depths are then chosen by dynamic programming, so that the lawn lost is least, any metre of rim over
the limit counting as much as lawn several times as deep as the reach. From place to place the
depth changes by no more than the step between them, so that the line has no jumps.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, grow
from lawnplat.ground.rim_fall import Rim, outward_fall_pct
from lawnplat.terrain.types import Terrain

DEPTH_STEP_M = 0.1
_AIM_PCT = 0.05
"""The line is drawn where the fall is this much under the limit: wire is laid in chords."""
_OVER_COUNTS = 5.0
"""A metre of rim over the limit counts as much as lawn this many times as deep as the reach."""
_MOVED_OVER = 3.0
"""One that was drawn inward in vain counts this much more than one left where it was."""
_BARRED = 30.0
"""And one where the machine has no room, or beyond the reach, this much more."""
_TOUCH_M = 0.02


@dataclass(frozen=True)
class Room:
    """Where a rim may be drawn in, and until when.

    ``ground`` is what its rim belongs to, ``first`` the ground before anything was drawn in, from
    whose rim ``reach_m`` counts; ``radius_m`` is half the smallest passage.
    """

    ground: BaseGeometry
    first: BaseGeometry
    reach_m: float
    radius_m: float
    terrain: Terrain
    limit_pct: float
    stretch_m: float
    """The shortest stretch of rim that counts."""

    @cached_property
    def standing(self) -> BaseGeometry:
        """The ground less what lies too near to its rim for the machine's middle; prepared."""
        inner = grow(self.ground, _TOUCH_M - self.radius_m)
        shapely.prepare(inner)
        return inner

    @cached_property
    def first_rim(self) -> BaseGeometry:
        """The rim from which the reach counts; prepared."""
        rim = shapely.boundary(self.first)
        shapely.prepare(rim)
        return rim


@dataclass(frozen=True)
class _Stretch:
    """Neighbouring places along a rim; arrays of one entry a place, curvature in 1 / m."""

    places: FloatArray
    outward: FloatArray
    curvature: FloatArray
    counted: NDArray[np.bool_]
    corner: NDArray[np.bool_]
    step_m: float


def depths_m(rim: Rim, counted: NDArray[np.bool_], room: Room) -> FloatArray:
    """Return how far inward the line lies from each place of ``rim``, 0 where it stays.

    ``counted`` tells the places whose fall is to be brought under the limit.
    """
    size = len(counted)
    pad = int(np.ceil(room.reach_m / rim.step_m)) + 2
    wanted = np.flatnonzero(counted)
    near = np.unique(np.mod(wanted[:, None] + np.arange(-pad, pad + 1)[None], size))
    curvature, corner = rim.turn_rad / rim.step_m, rim.is_corner(room.stretch_m)
    found = np.zeros(size)
    for at in _stretches(near, size, pad):
        stretch = _Stretch(
            rim.places[at], rim.outward[at], curvature[at], counted[at], corner[at], rim.step_m
        )
        chosen = _cheapest(stretch, room)
        # A whole ring was laid with both its ends over each other.
        inner = slice(pad, -pad) if len(at) > size else slice(None)
        found[at[inner]] = chosen[inner]
    # A corner has no say, but the straight rim must be drawn in right up to it.
    beside = np.maximum(np.roll(found, 1), np.roll(found, -1))
    return np.where(corner, np.maximum(found, beside), found)


def _stretches(near: NDArray[np.intp], size: int, pad: int) -> list[NDArray[np.intp]]:
    """Return the places that hang together round the ring, a whole ring with its ends overlaid."""
    if len(near) == size:
        return [np.mod(np.arange(-pad, size + pad), size)]
    gaps = np.diff(near, append=near[0] + size)
    widest = int(np.argmax(gaps))
    near, gaps = np.roll(near, -widest - 1), np.roll(gaps, -widest - 1)
    return np.split(near, np.flatnonzero(gaps[:-1] > 1) + 1)


def _cheapest(stretch: _Stretch, room: Room) -> FloatArray:
    """Return the depths of the cheapest line over one stretch."""
    count = int(np.floor(room.reach_m / DEPTH_STEP_M + 1e-9)) + 1
    levels = np.arange(count, dtype=np.float64) * DEPTH_STEP_M
    outward = stretch.outward[:, None, :]
    lattice = stretch.places[:, None, :] - outward * levels[None, :, None]
    fall_pct = outward_fall_pct(room.terrain, lattice, outward)
    aim_pct = room.limit_pct - _AIM_PCT
    cost = _costs(stretch, fall_pct > aim_pct, levels, room.reach_m)
    slack = max(1, int(np.floor(stretch.step_m / DEPTH_STEP_M + 1e-9)))
    path = _least_path(cost, slack)
    if not path.any():  # even with all the room there is
        return np.zeros(len(path))
    barred = _barred(lattice, outward, room)
    if barred[np.arange(len(path)), path].any():
        cost += barred * _BARRED * _OVER_COUNTS * room.reach_m * stretch.step_m
        path = _least_path(cost, slack)
    return _refined(fall_pct, path, levels, aim_pct)


def _costs(
    stretch: _Stretch, over: NDArray[np.bool_], levels: FloatArray, reach_m: float
) -> FloatArray:
    """Return the cost of each lattice point in square metres of lawn.

    An outward corner turns through its directions within less than a stretch that counts, however
    deep it lies, and so has no say. Nor has a place deeper than the rim's curve is wide:
    inward lines cross each other before it, and no rim will lie there.
    """
    penalty = np.full(over.shape, _MOVED_OVER * _OVER_COUNTS * reach_m)
    penalty[:, 0] = np.where(stretch.counted, _OVER_COUNTS * reach_m, 0.0)
    penalty[stretch.corner] = 0.0
    crossed = stretch.curvature[:, None] * levels[None, :] >= 1.0
    return np.asarray(stretch.step_m * (levels[None, :] + (over & ~crossed) * penalty))


def _barred(lattice: FloatArray, outward: FloatArray, room: Room) -> NDArray[np.bool_]:
    """Return where the machine would not fit inside the line, or the reach is passed."""
    middle = lattice - outward * room.radius_m
    barred = ~np.asarray(shapely.contains_xy(room.standing, middle[..., 0], middle[..., 1]))
    if room.first is not room.ground:
        places = np.asarray(shapely.points(lattice))
        barred |= ~np.asarray(shapely.dwithin(room.first_rim, places, room.reach_m + _TOUCH_M))
    barred[:, 0] = False
    return np.asarray(barred)


def _least_path(cost: FloatArray, slack: int) -> NDArray[np.intp]:
    """Return the column in each row of ``cost`` along the path of least total cost.

    From row to row the column changes by ``slack`` at most.
    """
    rows, columns = cost.shape
    offsets = np.arange(-slack, slack + 1)
    # No change comes first: of ways that cost the same the smoothest is taken.
    offsets = offsets[np.argsort(np.abs(offsets), kind="stable")]
    came_from = np.zeros((rows, columns), dtype=np.intp)
    index = np.arange(columns)
    reached = slack + offsets[:, None] + index[None, :]
    total = np.full(columns + 2 * slack, np.inf)
    inner = slice(slack, slack + columns)
    total[inner] = cost[0]
    for row in range(1, rows):
        before = total[reached]
        best = np.argmin(before, axis=0)
        came_from[row] = index + offsets[best]
        total[inner] = before[best, index] + cost[row]
    path = np.empty(rows, dtype=np.intp)
    path[-1] = int(np.argmin(total[inner]))
    for row in range(rows - 1, 0, -1):
        path[row - 1] = came_from[row, path[row]]
    return path


def _refined(
    fall_pct: FloatArray, chosen: NDArray[np.intp], levels: FloatArray, aim_pct: float
) -> FloatArray:
    """Return the depths where the fall comes down to the aim, between two levels of the lattice.

    Where it does not, the place lies deep only because its neighbours do, and discs of their depths
    take it along: it needs one level less.
    """
    row = np.arange(len(chosen))
    above = np.maximum(chosen - 1, 0)
    high, low = fall_pct[row, above], fall_pct[row, chosen]
    comes_down = (high > aim_pct) & (low <= aim_pct) & (chosen > 0)
    drop = np.where(comes_down, high - low, 1.0)
    share = np.clip(np.where(comes_down, (high - aim_pct) / drop, 0.0), 0.0, 1.0)
    return np.asarray(levels[above] + share * (levels[chosen] - levels[above]))
