"""Read the window of an elevation raster that one property needs, onto the property's grid."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

import numpy as np
import rasterio
from rasterio.crs import CRS
from rasterio.enums import MaskFlags, Resampling
from rasterio.errors import RasterioError
from rasterio.transform import from_origin
from rasterio.vrt import WarpedVRT
from rasterio.warp import transform as transform_points
from rasterio.warp import transform_bounds
from rasterio.windows import Window

from lawnplat.errors import SurveyError
from lawnplat.survey.types import Finding, FloatArray, Site
from lawnplat.terrain.grid import choose_grid, grid_around
from lawnplat.terrain.types import ElevationWindow, Grid

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lawnplat.settings.types import MachineClass, RuleBook

UNIT_M = {"m": 1.0, "ft": 0.3048, "us-ft": 1200.0 / 3937.0}
"""Metres in one unit: the international foot (1959) and the US survey foot (1893) are exact."""

_DECLARED_UNITS = {
    "m": "m",
    "metre": "m",
    "meter": "m",
    "metres": "m",
    "meters": "m",
    "ft": "ft",
    "foot": "ft",
    "feet": "ft",
    "us survey foot": "us-ft",
    "us survey feet": "us-ft",
    "us-ft": "us-ft",
    "ftus": "us-ft",
}
"""What raster files write for the unit of their heights, lower case."""

_LOWEST_M, _HIGHEST_M = -500.0, 9000.0
"""No dry land lies outside this: such a height is a nodata value that the file does not declare."""

_SAME_GRID = 1e-6
"""Grids agree where their lines lie this close together, in cells."""

_WARP_TOLERANCE_CELLS = 0.01
"""How far, in source cells, the warp may stray from the exact reprojection to save time."""


class ElevationRaster:
    """An elevation raster, checked once and kept open for the windows of many properties.

    Band 1 is read, with its scale and offset, nodata value, mask or alpha. Use as a context
    manager; not to be shared between threads.

    Parameters
    ----------
    path : Path
        Anything that rasterio opens.
    unit : str
        Unit of the heights: ``m``, ``ft`` (international) or ``us-ft`` (US survey).

    Raises
    ------
    SurveyError
        The file cannot be read, has no CRS or no place on the ground, or the unit is unknown.
    """

    def __init__(self, path: Path, *, unit: str = "m") -> None:
        self._path = path
        if unit not in UNIT_M:
            raise SurveyError(
                str(path),
                f"elevation unit '{unit}' is not known",
                f"give one of {', '.join(UNIT_M)}",
            )
        self._unit = unit
        try:
            self._dataset = rasterio.open(path)
        except (RasterioError, OSError) as error:
            raise SurveyError(
                str(path),
                f"cannot be read as a raster ({_first_line(error)})",
                "give a raster that GDAL opens, such as a GeoTIFF",
            ) from error
        self._require_place()

    def __enter__(self) -> Self:
        """Return the open raster."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the file."""
        self.close()

    def close(self) -> None:
        """Close the file; no window can be read afterwards."""
        self._dataset.close()

    def source_cell_m(self, site: Site) -> float:
        """Return the longer side of the raster's cell on the ground at the site, metres.

        It is 0 where the raster cannot be brought to the site's CRS.
        """
        middle = site.parcel.representative_point()
        try:
            return self._cell_at(site.crs, middle.x, middle.y)
        except (RasterioError, ValueError):
            return 0.0

    def window(self, site: Site, machine: MachineClass, rules: RuleBook) -> ElevationWindow:
        """Return the heights for one site on the grid that `choose_grid` gives it."""
        return self.read(site, choose_grid(site, machine, rules, self.source_cell_m(site)))

    def read(self, site: Site, grid: Grid) -> ElevationWindow:
        """Return the heights on a grid in the site's CRS, metres, NaN where there are none.

        Heights are interpolated linearly between the centres of the raster's cells, averaged where
        the raster is finer than the grid, and taken as they are where both grids agree. A window
        that the raster does not hold, or that cannot be read, is all NaN and says so in a finding.
        """
        heights = np.full((grid.rows, grid.columns), np.nan)
        source_cell_m = self.source_cell_m(site)
        findings = self._unit_findings()
        if source_cell_m == 0.0 or not self._reaches(site, grid):
            return ElevationWindow(
                grid, heights, source_cell_m, (*findings, self._missing(site, "does not reach"))
            )
        try:
            raw = self._values(site, grid)
        except RasterioError as error:
            text = f"cannot be read ({_first_line(error)}) on"
            return ElevationWindow(
                grid, heights, source_cell_m, (*findings, self._missing(site, text))
            )
        heights = raw * UNIT_M[self._unit]
        if not np.isfinite(heights).any():
            findings = (*findings, self._missing(site, "holds no data on"))
        return ElevationWindow(grid, heights, source_cell_m, findings)

    def _require_place(self) -> None:
        """Raise unless the raster has a CRS, a place on the ground and a band of numbers."""
        dataset = self._dataset
        what, remedy = "", ""
        if dataset.count == 0:
            what, remedy = "holds no band", "name one layer of the file that holds a raster"
        elif dataset.crs is None:
            what, remedy = "has no CRS", "assign one, for instance with gdal_edit -a_srs"
        elif dataset.transform.is_identity or dataset.transform.is_degenerate:
            what, remedy = "has no place on the ground", "georeference it, for instance by gdalwarp"
        elif np.issubdtype(np.dtype(dataset.dtypes[0]), np.complexfloating):
            what, remedy = "holds complex numbers", "give a raster of heights"
        if what:
            dataset.close()
            raise SurveyError(str(self._path), f"the elevation raster {what}", remedy)

    def _cell_at(self, crs: str, x: float, y: float) -> float:
        """Return the longer side of the cell at (x, y) of a CRS, in the units of that CRS."""
        dataset = self._dataset
        (east,), (north,) = transform_points(crs, dataset.crs, [x], [y])
        column, row = ~dataset.transform * (east, north)
        corners = [dataset.transform * at for at in ((column, row), (column + 1, row))]
        corners.append(dataset.transform * (column, row + 1))
        xs, ys = transform_points(dataset.crs, crs, *zip(*corners, strict=True))
        sides = np.hypot(np.diff(xs)[0], np.diff(ys)[0]), np.hypot(xs[2] - xs[0], ys[2] - ys[0])
        longer = float(max(sides))
        return longer if np.isfinite(longer) else 0.0

    def _reaches(self, site: Site, grid: Grid) -> bool:
        """Return whether the raster's outline and the grid's box share ground."""
        dataset = self._dataset
        corners = [(0, 0), (dataset.width, 0), (dataset.width, dataset.height), (0, dataset.height)]
        xs, ys = zip(*(dataset.transform * corner for corner in corners), strict=True)
        try:
            west, south, east, north = transform_bounds(site.crs, dataset.crs, *_bounds(grid))
        except RasterioError:
            return False
        return bool(west < max(xs) and east > min(xs) and south < max(ys) and north > min(ys))

    def _values(self, site: Site, grid: Grid) -> FloatArray:
        """Return band 1 on the grid, scaled, in the file's unit, NaN where there is none."""
        values = self._aligned(site, grid)
        if values is None:
            values = self._warped(site, grid, self._nodata())
            values = self._without_undeclared_nodata(site, grid, values)
        values = values * self._dataset.scales[0] + self._dataset.offsets[0]
        return np.where(self._credible(values), values, np.nan)

    def _credible(self, values: FloatArray) -> Any:
        lowest, highest = (limit / UNIT_M[self._unit] for limit in (_LOWEST_M, _HIGHEST_M))
        return (values >= lowest) & (values <= highest)

    def _nodata(self) -> float | None:
        """Return the declared nodata value; for floats without one, NaN."""
        declared: float | None = self._dataset.nodata
        if declared is None and self._unmasked() and self._dataset.dtypes[0].startswith("float"):
            return float("nan")
        return declared

    def _unmasked(self) -> bool:
        return MaskFlags.all_valid in self._dataset.mask_flag_enums[0]

    def _aligned(self, site: Site, grid: Grid) -> FloatArray | None:
        """Return the raster's own cells where its grid is the site's grid, else None."""
        dataset, transform = self._dataset, self._dataset.transform
        column = (grid.west_m - transform.c) / grid.cell_m
        row = (transform.f - grid.north_m) / grid.cell_m
        off = [
            transform.a / grid.cell_m - 1,
            transform.e / grid.cell_m + 1,
            transform.b / grid.cell_m,
            transform.d / grid.cell_m,
        ]
        drift = max(abs(part) for part in off) * max(dataset.width, dataset.height)
        apart = max(abs(column - round(column)), abs(row - round(row)), drift)
        if apart > _SAME_GRID or dataset.crs != CRS.from_user_input(site.crs):
            return None
        values = np.full((grid.rows, grid.columns), np.nan)
        top, left = max(round(row), 0), max(round(column), 0)
        bottom = min(round(row) + grid.rows, dataset.height)
        right = min(round(column) + grid.columns, dataset.width)
        band = dataset.read(1, window=Window(left, top, right - left, bottom - top), masked=True)
        into = np.s_[
            top - round(row) : bottom - round(row), left - round(column) : right - round(column)
        ]
        values[into] = band.astype(float).filled(np.nan)
        return values

    def _warped(
        self,
        site: Site,
        grid: Grid,
        nodata: float | None,
        resampling: Resampling = Resampling.bilinear,
    ) -> FloatArray:
        """Return band 1 drawn onto the grid, NaN where there is none."""
        options: dict[str, Any] = {"add_alpha": True} if nodata is None else {"src_nodata": nodata}
        with _warped_view(self._dataset, site, grid, resampling, options) as view:
            values = view.read(1, out_dtype="float64")
            if nodata is None:
                values[view.dataset_mask() == 0] = np.nan
        return np.asarray(values)

    def _without_undeclared_nodata(self, site: Site, grid: Grid, values: FloatArray) -> FloatArray:
        """Return the values warped anew where a nodata value that the file hides was mixed in."""
        scale, offset = self._dataset.scales[0], self._dataset.offsets[0]
        wild = np.isfinite(values) & ~self._credible(values * scale + offset)
        if not wild.any() or not self._unmasked():
            return values
        cells = self._warped(site, grid, self._nodata(), Resampling.nearest)
        wild_cells = cells[np.isfinite(cells) & ~self._credible(cells * scale + offset)]
        return self._warped(site, grid, float(wild_cells[0])) if wild_cells.size else values

    def _missing(self, site: Site, what: str) -> Finding:
        return Finding(
            "elevation_missing",
            "warn",
            f"The elevation raster {what} this property, so its heights are not used.",
            where=self._path.name,
            place=site.parcel.representative_point(),
        )

    def _unit_findings(self) -> tuple[Finding, ...]:
        """Warn where the file itself names another unit than the one asked for."""
        declared = self._dataset.units[0] or ""
        meant = _DECLARED_UNITS.get(declared.strip().lower(), self._unit)
        if meant == self._unit:
            return ()
        text = (
            f"The raster says that its heights are in '{declared}', but they were read as "
            f"'{self._unit}', as asked for."
        )
        return (Finding("elevation_unit", "warn", text, where=self._path.name),)


def read_elevation(
    path: Path, site: Site, *, margin_m: float, cell_m: float, unit: str
) -> ElevationWindow:
    """Return the window of a raster that one site needs.

    For many sites open an `ElevationRaster` once.

    Parameters
    ----------
    path : Path
        Anything that rasterio opens; any CRS, cell size, nodata, rotation and number type.
    site : Site
    margin_m : float
        Ground beyond parcel and lawns, metres.
    cell_m : float
        Cell size of the site's grid, metres.
    unit : str
        ``m``, ``ft`` (international foot) or ``us-ft`` (US survey foot).

    Raises
    ------
    SurveyError
        As for `ElevationRaster`.
    """
    with ElevationRaster(path, unit=unit) as raster:
        return raster.read(site, grid_around(site, margin_m=margin_m, cell_m=cell_m))


@contextmanager
def _warped_view(
    dataset: Any, site: Site, grid: Grid, resampling: Resampling, options: dict[str, Any]
) -> Iterator[Any]:
    with WarpedVRT(
        dataset,
        crs=site.crs,
        transform=from_origin(grid.west_m, grid.north_m, grid.cell_m, grid.cell_m),
        width=grid.columns,
        height=grid.rows,
        resampling=resampling,
        tolerance=_WARP_TOLERANCE_CELLS,
        dtype="float64",
        **({"nodata": float("nan")} if "src_nodata" in options else {}),
        **options,
    ) as view:
        yield view


def _bounds(grid: Grid) -> tuple[float, float, float, float]:
    south = grid.north_m - grid.rows * grid.cell_m
    return grid.west_m, south, grid.west_m + grid.columns * grid.cell_m, grid.north_m


def _first_line(error: BaseException) -> str:
    return str(error).splitlines()[0] if str(error) else type(error).__name__
