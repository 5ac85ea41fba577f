"""Read the window of an elevation raster that one property needs, onto the property's grid."""

from __future__ import annotations

import warnings
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

import numpy as np
import rasterio
from rasterio._err import CPLE_BaseError
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.warp import transform as transform_points

from lawnplat.errors import SurveyError
from lawnplat.survey.types import Finding, Site
from lawnplat.terrain.grid import choose_grid, grid_around
from lawnplat.terrain.placing import to_cell, to_ground
from lawnplat.terrain.types import ElevationWindow, Grid
from lawnplat.terrain.warp import band_on_grid

if TYPE_CHECKING:
    from lawnplat.settings.types import MachineClass, RuleBook

_GDAL_ERRORS = (RasterioError, CPLE_BaseError)
"""Not every error of GDAL's reaches the user as one of rasterio's public ones."""

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
            with warnings.catch_warnings():
                # A raster without a place on the ground is refused below, in our own words.
                warnings.simplefilter("ignore", NotGeoreferencedWarning)
                self._dataset = rasterio.open(path)
        except (*_GDAL_ERRORS, OSError) as error:
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
        except _GDAL_ERRORS:
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
        source_cell_m = self.source_cell_m(site)
        heights = np.full((grid.rows, grid.columns), np.nan)
        trouble = "does not reach"
        if source_cell_m > 0 and self._reaches(site, grid):
            try:
                raw = band_on_grid(self._dataset, site.crs, grid, self._credible())
                heights = raw * UNIT_M[self._unit]
                trouble = "" if np.isfinite(heights).any() else "holds no data on"
            except _GDAL_ERRORS as error:
                trouble = f"cannot be read ({_first_line(error)}) on"
        return ElevationWindow(
            grid=grid,
            elevation_m=heights,
            source_cell_m=source_cell_m,
            height_step_m=self._height_step_m(),
            findings=self._unit_findings() + (self._missing(site, trouble) if trouble else ()),
        )

    def _require_place(self) -> None:
        """Raise unless the raster has a CRS, a place on the ground and a band of numbers."""
        dataset = self._dataset
        what, remedy = "", ""
        if dataset.count == 0:
            what, remedy = "holds no band", "name one layer of the file that holds a raster"
        elif dataset.crs is None:
            what, remedy = "has no CRS", "assign one, for instance with gdal_edit -a_srs"
        elif not (dataset.crs.is_projected or dataset.crs.is_geographic):
            what, remedy = "has a CRS of its own that ties to no place", "assign a projected CRS"
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
        column, row = to_cell(dataset.transform, east, north)
        # The cell's corner and its neighbours along the row and along the column.
        steps = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])
        corners = to_ground(dataset.transform, column + steps[0], row + steps[1])
        xs, ys = transform_points(dataset.crs, crs, *corners)
        longer = float(np.hypot(np.subtract(xs[1:], xs[0]), np.subtract(ys[1:], ys[0])).max())
        return longer if np.isfinite(longer) else 0.0

    def _reaches(self, site: Site, grid: Grid) -> bool:
        """Return whether the grid's box, in the raster's cells, meets the raster's own box."""
        dataset = self._dataset
        east, south = _far_corner(grid)
        xs, ys = [grid.west_m, east, east, grid.west_m], [grid.north_m, grid.north_m, south, south]
        ground = np.array(transform_points(site.crs, dataset.crs, xs, ys))
        columns, rows = to_cell(dataset.transform, *ground)
        if not np.isfinite([columns, rows]).all():
            return False
        beside = columns.max() <= 0 or columns.min() >= dataset.width
        return not (beside or rows.max() <= 0 or rows.min() >= dataset.height)

    def _credible(self) -> tuple[float, float]:
        """Return the lowest and highest height of dry land in the file's unit."""
        unit_m = UNIT_M[self._unit]
        return _LOWEST_M / unit_m, _HIGHEST_M / unit_m

    def _height_step_m(self) -> float:
        """Return the least step between two heights, 0 where the file holds decimals."""
        if not np.issubdtype(np.dtype(self._dataset.dtypes[0]), np.integer):
            return 0.0
        return float(abs(self._dataset.scales[0])) * UNIT_M[self._unit]

    def _missing(self, site: Site, what: str) -> tuple[Finding, ...]:
        text = f"The elevation raster {what} this property, so no height is taken from it."
        place = site.parcel.representative_point()
        return (Finding("elevation_missing", "warn", text, where=self._path.name, place=place),)

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


def _far_corner(grid: Grid) -> tuple[float, float]:
    """Return the grid's outer south-east corner."""
    east = grid.west_m + grid.columns * grid.cell_m
    return east, grid.north_m - grid.rows * grid.cell_m


def _first_line(error: BaseException) -> str:
    return str(error).splitlines()[0] if str(error) else type(error).__name__
