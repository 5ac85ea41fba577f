"""Ask the ground for heights, gradients and tilts at places, along lines and over areas."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from lawnplat.survey.types import FloatArray
from lawnplat.terrain.gradient import slope_pct
from lawnplat.terrain.types import Terrain

_LEAST_SAMPLES = 4
"""A polygon narrower than this many cells is sampled more finely, this often across."""
_MOST_SAMPLES = 10_000
"""A lattice over one polygon is never finer than this, however thin the polygon."""
_NO_PLANE = 1e-9
"""Samples whose spread one way is under this share of the other, squared, lie in one line."""


def bilinear(values: FloatArray, row: FloatArray, column: FloatArray) -> FloatArray:
    """Return the values at fractional rows and columns, whole numbers at cell centres.

    The outer half of a border cell goes on in a straight line; further out the value stays.
    """
    return _between(row, column, values)[0]


def _between(row: FloatArray, column: FloatArray, *fields: FloatArray) -> list[FloatArray]:
    """Return bilinear values of several arrays of one shape at the same places."""
    rows, columns = fields[0].shape
    # In place, and not np.clip: where there are few places the arrays' making costs the most.
    down, across = (np.asarray(np.maximum(each, -0.5)) for each in (row, column))
    np.minimum(down, rows - 0.5, out=down)
    np.minimum(across, columns - 0.5, out=across)
    # Cut off towards 0, so that the border's outer half belongs to the first cell.
    top = np.minimum(down.astype(np.intp), max(rows - 2, 0))
    left = np.minimum(across.astype(np.intp), max(columns - 2, 0))
    down -= top
    across -= left
    upper_share, left_share = 1 - down, 1 - across
    top *= columns
    top += left
    beside, below = int(columns > 1), columns * int(rows > 1)
    found = []
    for field in fields:
        flat = field.ravel()
        upper, upper_right, lower, lower_right = (
            np.asarray(flat[step:].take(top)) for step in (0, beside, below, below + beside)
        )
        upper *= left_share
        upper += np.multiply(upper_right, across, out=upper_right)
        lower *= left_share
        lower += np.multiply(lower_right, across, out=lower_right)
        upper *= upper_share
        upper += np.multiply(lower, down, out=lower)
        found.append(upper)
    return found


def height_at(terrain: Terrain, x: FloatArray, y: FloatArray) -> FloatArray:
    """Return the heights at (x, y), metres, in the shape of ``x``."""
    return bilinear(terrain.elevation_m, *terrain.grid.fractional(x, y))


def gradient_at(terrain: Terrain, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the rise a metre eastward and northward at (x, y), each in the shape of ``x``."""
    row, column = terrain.grid.fractional(x, y)
    east, north = _between(row, column, terrain.dz_dx, terrain.dz_dy)
    return east, north


def slope_at(terrain: Terrain, x: FloatArray, y: FloatArray) -> FloatArray:
    """Return the slope of steepest descent at (x, y), percent, in the shape of ``x``."""
    return slope_pct(*gradient_at(terrain, x, y))


def along_pct(terrain: Terrain, line: LineString, step_m: float) -> FloatArray:
    """Return the gradient along a line, one value a step, percent, positive uphill.

    The line is cut into the fewest equal steps of at most ``step_m`` along it; a step's gradient is
    the difference of height between its ends over its length in plan. So the gradients' mean times
    the length is the climb from end to end.

    Parameters
    ----------
    terrain : Terrain
    line : LineString
        In the CRS of the terrain. An empty or pointlike line gives an empty array.
    step_m : float
        Base length of a gradient, metres, over 0.

    Raises
    ------
    ValueError
        The step is not over 0.
    """
    if not step_m > 0:
        raise ValueError(f"step_m {step_m} must be over 0")
    length_m = line.length
    if length_m == 0:
        return np.empty(0)
    # A hair of tolerance: 12.000000001 m in steps of 0.5 m makes 24 steps, not 25.
    steps = max(1, math.ceil(length_m / step_m - 1e-6))
    points = shapely.line_interpolate_point(line, np.linspace(0.0, length_m, steps + 1))
    heights = height_at(terrain, shapely.get_x(points), shapely.get_y(points))
    return np.asarray(100.0 * np.diff(heights) * steps / length_m)


def plane_tilt_pct(terrain: Terrain, polygon: Polygon) -> float:
    """Return the slope of the least-squares plane through the ground in a polygon, percent."""
    return float(plane_tilts_pct(terrain, [polygon])[0])


def plane_tilts_pct(terrain: Terrain, polygons: Sequence[Polygon]) -> FloatArray:
    """Return, for each polygon, the slope of the least-squares plane through its ground, percent.

    Ground is sampled on a square lattice laid over each polygon, as fine as the grid and at least
    four across the narrower side. A sliver that holds no three samples off one line takes the
    slope of the ground at its middle.

    Parameters
    ----------
    terrain : Terrain
    polygons : sequence of Polygon
        In the CRS of the terrain, none empty.

    Raises
    ------
    ValueError
        A polygon is empty.
    """
    shapes = np.asarray(polygons, dtype=object)
    if len(shapes) == 0:
        return np.empty(0)
    if shapely.is_empty(shapes).any():
        raise ValueError("an empty polygon has no tilt")
    owner, x, y = _lattice(shapes, terrain.grid.cell_m)
    tilts = _tilts_pct(owner, x, y, height_at(terrain, x, y), len(shapes))
    slivers = ~np.isfinite(tilts)
    if slivers.any():
        middle = shapely.point_on_surface(shapes[slivers])
        tilts[slivers] = slope_at(terrain, shapely.get_x(middle), shapely.get_y(middle))
    return tilts


def _lattice(
    shapes: NDArray[np.object_], cell_m: float
) -> tuple[NDArray[np.intp], FloatArray, FloatArray]:
    """Return the sample places within each polygon and the polygon's index for each."""
    bounds = shapely.bounds(shapes)
    sides = bounds[:, 2:] - bounds[:, :2]
    narrow = np.minimum(shapely.area(shapes) / sides.max(axis=1), sides.min(axis=1))
    finest = np.sqrt(sides.prod(axis=1) / _MOST_SAMPLES)
    pitch = np.maximum(np.minimum(cell_m, narrow / _LEAST_SAMPLES), finest)
    across, up = np.ceil(sides / pitch[:, None]).astype(np.intp).T
    counts = across * up
    owner = np.repeat(np.arange(len(shapes)), counts)
    within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    column, row = within % across[owner], within // across[owner]
    x = bounds[owner, 0] + (column + 0.5) * sides[owner, 0] / across[owner]
    y = bounds[owner, 1] + (row + 0.5) * sides[owner, 1] / up[owner]
    shapely.prepare(shapes)
    inside = shapely.contains_xy(shapes[owner], x, y)
    return owner[inside], x[inside], y[inside]


def _tilts_pct(
    owner: NDArray[np.intp], x: FloatArray, y: FloatArray, z: FloatArray, count: int
) -> FloatArray:
    """Return each group's plane slope by normal equations about its mean; NaN where it has none."""

    def total(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(owner, values, count), dtype=float)

    size = np.maximum(total(np.ones(len(owner))), 1.0)
    x, y, z = (v - (total(v) / size)[owner] for v in (x, y, z))
    xx, xy, yy, xz, yz = total(x * x), total(x * y), total(y * y), total(x * z), total(y * z)
    determinant = xx * yy - xy * xy
    determinant = np.where(determinant > _NO_PLANE * (xx + yy) ** 2, determinant, np.nan)
    dz_dx = (xz * yy - yz * xy) / determinant
    dz_dy = (yz * xx - xz * xy) / determinant
    return slope_pct(dz_dx, dz_dy)
