"""Choose the grid that the ground of one site is held on."""

from __future__ import annotations

import math

from shapely import total_bounds

from lawnplat.settings.types import MachineClass, RuleBook, TerrainRules
from lawnplat.survey.types import Site
from lawnplat.terrain.scale import smoothing_reach_m, smoothing_sigma_m
from lawnplat.terrain.types import Grid

_TIDY_CELL_M = 0.05
"""Larger cells are rounded up to a multiple of this, so that the cell size reads well."""


def choose_grid(
    site: Site, machine: MachineClass, rules: RuleBook, source_cell_m: float = 0.0
) -> Grid:
    """Return a grid that covers the property and what smoothing and gradient need round it.

    Parameters
    ----------
    site : Site
        Parcel and lawns are covered.
    machine, rules : MachineClass, RuleBook
        The wheelbase and the group ``terrain``.
    source_cell_m : float
        Cell size of the elevation's source on the ground; 0 where there is none. A coarser source
        is smoothed further and so takes a wider margin.

    Returns
    -------
    Grid
        Cells of ``terrain.cell_m``, larger where the site would pass ``terrain.largest_cells``.
    """
    sigma_m = smoothing_sigma_m(machine.wheelbase_m, rules.terrain.smoothing_share, source_cell_m)
    margin_m = rules.terrain.margin_m + smoothing_reach_m(sigma_m)
    return grid_around(site, margin_m=margin_m, cell_m=_cell_size(site, margin_m, rules.terrain))


def grid_around(site: Site, *, margin_m: float, cell_m: float) -> Grid:
    """Return the grid over parcel and lawns with a margin, its lines at multiples of the cell.

    One more cell than the margin asks for stands on each side, for the 3x3 window of the gradient.

    Raises
    ------
    ValueError
        The cell is not over 0 or the margin is under 0.
    """
    if not (cell_m > 0 and margin_m >= 0):
        raise ValueError(f"cell_m {cell_m} must be over 0 and margin_m {margin_m} at least 0")
    west, south, east, north = _extent(site)
    first_column = math.floor((west - margin_m) / cell_m) - 1
    last_column = math.ceil((east + margin_m) / cell_m) + 1
    first_row = math.floor((south - margin_m) / cell_m) - 1
    last_row = math.ceil((north + margin_m) / cell_m) + 1
    return Grid(
        west_m=first_column * cell_m,
        north_m=last_row * cell_m,
        cell_m=cell_m,
        rows=last_row - first_row,
        columns=last_column - first_column,
    )


def _extent(site: Site) -> tuple[float, float, float, float]:
    west, south, east, north = total_bounds([site.parcel, *site.lawns])
    return float(west), float(south), float(east), float(north)


def _cell_size(site: Site, margin_m: float, rules: TerrainRules) -> float:
    """Return the rule book's cell, or the tidy one that keeps the site within the largest count."""
    west, south, east, north = _extent(site)
    area_m2 = (east - west + 2 * margin_m) * (north - south + 2 * margin_m)
    needed_m = math.sqrt(area_m2 / rules.largest_cells)
    if needed_m <= rules.cell_m:
        return rules.cell_m
    return round(math.ceil(needed_m / _TIDY_CELL_M) * _TIDY_CELL_M, 2)
