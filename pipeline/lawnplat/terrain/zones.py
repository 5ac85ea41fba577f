"""Draw the slope zones: smooth polygons by interpolated contours that tile the grid's box."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import cast

import numpy as np
import shapely
from contourpy import FillType, contour_generator
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.settings.types import GroundRules
from lawnplat.survey.types import FloatArray
from lawnplat.terrain.types import Grid, SlopeZone

_RingLists = tuple[list[FloatArray], list[NDArray[np.uint32]]]

_SLOPE_DIGITS = 6
"""Slopes are rounded to a millionth of a percent: far below any meaning, and it keeps a plane whose
slope is the limit itself from breaking into crumbs of rounding noise."""


@dataclass(frozen=True)
class Zones:
    """The slope zones that are not empty, and the steep patches too small to count."""

    zones: tuple[SlopeZone, ...]
    dissolved: tuple[Polygon, ...]
    """Patches over the limit, each under ``ground.smallest_steep_patch_m2``, given to the zone
    around them."""


def slope_zones(slope: FloatArray, grid: Grid, limit_pct: float, rules: GroundRules) -> Zones:
    """Return the zones ``gentle``, ``workable`` and ``too_steep``.

    The line between two zones is drawn once and both take it, so that the zones cover the grid's
    outer box exactly once. Slope is interpolated linearly between cell centres; in the outer half
    of a border cell it stays. Ground at a limit itself lies below it.

    Parameters
    ----------
    slope : ndarray of shape (rows, columns)
        Percent, no NaN.
    grid : Grid
    limit_pct : float
        The machine's limit in the lawn. Where it is at or below ``ground.gentle_slope_pct`` the
        gentle zone ends there and no ground is ``workable``.
    rules : GroundRules
        Limits, smallest steep patch, and how far a vertex may be moved in thinning the lines.
    """
    gentle_pct = min(rules.gentle_slope_pct, limit_pct)
    smallest_m2 = rules.smallest_steep_patch_m2
    field = np.round(slope, _SLOPE_DIGITS)
    steep, dissolved = _ground_over(field, grid, limit_pct, rules)
    over_gentle = steep
    if gentle_pct < limit_pct:
        sloping, _ = _ground_over(field, grid, gentle_pct, rules)
        # Steep ground whose small gaps were closed may reach out of the sloping ground round it.
        over_gentle = _without_specks(shapely.union(sloping, steep), smallest_m2)[0]
    box = shapely.box(
        grid.west_m,
        grid.north_m - grid.rows * grid.cell_m,
        grid.west_m + grid.columns * grid.cell_m,
        grid.north_m,
    )
    bands = (
        ("gentle", 0.0, gentle_pct, shapely.difference(box, over_gentle)),
        ("workable", gentle_pct, limit_pct, shapely.difference(over_gentle, steep)),
        ("too_steep", limit_pct, math.inf, steep),
    )
    zones = tuple(
        SlopeZone(zone, from_pct, to_pct, _multi(area))
        for zone, from_pct, to_pct, area in bands
        if area.area > 0
    )
    return Zones(zones, dissolved)


def _ground_over(
    field: FloatArray, grid: Grid, level_pct: float, rules: GroundRules
) -> tuple[MultiPolygon, tuple[Polygon, ...]]:
    """Return the ground steeper than a level, lines thinned, without specks, and the specks."""
    if not (field > level_pct).any():
        return MultiPolygon(), ()
    drawn = _contoured(field, grid, level_pct)
    kept, specks = _without_specks(drawn, rules.smallest_steep_patch_m2)
    return _multi(shapely.make_valid(shapely.simplify(kept, rules.shape_tolerance_m))), specks


def _contoured(field: FloatArray, grid: Grid, level_pct: float) -> BaseGeometry:
    """Return the ground over a level as one valid geometry, in the CRS of the grid."""
    x, y = grid.centres()
    x = np.concatenate([[grid.west_m], x, [grid.west_m + grid.columns * grid.cell_m]])
    y = np.concatenate([[grid.north_m], y, [grid.north_m - grid.rows * grid.cell_m]])
    generator = contour_generator(
        x, y, np.pad(field, 1, mode="edge"), fill_type=FillType.OuterOffset
    )
    # OuterOffset gives two lists: each polygon's points, and where its rings start in them.
    above_all = float(field.max()) + 1.0
    points, offsets = cast("_RingLists", generator.filled(level_pct, above_all)[:2])
    polygons = [Polygon(rings[0], rings[1:]) for rings in map(_rings, points, offsets)]
    return shapely.make_valid(MultiPolygon(polygons))


def _rings(points: FloatArray, starts: NDArray[np.uint32]) -> list[FloatArray]:
    """Return one polygon's rings, the outer one first."""
    return np.split(points, starts[1:-1])


def _without_specks(
    ground: BaseGeometry, smallest_m2: float
) -> tuple[MultiPolygon, tuple[Polygon, ...]]:
    """Return the ground without patches and gaps under the smallest area, and those patches."""
    polygons = _polygons(ground)
    large = shapely.area(polygons) >= smallest_m2
    kept = [_without_small_holes(polygon, smallest_m2) for polygon in polygons[large]]
    # A closed gap may have held a patch of its own.
    return _multi(shapely.union_all(kept)), tuple(polygons[~large])


def _without_small_holes(polygon: Polygon, smallest_m2: float) -> Polygon:
    if not polygon.interiors:
        return polygon
    holes = [ring for ring in polygon.interiors if Polygon(ring).area >= smallest_m2]
    return Polygon(polygon.exterior, holes)


def _polygons(geometry: BaseGeometry) -> NDArray[np.object_]:
    """Return the polygons in a geometry; points and lines, which hold no ground, fall away."""
    parts = shapely.get_parts(shapely.get_parts([geometry]))
    polygons: NDArray[np.object_] = parts[shapely.area(parts) > 0]
    return polygons


def _multi(geometry: BaseGeometry) -> MultiPolygon:
    return MultiPolygon(list(_polygons(geometry)))
