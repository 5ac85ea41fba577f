"""Checks of slopes: nothing is mown that is steeper than the machine may climb."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely import Point
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.survey.types import Finding, FloatArray
from lawnplat.terrain.types import Terrain

_HORN = np.array([[-1.0, 0.0, 1.0], [-2.0, 0.0, 2.0], [-1.0, 0.0, 1.0]]) / 8.0
"""Horn's weights for the rise eastward over two cells (Proc. IEEE 69(1):14-47, 1981)."""
_OVER_PCT = 1.0
"""The plan draws its zones between cells; a cell over the limit by less may lie beside them."""


def slope_limit(evidence: Evidence) -> Iterator[Finding]:
    """No patch of mown ground is steeper than the machine's limit.

    By the ground's heights where they are at hand, else by the plan's own zones.
    """
    if evidence.terrain is not None:
        yield from _by_heights(evidence, evidence.terrain)
    else:
        yield from _by_zones(evidence)


def horn_pct(elevation_m: FloatArray, cell_m: float) -> FloatArray:
    """Return the slope of each cell by Horn's window, percent; the border goes on flat."""
    east = ndimage.correlate(elevation_m, _HORN, mode="nearest")
    north = ndimage.correlate(elevation_m, _HORN.T, mode="nearest")
    return np.asarray(100 * np.hypot(east, north) / cell_m)


def clearly_steeper(
    terrain: Terrain, ground: BaseGeometry, limit_pct: float
) -> tuple[NDArray[np.bool_], FloatArray]:
    """Return which cells within ``ground`` are over a limit, and the slope of every cell, percent.

    By a percent over it at least: zones are drawn between cells. Shapes (rows, columns).
    """
    slope_pct = horn_pct(terrain.elevation_m, terrain.grid.cell_m)
    x, y = np.meshgrid(*terrain.grid.centres())
    steep = slope_pct > limit_pct + _OVER_PCT
    steep[steep] = shapely.contains_xy(ground, x[steep], y[steep])
    return steep, slope_pct


def _by_heights(evidence: Evidence, terrain: Terrain) -> Iterator[Finding]:
    limit_pct = evidence.machine.slope_lawn_pct
    steep, slope_pct = clearly_steeper(terrain, evidence.mowable, limit_pct)
    x, y = np.meshgrid(*terrain.grid.centres())
    patches, count = ndimage.label(steep)
    least_m2 = evidence.rules.ground.smallest_steep_patch_m2
    for number in range(1, count + 1):
        patch: NDArray[np.bool_] = patches == number
        area_m2 = float(patch.sum()) * terrain.grid.cell_m**2
        if area_m2 > least_m2:
            worst = np.unravel_index(np.argmax(np.where(patch, slope_pct, -np.inf)), patch.shape)
            found_pct = float(slope_pct[worst])
            yield breach(
                evidence, "slope_limit",
                f"{area_m2:.1f} m2 that are to be mown are steeper than a {evidence.machine.name} "
                f"machine may climb: {found_pct:.0f} %, over {limit_pct:.0f} %",
                Point(x[worst], y[worst]), measured=found_pct, limit=limit_pct,
            )  # fmt: skip


def _by_zones(evidence: Evidence) -> Iterator[Finding]:
    limit_pct = evidence.machine.slope_lawn_pct
    least_m2 = evidence.rules.ground.smallest_steep_patch_m2
    for row in evidence.plan.rows("slope_zones"):
        if row.geometry is None or row.number("from_pct") < limit_pct:
            continue
        for part in shapely.get_parts(shapely.intersection(row.geometry, evidence.mowable)):
            if part.area > least_m2:
                yield breach(
                    evidence, "slope_limit",
                    f"{part.area:.1f} m2 that are to be mown lie in a zone of over "
                    f"{row.number('from_pct'):.0f} %", shapely.point_on_surface(part),
                    measured=row.number("from_pct"), limit=limit_pct,
                )  # fmt: skip
