"""Fill the cells of a grid where elevation is missing, from the ground around them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, distance_transform_edt

from lawnplat.survey.types import FloatArray
from lawnplat.terrain.sample import bilinear
from lawnplat.terrain.tin import merge_places, surface_through
from lawnplat.terrain.types import ElevationWindow, Grid


@dataclass(frozen=True)
class Filled:
    """Heights without gaps, shape (rows, columns), metres; how many spot heights helped."""

    elevation_m: FloatArray
    spots_used: int


def fill_missing(window: ElevationWindow, spot_heights: FloatArray, reach_m: float) -> Filled:
    """Return the window's heights without gaps.

    A gap is spanned by triangles between the known cells on its rim and the spot heights in it,
    so that ground which is a plane round a hole is that plane in it too. Beyond what is known the
    ground goes on as it came, mirrored about the last known cell, for ``reach_m``, then level.

    Within half a source cell of a gap linear interpolation had one side only and gave level
    ground; those cells are filled anew, unless that would leave none.

    Spot heights are levelled to the raster first, by the median difference over those that stand
    on known cells: two surveys seldom share a datum to the centimetre. Where none stands on a
    known cell they are not used.

    Parameters
    ----------
    window : ElevationWindow
        At least one known cell.
    spot_heights : ndarray of shape (n, 3)
        x, y, elevation in metres; may be empty.
    reach_m : float
        How far smoothing and gradient look from a cell, metres.

    Raises
    ------
    ValueError
        No cell is known.
    """
    grid, known = window.grid, np.isfinite(window.elevation_m)
    if not known.any():
        raise ValueError("no cell is known: nothing to fill from")
    if known.all():
        return Filled(window.elevation_m, 0)
    spots = _levelled(merge_places(spot_heights), window)
    two_sided = distance_transform_edt(known, sampling=grid.cell_m) > window.source_cell_m / 2
    firm = two_sided if two_sided.any() else known
    heights = np.where(firm, window.elevation_m, np.nan)
    rim = firm & binary_dilation(~firm, np.ones((3, 3), bool))
    x, y = np.meshgrid(*grid.centres())
    points = np.column_stack([x[rim], y[rim], heights[rim]])
    surface = surface_through(np.vstack([points, spots]), x[~firm], y[~firm])
    gone_on = _mirrored(heights, firm, (reach_m + window.source_cell_m / 2) / grid.cell_m)
    heights[~firm] = np.where(surface.inside, surface.elevation_m, gone_on[~firm])
    return Filled(heights, len(spots))


def _mirrored(heights: FloatArray, firm: NDArray[np.bool_], reach_cells: float) -> FloatArray:
    """Return heights that go on beyond the firm cells as they came, for some cells, then level.

    A cell p whose nearest firm cell is q takes 2 z(q) - z(q + (q - p)), which goes on with a plane;
    where the mirrored cell is not firm it takes z(q).
    """
    distance, nearest = distance_transform_edt(~firm, return_indices=True)
    here = np.indices(firm.shape)
    share = np.minimum(1.0, reach_cells / np.maximum(distance, 1.0))
    mirrored = np.rint(nearest + (nearest - here) * share).astype(np.intp)
    within = np.logical_and.reduce(
        [(at >= 0) & (at < size) for at, size in zip(mirrored, firm.shape, strict=True)]
    )
    mirrored = np.where(within, mirrored, nearest)
    base, opposite = heights[tuple(nearest)], heights[tuple(mirrored)]
    return np.asarray(np.where(np.isfinite(opposite), 2 * base - opposite, base))


def _levelled(spots: FloatArray, window: ElevationWindow) -> FloatArray:
    """Return the spot heights that stand in gaps, shifted to the raster's datum."""
    row, column = window.grid.fractional(spots[:, 0], spots[:, 1])
    within = _within(window.grid, row, column)
    spots, row, column = spots[within], row[within], column[within]
    ground = bilinear(window.elevation_m, row, column)
    on_known = np.isfinite(ground)
    if not on_known.any():
        return np.empty((0, 3))
    shift = np.median(ground[on_known] - spots[on_known, 2])
    return np.asarray(spots[~on_known] + [0.0, 0.0, shift])


def _within(grid: Grid, row: FloatArray, column: FloatArray) -> NDArray[np.bool_]:
    off_row, off_column = row - (grid.rows - 1) / 2, column - (grid.columns - 1) / 2
    within = (np.abs(off_row) <= grid.rows / 2) & (np.abs(off_column) <= grid.columns / 2)
    return np.asarray(within)
