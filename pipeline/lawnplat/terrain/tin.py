"""Ground through surveyed spot heights: a triangulated surface, on the grid's cell centres."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import Delaunay, QhullError, cKDTree

from lawnplat.survey.types import FloatArray

_SAME_PLACE_M = 1e-3
"""Heights whose places agree to a millimetre are one place, surveyed more than once."""


@dataclass(frozen=True)
class SpotSurface:
    """Heights through spot heights at asked places.

    ``elevation_m`` has the shape of the places, metres, no NaN; ``inside`` is True where the place
    lies within the triangles, so that its height rests on heights all round it.
    """

    elevation_m: FloatArray
    inside: NDArray[np.bool_]


def merge_places(spot_heights: FloatArray) -> FloatArray:
    """Return the spot heights with those of one place averaged, ordered by x, then y.

    Parameters
    ----------
    spot_heights : ndarray of shape (n, 3)
        x, y, elevation in metres. Rows that hold NaN or infinity are left out.

    Examples
    --------
    >>> merge_places(np.array([[0, 0, 1.0], [5, 0, 3.0], [0, 0, 2.0]])).tolist()
    [[0.0, 0.0, 1.5], [5.0, 0.0, 3.0]]
    """
    spots = np.asarray(spot_heights, float).reshape(-1, 3)
    spots = spots[np.isfinite(spots).all(axis=1)]
    if len(spots) == 0:
        return np.empty((0, 3))
    ticks = np.round(spots[:, :2] / _SAME_PLACE_M)
    _, index, counts = np.unique(ticks, axis=0, return_inverse=True, return_counts=True)
    index = index.reshape(-1)
    columns = [np.bincount(index, spots[:, column]) / counts for column in range(3)]
    return np.asarray(np.column_stack(columns), dtype=float)


def surface_through(spot_heights: FloatArray, x: FloatArray, y: FloatArray) -> SpotSurface:
    """Return the heights of a surface through spot heights at (x, y).

    Within the triangles of the Delaunay triangulation heights are linear. Beyond them a place
    takes the height of the nearest place on the triangulation's rim, so that the surface has no
    step there. Spot heights in one line make a slope along the line, level across it; a single
    one makes level ground.

    Parameters
    ----------
    spot_heights : ndarray of shape (n, 3)
        x, y, elevation in metres, at least one finite row.
    x, y : ndarray
        Places, of one shape, in the CRS of the spot heights.

    Raises
    ------
    ValueError
        There is no spot height.
    """
    spots = merge_places(spot_heights)
    if len(spots) == 0:
        raise ValueError("no spot height: a surface needs at least one")
    origin = spots[:, :2].mean(axis=0)
    places = spots[:, :2] - origin
    px, py = np.asarray(x, float) - origin[0], np.asarray(y, float) - origin[1]
    triangles = _triangulate(places)
    if triangles is None:
        return _along_line(places, spots[:, 2], px, py)
    heights = _within(triangles, spots[:, 2], px, py)
    inside = np.isfinite(heights)
    if not inside.all():
        heights[~inside] = _on_rim(triangles, spots[:, 2], px[~inside], py[~inside])
    return SpotSurface(heights, inside)


def farthest_place(spot_heights: FloatArray, x: FloatArray, y: FloatArray) -> tuple[float, int]:
    """Return how far the place farthest from every spot height is from one, and its index.

    Parameters
    ----------
    spot_heights : ndarray of shape (n, 3)
        x, y, elevation in metres, at least one finite row.
    x, y : ndarray of shape (m,)
        Places, at least one.
    """
    spots = merge_places(spot_heights)
    distances = np.asarray(cKDTree(spots[:, :2]).query(np.column_stack([x, y]))[0])
    farthest = int(np.argmax(distances))
    return float(distances[farthest]), farthest


def _triangulate(places: FloatArray) -> Delaunay | None:
    """Return the triangulation, or None where the places span no area."""
    if len(places) < 3:  # noqa: PLR2004
        return None
    spread = np.linalg.svd(places, compute_uv=False)
    if spread[1] <= max(_SAME_PLACE_M, 1e-9 * spread[0]):
        return None
    try:
        return Delaunay(places)
    except QhullError:
        return None


def _along_line(
    places: FloatArray, heights: FloatArray, px: FloatArray, py: FloatArray
) -> SpotSurface:
    """Return heights along the line through the places, level across it and beyond its ends."""
    direction = np.linalg.svd(places)[2][0] if len(places) > 1 else np.array([1.0, 0.0])
    along = places @ direction
    order = np.argsort(along, kind="stable")
    asked = px * direction[0] + py * direction[1]
    elevation_m = np.interp(asked, along[order], heights[order])
    return SpotSurface(elevation_m, np.zeros(elevation_m.shape, bool))


def _within(triangles: Delaunay, heights: FloatArray, px: FloatArray, py: FloatArray) -> FloatArray:
    """Return the heights on the triangles at (px, py); NaN beyond them.

    Not scipy's own interpolator: it asks LAPACK once a triangle, and on a busy machine the threads
    behind that wait for each other for seconds.
    """
    corners = triangles.points[triangles.simplices]
    flat = _cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    simplices, corners = triangles.simplices[flat != 0], corners[flat != 0]
    tree = shapely.STRtree(shapely.polygons(corners))
    asked = np.stack([px.ravel(), py.ravel()], axis=1)
    place, owner = tree.query(shapely.points(asked), predicate="intersects")
    place, first = np.unique(place, return_index=True)
    one, two, three = np.moveaxis(corners[owner[first]], 1, 0)
    spot = asked[place]
    whole = _cross(two - one, three - one)
    share_two = _cross(spot - one, three - one) / whole
    share_three = _cross(two - one, spot - one) / whole
    base, second, third = heights[simplices[owner[first]]].T
    found = np.full(len(asked), np.nan)
    found[place] = base + share_two * (second - base) + share_three * (third - base)
    return found.reshape(px.shape)


def _cross(one: FloatArray, other: FloatArray) -> FloatArray:
    return np.asarray(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])


def _on_rim(triangles: Delaunay, heights: FloatArray, px: FloatArray, py: FloatArray) -> FloatArray:
    """Return the heights on the triangulation's rim at the places nearest to (px, py)."""
    rim_points = np.unique(triangles.convex_hull)
    points: Any = shapely.points(triangles.points[rim_points])
    rim: Any = shapely.convex_hull(shapely.MultiPoint(points)).boundary
    stations = np.asarray(shapely.line_locate_point(rim, points))
    order = np.argsort(stations, kind="stable")
    asked_points: Any = shapely.points(px, py)
    asked = shapely.line_locate_point(rim, asked_points)
    rim_heights = heights[rim_points][order]
    return np.asarray(np.interp(asked, stations[order], rim_heights, period=rim.length))
