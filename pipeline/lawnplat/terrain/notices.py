"""What is to be said of one site's heights: one finding a matter, in a plain sentence."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point, Polygon

from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Finding, FloatArray, Site
from lawnplat.terrain.types import ElevationWindow, Grid

Findings = tuple[Finding, ...]


def known_on(site: Site, window: ElevationWindow) -> bool:
    """Return whether the window holds any elevation on the property itself."""
    known = np.isfinite(window.elevation_m)
    return bool(known.all() or (known.any() and _cells_on(site, window.grid, known)[0].size))


def level_notice(site: Site, window: ElevationWindow | None) -> Findings:
    """Say that the ground is taken as level; a warning where elevation was given but holds none."""
    text = "No elevation is known here: the ground is taken as level, so no slope limit was tested."
    severity = "note" if window is None else "warn"
    return (Finding("ground_taken_as_level", severity, text, place=_middle(site)),)


def coarse_notice(site: Site, window: ElevationWindow, rules: RuleBook) -> Findings:
    """Warn of a raster whose cells, or whose steps in height, are coarser than the rule book's."""
    cell_m, step_m = window.source_cell_m, window.height_step_m
    cell_limit_m, step_limit_m = rules.terrain.coarse_source_m, rules.terrain.coarse_step_m
    wide = (
        f"Elevation cells are {cell_m:.1f} m wide, over {cell_limit_m:g} m: banks and steps "
        "narrower than that do not show, so look at the ground itself."
    )
    stepped = (
        f"Elevation comes in steps of {step_m:.2g} m, over {step_limit_m:g} m: even ground turns "
        "to stairs, so do not trust the slopes."
    )
    matters = (
        ("elevation_coarse", wide, cell_m, cell_limit_m),
        ("elevation_stepped", stepped, step_m, step_limit_m),
    )
    return tuple(
        Finding(rule, "warn", text, place=_middle(site), measured=measured, limit=limit)
        for rule, text, measured, limit in matters
        if measured > limit
    )


def wide_grid_notice(site: Site, grid: Grid, rules: RuleBook) -> Findings:
    """Warn of a property so large that its own grid is coarser than a raster should be."""
    limit_m = rules.terrain.coarse_source_m
    if grid.cell_m <= limit_m:
        return ()
    text = (
        f"The property is so large that its ground is held in cells of {grid.cell_m:.1f} m, over "
        f"{limit_m:g} m: divide it, or raise terrain.largest_cells."
    )
    place = _middle(site)
    return (Finding("terrain_cells_wide", "warn", text, "", 1, place, grid.cell_m, limit_m),)


def filled_notice(site: Site, grid: Grid, known: NDArray[np.bool_], spots_used: int) -> Findings:
    """Warn of the share of the property whose elevation was filled in, and from what."""
    share_pct, place = _share_without(site, grid, known)
    notices: list[Finding] = []
    if place is not None:
        helped = f" and {spots_used} spot heights in it" if spots_used else ""
        text = (
            f"Elevation is missing on {_share_words(share_pct)} of the property: it was filled "
            f"from the ground round the gap{helped}, so check slopes there."
        )
        notices.append(
            Finding("elevation_partly_missing", "warn", text, place=place, measured=share_pct)
        )
    return (*notices, *unused_spots_notice(site, spots_used))


def off_spots_notice(site: Site, grid: Grid, inside: NDArray[np.bool_]) -> Findings:
    """Warn of the share of the property that the spot heights do not surround."""
    share_pct, place = _share_without(site, grid, inside)
    if place is None:
        return ()
    text = (
        f"Spot heights do not surround {_share_words(share_pct)} of the property: ground beyond "
        "them is taken as level outward, so check slopes there."
    )
    return (Finding("spot_heights_short", "warn", text, place=place, measured=share_pct),)


def sparse_spots_notice(site: Site, grid: Grid, rules: RuleBook) -> Findings:
    """Warn where ground lies farther from every spot height than ``terrain.sparse_spot_m``."""
    # Imported here: only sites with spot heights need scipy's trees.
    from lawnplat.terrain.tin import farthest_place  # noqa: PLC0415

    limit_m = rules.terrain.sparse_spot_m
    x, y = _cells_on(site, grid, np.ones((grid.rows, grid.columns), bool))
    if x.size == 0:
        return ()
    distance_m, index = farthest_place(site.spot_heights, x, y)
    if distance_m <= limit_m:
        return ()
    text = (
        f"Ground here is {distance_m:.1f} m from the nearest spot height, over {limit_m:g} m: it "
        "is taken as straight between heights, so look for banks and steps."
    )
    place = Point(x[index], y[index])
    return (Finding("spot_heights_sparse", "warn", text, "", 1, place, distance_m, limit_m),)


def unused_spots_notice(site: Site, used: int = 0) -> Findings:
    """Note the spot heights that were set aside because the raster rules."""
    count = len(site.spot_heights) - used
    if count <= 0:
        return ()
    text = "Spot heights were set aside: the elevation raster gives the ground there."
    return (Finding("spot_heights_unused", "note", text, count=count),)


def dissolved_notice(
    site: Site, patches: Sequence[Polygon], machine: MachineClass, rules: RuleBook
) -> Findings:
    """Note the patches over the slope limit that are too small to be kept off the lawn.

    Those beyond the parcel are nobody's business here.
    """
    inside = (shapely.intersection(patch, site.parcel) for patch in patches)
    found = [patch for patch in inside if patch.area > 0]
    if not found:
        return ()
    largest = max(found, key=lambda patch: patch.area)
    limit_m2 = rules.ground.smallest_steep_patch_m2
    text = (
        f"Patches over {machine.slope_lawn_pct:g} % but under {limit_m2:g} m2 are taken as bumps "
        "and stay lawn."
    )
    return (
        Finding(
            "steep_patches_dissolved",
            "note",
            text,
            count=len(found),
            place=largest.representative_point(),
            measured=largest.area,
            limit=limit_m2,
        ),
    )


def _middle(site: Site) -> Point:
    return site.parcel.representative_point()


def _share_words(share_pct: float) -> str:
    return "under 1 %" if share_pct < 1 else f"{share_pct:.0f} %"


def _share_without(site: Site, grid: Grid, known: NDArray[np.bool_]) -> tuple[float, Point | None]:
    """Return the share of the property's cells that are not known, and the middlemost of them."""
    gap_x, gap_y = _cells_on(site, grid, ~known)
    if gap_x.size == 0:
        return 0.0, None
    whole = _cells_on(site, grid, np.ones_like(known))[0].size
    share_pct = 100.0 * gap_x.size / whole
    middle = np.argmin((gap_x - gap_x.mean()) ** 2 + (gap_y - gap_y.mean()) ** 2)
    return share_pct, Point(gap_x[middle], gap_y[middle])


def _cells_on(site: Site, grid: Grid, chosen: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
    """Return the places of the chosen cells whose centres lie on the parcel or a lawn."""
    ground = shapely.union_all([site.parcel, *site.lawns])
    shapely.prepare(ground)
    x, y = np.meshgrid(*grid.centres())
    x, y = x[chosen], y[chosen]
    within = shapely.contains_xy(ground, x, y)
    return x[within], y[within]
