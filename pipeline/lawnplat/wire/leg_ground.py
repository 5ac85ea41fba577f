"""Whether straight legs stay on some ground: by a raster where that is certain, else by GEOS.

A raster holds for each cell how far any place in it lies from the ground's boundary at least. A leg
whose every sample is farther inside than half the gap to the next sample cannot leave the ground;
one with a sample that is certainly outside does leave it. Only what is neither is asked of GEOS, so
that the answer is always the exact one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray

_CELL_M = 0.2
_MOST_CELLS = 40_000
_MARGIN_CELLS = float(np.sqrt(2.0)) + 0.25
"""What the raster may hide: half a cell's diagonal for the place, half for the boundary, and half
of the half cell between the points that stand for the boundary."""


@dataclass(frozen=True)
class LegGround:
    """Ground prepared for many legs.

    ``depth_m`` has shape (rows, columns), row 0 in the south: the least distance to the boundary
    from any place in the cell, positive inside, negative outside, 0 where that is not certain.
    ``west_m`` and ``south_m`` are the outer corner of cell (0, 0).
    """

    ground: BaseGeometry
    west_m: float
    south_m: float
    cell_m: float
    depth_m: FloatArray

    def covers(
        self, start: FloatArray, end: FloatArray, x: FloatArray, y: FloatArray
    ) -> NDArray[np.bool_]:
        """Return whether the ground covers each straight leg.

        Parameters
        ----------
        start, end : array of shape (n, 2)
        x, y : array of shape (n, samples)
            Evenly spaced places on each leg, from its start to its end.
        """
        depth_m = self._depth_at(x, y).min(axis=1)
        gap_m = np.hypot(*(end - start).T) / (x.shape[1] - 1)
        covered = depth_m > gap_m / 2
        asked = np.flatnonzero(~covered & (depth_m >= 0))
        legs = shapely.linestrings(np.stack([start[asked], end[asked]], axis=1))
        covered[asked] = shapely.covers(self.ground, legs)
        return np.asarray(covered)

    def leaves(self, x: FloatArray, y: FloatArray) -> NDArray[np.bool_]:
        """Return whether any place of a row is certainly off the ground. Shape (n,)."""
        return np.asarray(self._depth_at(x, y).min(axis=1, initial=np.inf) < 0)

    def _depth_at(self, x: FloatArray, y: FloatArray) -> FloatArray:
        rows, columns = self.depth_m.shape
        row = ((y - self.south_m) * (1.0 / self.cell_m)).astype(np.intp)
        column = ((x - self.west_m) * (1.0 / self.cell_m)).astype(np.intp)
        row = np.minimum(np.maximum(row, 0), rows - 1)
        column = np.minimum(np.maximum(column, 0), columns - 1)
        return np.asarray(self.depth_m.ravel().take(row * columns + column))


def leg_ground(ground: BaseGeometry) -> LegGround:
    """Return ``ground`` prepared; the raster has a rim of two cells that are not certain."""
    shapely.prepare(ground)
    west, south, east, north = shapely.bounds(ground)
    if not np.isfinite(west):
        return LegGround(ground, 0.0, 0.0, _CELL_M, np.zeros((1, 1)))
    cell_m = max(_CELL_M, float(np.sqrt((east - west) * (north - south) / _MOST_CELLS)))
    west_m, south_m = west - 2 * cell_m, south - 2 * cell_m
    columns = int((east - west_m) / cell_m) + 3
    rows = int((north - south_m) / cell_m) + 3
    edge = shapely.get_coordinates(shapely.segmentize(shapely.boundary(ground), cell_m / 2))
    clear = np.ones((rows, columns), bool)
    places = np.floor((edge - (west_m, south_m)) / cell_m).astype(np.intp)
    clear[places[:, 1], places[:, 0]] = False
    away_m = (np.asarray(ndimage.distance_transform_edt(clear)) - _MARGIN_CELLS) * cell_m
    depth_m = np.maximum(away_m, 0.0)
    row, column = np.nonzero(depth_m)
    x, y = west_m + (column + 0.5) * cell_m, south_m + (row + 0.5) * cell_m
    inside = np.asarray(shapely.contains_xy(ground, x, y))
    depth_m[row, column] *= np.where(inside, 1.0, -1.0)
    depth_m[[0, -1]] = 0.0
    depth_m[:, [0, -1]] = 0.0
    return LegGround(ground, west_m, south_m, cell_m, depth_m)
