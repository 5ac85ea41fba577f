"""How the ground falls across the rim of an area, outward: what makes a machine slide over it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LinearRing
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, polygons
from lawnplat.terrain.sample import gradient_at
from lawnplat.terrain.types import Terrain

STEP_M = 0.1
"""Spacing of the places where a rim is looked at: under a cell, a fraction of a peg's spacing."""
_FEWEST = 12


@dataclass(frozen=True)
class Rim:
    """Places at equal steps round one closed ring; arrays of one entry a place.

    ``outward`` are unit vectors square to the chord of one step, away from the ground, so that the
    chords of a drawn arc make no noise. ``turn_rad`` is how far the rim turns from step to step,
    positive where the ground's corner points outward.
    """

    places: FloatArray
    outward: FloatArray
    turn_rad: FloatArray
    step_m: float

    def is_corner(self, radius_m: float) -> NDArray[np.bool_]:
        """Return where the rim turns, or is about to, round an outward corner this tight."""
        tight = self.turn_rad * radius_m > self.step_m
        return np.asarray(tight | np.roll(tight, 1) | np.roll(tight, -1))


def rims_of(ground: BaseGeometry) -> Iterator[Rim]:
    """Yield every ring of ``ground``: the outer one of each polygon, then its holes'."""
    for polygon in polygons(ground):
        turned = shapely.orient_polygons(polygon, exterior_cw=False)
        for ring in (turned.exterior, *turned.interiors):
            yield _rim(ring)


def _rim(ring: LinearRing) -> Rim:
    """Lay places along a ring that has its ground on the left."""
    corners = shapely.get_coordinates(ring)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    count = max(_FEWEST, int(np.ceil(at[-1] / STEP_M)))
    step_m = at[-1] / count

    def along(chainage_m: FloatArray) -> FloatArray:
        wrapped = np.mod(chainage_m, at[-1])
        return np.stack([np.interp(wrapped, at, values) for values in corners.T], axis=1)

    ends = along(np.arange(count) * step_m)
    chord = np.roll(ends, -1, axis=0) - ends
    length = np.maximum(np.hypot(*chord.T), 1e-12)[:, None]
    outward = np.stack([chord[:, 1], -chord[:, 0]], axis=1) / length
    before, after = np.roll(outward, 1, axis=0), np.roll(outward, -1, axis=0)
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.arctan2(cross, np.sum(before * after, axis=1)) / 2
    return Rim(along((np.arange(count) + 0.5) * step_m), outward, turn, step_m)


def outward_fall_pct(terrain: Terrain, places: FloatArray, outward: FloatArray) -> FloatArray:
    """Return the fall of the ground along ``outward``, percent, positive where it falls.

    Parameters
    ----------
    terrain : Terrain
    places, outward : array of shape (..., 2)
        Coordinates and unit vectors.
    """
    east, north = gradient_at(terrain, places[..., 0], places[..., 1])
    return np.asarray(-100.0 * (east * outward[..., 0] + north * outward[..., 1]))


def long_runs(over: NDArray[np.bool_], fewest: int) -> list[NDArray[np.intp]]:
    """Return the runs of places round a ring where ``over`` holds at ``fewest`` places or more.

    Gaps of under ``fewest`` places are bridged: a run is what one would walk in one go. Each run
    holds its places in order along the ring.
    """
    held = np.flatnonzero(over)
    if len(held) < fewest:
        return []
    size = len(over)
    gaps = np.diff(held, append=held[0] + size)
    widest = int(np.argmax(gaps))
    held, gaps = np.roll(held, -widest - 1), np.roll(gaps, -widest - 1)
    parted = gaps > fewest
    parted[-1] = gaps[-1] > 1
    if not parted.any():
        return [np.arange(size)]
    groups = np.split(held, np.flatnonzero(parted)[:-1] + 1)
    spans = [(group[0], (group[-1] - group[0]) % size) for group in groups if len(group) >= fewest]
    return [np.mod(first + np.arange(length + 1), size) for first, length in spans]
