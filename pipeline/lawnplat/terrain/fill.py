"""Fill the cells of a grid where elevation is missing, from the ground around them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation

from lawnplat.survey.types import FloatArray
from lawnplat.terrain.sample import bilinear
from lawnplat.terrain.tin import merge_places, surface_through
from lawnplat.terrain.types import Grid


def fill_missing(
    elevation_m: FloatArray, grid: Grid, spot_heights: FloatArray
) -> tuple[FloatArray, NDArray[np.bool_], int]:
    """Return heights without gaps, where they are known, and the count of spot heights used.

    A gap is spanned by triangles between the known cells on its rim and the spot heights in it,
    so that ground which is a plane round a hole is that plane in it too. Outside of what is known
    the ground goes on level from the nearest place that is.

    Spot heights are levelled to the raster first, by the median difference over those that stand
    on known cells: two surveys seldom share a datum to the centimetre. Where none stands on a
    known cell they are not used.

    Parameters
    ----------
    elevation_m : ndarray of shape (rows, columns)
        Metres, NaN where missing; at least one known cell.
    grid : Grid
    spot_heights : ndarray of shape (n, 3)
        x, y, elevation in metres; may be empty.

    Raises
    ------
    ValueError
        No cell is known.
    """
    known = np.isfinite(elevation_m)
    if known.all():
        return elevation_m, known, 0
    if not known.any():
        raise ValueError("no cell is known: nothing to fill from")
    spots = _levelled(merge_places(spot_heights), elevation_m, grid)
    x, y = grid.centres()
    rim = known & binary_dilation(~known, np.ones((3, 3), bool))
    rows, columns = np.nonzero(rim)
    points = np.column_stack([x[columns], y[rows], elevation_m[rim]])
    gap_rows, gap_columns = np.nonzero(~known)
    surface = surface_through(np.vstack([points, spots]), x[gap_columns], y[gap_rows])
    filled = elevation_m.copy()
    filled[~known] = surface.elevation_m
    return filled, known, len(spots)


def _levelled(spots: FloatArray, elevation_m: FloatArray, grid: Grid) -> FloatArray:
    """Return the spot heights that stand in gaps, shifted to the raster's datum."""
    row, column = grid.fractional(spots[:, 0], spots[:, 1])
    within = (np.abs(row - (grid.rows - 1) / 2) <= grid.rows / 2) & (
        np.abs(column - (grid.columns - 1) / 2) <= grid.columns / 2
    )
    spots, row, column = spots[within], row[within], column[within]
    ground = bilinear(elevation_m, row, column)
    on_known = np.isfinite(ground)
    if not on_known.any():
        return np.empty((0, 3))
    shift = np.median(ground[on_known] - spots[on_known, 2])
    return np.asarray(spots[~on_known] + [0.0, 0.0, shift])
