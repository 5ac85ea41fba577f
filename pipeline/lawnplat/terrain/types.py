"""Ground heights and gradients on one grid, and the slope zones drawn from them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon

from lawnplat.survey.types import Finding, FloatArray


@dataclass(frozen=True)
class Grid:
    """A north-up grid of square cells.

    ``west_m`` and ``north_m`` are the coordinates of the grid's outer top-left corner, so that the
    centre of cell (row, column) is (west + (column + 0.5) * cell, north - (row + 0.5) * cell).
    """

    west_m: float
    north_m: float
    cell_m: float
    rows: int
    columns: int

    def centres(self) -> tuple[FloatArray, FloatArray]:
        """Return the x of every column and the y of every row (north to south)."""
        x = self.west_m + (np.arange(self.columns, dtype=np.float64) + 0.5) * self.cell_m
        y = self.north_m - (np.arange(self.rows, dtype=np.float64) + 0.5) * self.cell_m
        return x, y

    def fractional(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return fractional (row, column), whole numbers at cell centres."""
        row = (self.north_m - np.asarray(y, float)) / self.cell_m - 0.5
        column = (np.asarray(x, float) - self.west_m) / self.cell_m - 0.5
        return row, column


@dataclass(frozen=True)
class ElevationWindow:
    """What an elevation raster holds for one site, on the site's grid.

    ``elevation_m`` has shape (rows, columns) of ``grid``, row 0 in the north, in metres, NaN where
    the raster says nothing. ``source_cell_m`` is the longer side of the raster's own cell on the
    ground, ``height_step_m`` the least step between two heights that it can hold, 0 for decimals.
    """

    grid: Grid
    elevation_m: FloatArray
    source_cell_m: float
    height_step_m: float = 0.0
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class SlopeZone:
    """Ground between two slopes; the zones of a terrain cover its window once."""

    zone: str
    """``gentle``, ``workable`` or ``too_steep``."""
    from_pct: float
    to_pct: float
    """``inf`` for the steepest zone."""
    area: MultiPolygon


@dataclass(frozen=True)
class Terrain:
    """The ground of one site.

    All arrays have shape (rows, columns) of ``grid``, row 0 in the north, in metres or, for the
    gradients, metres of rise a metre eastward (``dz_dx``) and northward (``dz_dy``). Heights and
    gradients are those of the ground smoothed to the machine's wheelbase, so that both tell of one
    surface. There is no NaN: where elevation was missing it was filled from its neighbours and
    ``known`` is False there.
    """

    grid: Grid
    elevation_m: FloatArray
    dz_dx: FloatArray
    dz_dy: FloatArray
    known: NDArray[np.bool_]
    zones: tuple[SlopeZone, ...]
    source: str
    """``raster``, ``spot_heights`` or ``level``."""
    source_cell_m: float
    """Cell size of the source on the ground; 0 where there is none."""
    findings: tuple[Finding, ...] = ()
