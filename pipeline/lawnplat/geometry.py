"""Small geometric helpers that more than one room needs. Plane geometry, metres, no CRS."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

FloatArray = NDArray[np.float64]
Shape = TypeVar("Shape", bound=BaseGeometry)

QUARTER_SEGMENTS = 16
"""Chords to a quarter circle: an arc of 1 m leaves its circle by 1.2 mm at most."""


def polygons(geometry: BaseGeometry | None) -> list[Polygon]:
    """Return the polygons of any geometry, empty ones and lower dimensions left out."""
    if geometry is None or geometry.is_empty:
        return []
    if isinstance(geometry, Polygon):
        return [geometry]
    parts = shapely.get_parts(shapely.get_parts(geometry))
    return [part for part in parts if isinstance(part, Polygon) and not part.is_empty]


def as_multipolygon(geometry: BaseGeometry | None, *, smallest_m2: float = 0.0) -> MultiPolygon:
    """Return the polygonal part of ``geometry``, pieces of at most ``smallest_m2`` left out."""
    return MultiPolygon([part for part in polygons(geometry) if part.area > smallest_m2])


def lines(geometry: BaseGeometry) -> list[LineString]:
    """Return the line strings of any geometry, joined where they meet end to end."""
    if geometry.is_empty:
        return []
    merged = shapely.line_merge(geometry) if geometry.geom_type != "LineString" else geometry
    parts = shapely.get_parts(shapely.get_parts(np.array([merged])))
    return [part for part in parts if isinstance(part, LineString) and part.length > 0]


def union(geometries: Iterable[BaseGeometry]) -> BaseGeometry:
    """Return the union of ``geometries``; an empty polygon for none."""
    found = [geometry for geometry in geometries if not geometry.is_empty]
    return shapely.union_all(np.array(found, dtype=object)) if found else Polygon()


def grow(geometry: BaseGeometry, distance_m: float) -> BaseGeometry:
    """Return the parallel body at ``distance_m`` outward (inward where negative), corners round."""
    return shapely.buffer(geometry, distance_m, quad_segs=QUARTER_SEGMENTS)


def moved(geometry: Shape, by_m: FloatArray) -> Shape:
    """Return ``geometry`` moved by a vector."""
    found: Shape = shapely.transform(geometry, lambda at: at + by_m)
    return found


def middle_of(geometry: BaseGeometry) -> FloatArray:
    """Return a place of whole metres in the middle of ``geometry``, shape (2,).

    About it numbers are small, and overlays finer than where maps are (`moved`).
    """
    return np.asarray(np.floor(shapely.get_coordinates(shapely.centroid(geometry))[0]))


def thickened(geometry: BaseGeometry, distance_m: float) -> BaseGeometry:
    """Return the parallel body a hair outside, corners sharp: arcs so small are lost in rounding.

    Bodies that share a rim overlap by ``distance_m`` then, and their union has no slit there.
    """
    return shapely.buffer(geometry, distance_m, join_style="mitre")


def opened(geometry: BaseGeometry, radius_m: float) -> BaseGeometry:
    """Return what a disc of ``radius_m`` can reach inside ``geometry`` (morphological opening)."""
    return grow(grow(geometry, -radius_m), radius_m)


def within_reach(geometry: BaseGeometry, place: BaseGeometry, reach_m: float) -> BaseGeometry:
    """Return what of ``geometry`` can lie within ``reach_m`` of ``place``, and some more."""
    west, south, east, north = shapely.bounds(place)
    window = box(west - reach_m, south - reach_m, east + reach_m, north + reach_m)
    near: BaseGeometry = shapely.intersection(geometry, window)
    return near


def rectangle(
    origin: FloatArray, ahead: FloatArray, from_m: float, to_m: float, half_width_m: float
) -> NDArray[np.object_]:
    """Return rectangles laid along ``ahead`` from ``origin``.

    Parameters
    ----------
    origin, ahead : array of shape (n, 2)
        Start points and unit vectors.
    from_m, to_m : float
        Extent along ``ahead``, counted from ``origin``.
    half_width_m : float
        Extent to each side.

    Returns
    -------
    array of n Polygons
    """
    left = np.stack([-ahead[:, 1], ahead[:, 0]], axis=1) * half_width_m
    near, far = origin + ahead * from_m, origin + ahead * to_m
    corners = [near + left, near - left, far - left, far + left, near + left]
    return np.asarray(shapely.polygons(np.stack(corners, axis=1)))


def bearing_deg(dx: float, dy: float) -> float:
    """Return the bearing of a vector in degrees clockwise from grid north, in [0, 360)."""
    return float(bearings_deg(np.array([[dx, dy]]))[0])


def bearings_deg(vectors: FloatArray) -> FloatArray:
    """Return the `bearing_deg` of each vector. Shape (n,) for (n, 2)."""
    # A hair west of north comes out as 360.0 the first time.
    return np.asarray(np.degrees(np.arctan2(vectors[:, 0], vectors[:, 1])) % 360.0 % 360.0)


def points_along(ring: LineString, chainages_m: FloatArray) -> FloatArray:
    """Return coordinates at ``chainages_m``, round and round a closed ring.

    Shape that of ``chainages_m`` and one axis more, of 2.
    """
    # GEOS walks the ring from its start for every point: slow on a ring of many corners.
    points = shapely.get_coordinates(ring)
    at_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    where_m = np.mod(chainages_m, at_m[-1])
    return np.stack([np.interp(where_m, at_m, column) for column in points.T], axis=-1)


def inside_point(geometry: BaseGeometry) -> Point:
    """Return a point on the surface of ``geometry``."""
    point: Point = shapely.point_on_surface(geometry)
    return point
