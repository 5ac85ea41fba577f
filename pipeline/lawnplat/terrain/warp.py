"""Draw band 1 of an open raster onto a site's grid, with every way of saying 'no data' heeded."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from rasterio import Affine
from rasterio.enums import ColorInterp, MaskFlags, Resampling
from rasterio.vrt import WarpedVRT
from rasterio.warp import reproject, transform
from rasterio.windows import Window

from lawnplat.terrain.placing import to_cell, to_ground

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from lawnplat.survey.types import FloatArray
    from lawnplat.terrain.types import Grid

_WARP_TOLERANCE_CELLS = 0.01
"""How far, in source cells, the warp may stray from the exact reprojection to save time."""


def band_on_grid(dataset: Any, crs: str, grid: Grid, credible: tuple[float, float]) -> FloatArray:
    """Return band 1 with its scale and offset on a grid, NaN where there is no data.

    Values are interpolated linearly between cell centres, averaged where the raster is finer than
    the grid, and taken as they are where both grids agree. Missing are cells that the nodata value,
    a mask or an alpha band rules out, NaN, what lies off the raster, and incredible values; a
    nodata value that the file does not declare is found by them and kept out of the interpolation.

    Parameters
    ----------
    dataset : rasterio.DatasetReader
        Open, with a CRS and a geotransform, rotated or not.
    crs : str
        CRS of the grid.
    grid : Grid
    credible : tuple of float
        Lowest and highest value that can be data, in the unit of the file.

    Raises
    ------
    rasterio.errors.RasterioError
        The window cannot be read.
    """
    scale, offset = dataset.scales[0], dataset.offsets[0]

    def incredible(raw: FloatArray) -> NDArray[np.bool_]:
        values = raw * scale + offset
        out = (values < credible[0]) | (values > credible[1])
        return np.asarray(np.isfinite(values) & out)

    if _is_masked(dataset):
        raw = _warped_by_mask(dataset, crs, grid)
    else:
        raw = _warped_by_nodata(dataset, crs, grid, incredible)
    return np.where(np.isfinite(raw) & ~incredible(raw), raw * scale + offset, np.nan)


def _is_masked(dataset: Any) -> bool:
    """Return whether a mask or an alpha band says where there is no data."""
    flags = dataset.mask_flag_enums[0]
    return ColorInterp.alpha in dataset.colorinterp or (
        MaskFlags.nodata not in flags and MaskFlags.all_valid not in flags
    )


def _warped_by_nodata(
    dataset: Any, crs: str, grid: Grid, incredible: Callable[[FloatArray], NDArray[np.bool_]]
) -> FloatArray:
    """Return band 1 drawn onto the grid, not yet scaled, NaN where there is none."""
    declared = dataset.nodata
    # Without a nodata value NaN stands for one: no whole number equals it.
    nodata = float("nan") if declared is None else declared
    raw = _read_view(dataset, crs, grid, nodata, Resampling.bilinear)
    if declared is None and incredible(raw).any():
        cells = _read_view(dataset, crs, grid, nodata, Resampling.nearest)
        wild = cells[incredible(cells)]
        if wild.size:
            return _read_view(dataset, crs, grid, float(wild[0]), Resampling.bilinear)
    return raw


def _read_view(
    dataset: Any, crs: str, grid: Grid, nodata: float, resampling: Resampling
) -> FloatArray:
    """Read the raster as it looks on the grid; only the cells that this needs are computed."""
    with WarpedVRT(
        dataset,
        crs=crs,
        transform=_transform(grid),
        width=grid.columns,
        height=grid.rows,
        resampling=resampling,
        tolerance=_WARP_TOLERANCE_CELLS,
        src_nodata=nodata,
        nodata=float("nan"),
        dtype="float64",
    ) as view:
        return np.asarray(view.read(1))


def _warped_by_mask(dataset: Any, crs: str, grid: Grid) -> FloatArray:
    """Return band 1 drawn onto the grid by way of the cells that its mask leaves.

    The warper takes masks and alpha bands of some number types only, so the cells are read first.
    """
    window = _cells_below(dataset, crs, grid)
    # Far finer cells than the grid's are averaged on reading, so that the window stays small.
    step = max(1, int(max(window.width / grid.columns, window.height / grid.rows) / 2))
    shape = (math.ceil(window.height / step), math.ceil(window.width / step))
    band = _read_cells(dataset, window, shape)
    across, down = window.width / shape[1], window.height / shape[0]
    own = dataset.transform
    corner = to_ground(own, window.col_off, window.row_off)
    raw = np.full((grid.rows, grid.columns), np.nan)
    reproject(
        band,
        raw,
        src_transform=Affine(
            own.a * across, own.b * down, corner[0], own.d * across, own.e * down, corner[1]
        ),
        src_crs=dataset.crs,
        src_nodata=np.nan,
        dst_transform=_transform(grid),
        dst_crs=crs,
        dst_nodata=np.nan,
        resampling=Resampling.bilinear,
        tolerance=_WARP_TOLERANCE_CELLS,
    )
    return raw


def _read_cells(dataset: Any, window: Window, shape: tuple[int, int] | None = None) -> FloatArray:
    """Return the raster's own cells, not yet scaled, NaN where there is no data."""
    options = {"window": window, "out_shape": shape, "resampling": Resampling.average}
    alpha = [band for band, use in enumerate(dataset.colorinterp, 1) if use == ColorInterp.alpha]
    if not alpha:
        return np.asarray(dataset.read(1, masked=True, **options).astype(float).filled(np.nan))
    # A mask made from alpha takes 255 for nearly transparent where numbers have 16 bits.
    transparent = dataset.read(alpha[0], window=window, out_shape=shape) == 0
    return np.where(transparent, np.nan, dataset.read(1, **options).astype(float))


def _cells_below(dataset: Any, crs: str, grid: Grid) -> Window:
    """Return the raster's cells under the grid and a rim for the interpolation round them."""
    x, y = grid.centres()
    ends = np.array([x[0], x[-1], x[-1], x[0]]), np.array([y[0], y[0], y[-1], y[-1]])
    columns, rows = to_cell(dataset.transform, *np.array(transform(crs, dataset.crs, *ends)))
    rim = 2 + 0.01 * max(np.ptp(columns), np.ptp(rows))
    west, north = (max(0, math.floor(v.min() - rim)) for v in (columns, rows))
    east = min(dataset.width, math.ceil(columns.max() + rim))
    south = min(dataset.height, math.ceil(rows.max() + rim))
    return Window(west, north, east - west, south - north)


def _transform(grid: Grid) -> Affine:
    return Affine(grid.cell_m, 0.0, grid.west_m, 0.0, -grid.cell_m, grid.north_m)
