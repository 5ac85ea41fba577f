"""Draw band 1 of an open raster onto a site's grid, with every way of saying 'no data' heeded."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np
from affine import Affine
from rasterio.crs import CRS
from rasterio.enums import MaskFlags, Resampling
from rasterio.vrt import WarpedVRT
from rasterio.windows import Window

from lawnplat.terrain.placing import to_cell

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from lawnplat.survey.types import FloatArray
    from lawnplat.terrain.types import Grid

_SAME_GRID = 1e-6
"""Grids agree where their lines lie this close together, in cells."""

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

    raw = _aligned(dataset, crs, grid)
    if raw is None:
        nodata = _nodata(dataset)
        raw = _warped(dataset, crs, grid, nodata, Resampling.bilinear)
        if incredible(raw).any() and _unmasked(dataset):
            cells = _warped(dataset, crs, grid, nodata, Resampling.nearest)
            wild = cells[incredible(cells)]
            if wild.size:
                raw = _warped(dataset, crs, grid, float(wild[0]), Resampling.bilinear)
    return np.where(np.isfinite(raw) & ~incredible(raw), raw * scale + offset, np.nan)


def _unmasked(dataset: Any) -> bool:
    return MaskFlags.all_valid in dataset.mask_flag_enums[0]


def _nodata(dataset: Any) -> float | None:
    """Return the declared nodata value, NaN for floats without one, None for masks and alpha."""
    if dataset.nodata is None and _unmasked(dataset) and dataset.dtypes[0].startswith("float"):
        return float("nan")
    declared: float | None = dataset.nodata
    return declared


def _aligned(dataset: Any, crs: str, grid: Grid) -> FloatArray | None:
    """Return the raster's own cells where its grid is the site's grid, else None."""
    column, row = to_cell(dataset.transform, grid.west_m, grid.north_m)
    far_column, far_row = to_cell(
        dataset.transform,
        grid.west_m + grid.columns * grid.cell_m,
        grid.north_m - grid.rows * grid.cell_m,
    )
    left, top = round(column), round(row)
    wanted = (left, top, left + grid.columns, top + grid.rows)
    apart = np.abs(np.subtract((column, row, far_column, far_row), wanted)).max()
    turned = max(abs(dataset.transform.b), abs(dataset.transform.d)) / grid.cell_m
    if max(apart, turned) > _SAME_GRID or dataset.crs != CRS.from_user_input(crs):
        return None
    west, north = max(left, 0), max(top, 0)
    east, south = min(wanted[2], dataset.width), min(wanted[3], dataset.height)
    band = dataset.read(1, window=Window(west, north, east - west, south - north), masked=True)
    values = np.full((grid.rows, grid.columns), np.nan)
    values[north - top : south - top, west - left : east - left] = band.astype(float).filled(np.nan)
    return values


def _warped(
    dataset: Any, crs: str, grid: Grid, nodata: float | None, resampling: Resampling
) -> FloatArray:
    """Return band 1 drawn onto the grid, not yet scaled, NaN where there is none."""
    with _view(dataset, crs, grid, nodata, resampling) as view:
        values = np.asarray(view.read(1, out_dtype="float64"))
        if nodata is None:
            values[view.dataset_mask() == 0] = np.nan
    return values


@contextmanager
def _view(
    dataset: Any, crs: str, grid: Grid, nodata: float | None, resampling: Resampling
) -> Iterator[Any]:
    """Open the raster as it looks on the grid; only the cells that are read are computed."""
    missing = (
        {"add_alpha": True}
        if nodata is None
        else {"src_nodata": nodata, "nodata": float("nan"), "dtype": "float64"}
    )
    with WarpedVRT(
        dataset,
        crs=crs,
        transform=Affine(grid.cell_m, 0.0, grid.west_m, 0.0, -grid.cell_m, grid.north_m),
        width=grid.columns,
        height=grid.rows,
        resampling=resampling,
        tolerance=_WARP_TOLERANCE_CELLS,
        **missing,
    ) as view:
        yield view
