"""Make the terrain of one site from an elevation window, spot heights, or nothing at all."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, box

from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Finding, FloatArray, Site
from lawnplat.terrain.gradient import horn, slope_pct
from lawnplat.terrain.grid import choose_grid
from lawnplat.terrain.notices import (
    coarse_notice,
    dissolved_notice,
    filled_notice,
    known_on,
    level_notice,
    off_spots_notice,
    sparse_spots_notice,
    unused_spots_notice,
    wide_grid_notice,
)
from lawnplat.terrain.scale import smoothing_reach_m, smoothing_sigma_m
from lawnplat.terrain.types import ElevationWindow, Grid, SlopeZone, Terrain

__all__ = ["build_terrain", "choose_grid"]


@dataclass(frozen=True)
class _Heights:
    """Heights without gaps on a grid, and where they come from."""

    elevation_m: FloatArray
    known: NDArray[np.bool_]
    source: str
    source_cell_m: float
    findings: tuple[Finding, ...]


def build_terrain(
    site: Site, machine: MachineClass, rules: RuleBook, window: ElevationWindow | None
) -> Terrain:
    """Return the ground of one site.

    Heights come from the window; where it holds none at all, from the site's spot heights; without
    those the ground is level. What is missing in a window is filled from the ground round it.

    Parameters
    ----------
    site : Site
    machine : MachineClass
        Wheelbase, to which the ground is smoothed, and slope limit in the lawn.
    rules : RuleBook
        Groups ``terrain`` and ``ground``.
    window : ElevationWindow or None
        As `lawnplat.terrain.reader` reads it, on a grid in the site's CRS.

    Returns
    -------
    Terrain
        Its findings hold those of the window.
    """
    grid = choose_grid(site, machine, rules) if window is None else window.grid
    heights = _heights(site, machine, rules, window, grid)
    if heights.source == "level":
        return _level(grid, machine, rules, heights)
    # Imported here: level ground is planned without scipy.
    from lawnplat.terrain.smoothing import smooth  # noqa: PLC0415
    from lawnplat.terrain.zones import slope_zones  # noqa: PLC0415

    findings = heights.findings + wide_grid_notice(site, grid, rules)
    sigma_m = _sigma_m(machine, rules, heights.source_cell_m)
    elevation_m = smooth(heights.elevation_m, sigma_m, grid.cell_m)
    dz_dx, dz_dy = horn(elevation_m, grid.cell_m)
    drawn = slope_zones(slope_pct(dz_dx, dz_dy), grid, machine.slope_lawn_pct, rules.ground)
    return Terrain(
        grid=grid,
        elevation_m=elevation_m,
        dz_dx=dz_dx,
        dz_dy=dz_dy,
        known=heights.known,
        zones=drawn.zones,
        source=heights.source,
        source_cell_m=heights.source_cell_m,
        findings=findings + dissolved_notice(site, drawn.dissolved, machine, rules),
    )


def _sigma_m(machine: MachineClass, rules: RuleBook, source_cell_m: float) -> float:
    return smoothing_sigma_m(machine.wheelbase_m, rules.terrain.smoothing_share, source_cell_m)


def _heights(
    site: Site, machine: MachineClass, rules: RuleBook, window: ElevationWindow | None, grid: Grid
) -> _Heights:
    """Return the heights from the best source that holds any on the property itself."""
    findings = () if window is None else window.findings
    if window is not None and known_on(site, window):
        findings += coarse_notice(site, window, rules)
        heights = _from_window(site, machine, rules, window)
    elif np.isfinite(site.spot_heights).all(axis=1).any():
        heights = _from_spots(site, rules, grid)
    else:
        nothing = np.zeros((grid.rows, grid.columns))
        heights = _Heights(nothing, nothing > 0, "level", 0.0, level_notice(site, window))
    return replace(heights, findings=findings + heights.findings)


def _from_window(
    site: Site, machine: MachineClass, rules: RuleBook, window: ElevationWindow
) -> _Heights:
    known = np.isfinite(window.elevation_m)
    if known.all():
        notice = unused_spots_notice(site)
        return _Heights(window.elevation_m, known, "raster", window.source_cell_m, notice)
    from lawnplat.terrain.fill import fill_missing  # noqa: PLC0415 - only gaps need triangles

    sigma_m = _sigma_m(machine, rules, window.source_cell_m)
    # One cell more for the gradient's window, one for the smoothing's, which ends on whole cells.
    reach_m = smoothing_reach_m(sigma_m) + 2 * window.grid.cell_m
    filled = fill_missing(window, site.spot_heights, reach_m)
    notice = filled_notice(site, window.grid, known, filled.spots_used)
    return _Heights(filled.elevation_m, known, "raster", window.source_cell_m, notice)


def _from_spots(site: Site, rules: RuleBook, grid: Grid) -> _Heights:
    from lawnplat.terrain.tin import surface_through  # noqa: PLC0415 - only spot heights need it

    surface = surface_through(site.spot_heights, *np.meshgrid(*grid.centres()))
    notice = off_spots_notice(site, grid, surface.inside)
    notice += sparse_spots_notice(site, grid, rules)
    return _Heights(surface.elevation_m, surface.inside, "spot_heights", 0.0, notice)


def _level(grid: Grid, machine: MachineClass, rules: RuleBook, heights: _Heights) -> Terrain:
    west, north = grid.west_m, grid.north_m
    area = box(west, north - grid.rows * grid.cell_m, west + grid.columns * grid.cell_m, north)
    gentle_pct = min(rules.ground.gentle_slope_pct, machine.slope_lawn_pct)
    zones = (SlopeZone("gentle", 0.0, gentle_pct, MultiPolygon([area])),)
    nothing = heights.elevation_m
    return Terrain(
        grid, nothing, nothing, nothing, heights.known, zones, "level", 0.0, heights.findings
    )
