"""Repair geometry: valid, two-dimensional polygons, and a remark for everything that was changed.

Plane geometry in metres. Area is never lost unsaid: a ring that crosses itself keeps every lobe, an
area drawn twice counts once, and the remark gives the place and how much changed.
"""

from __future__ import annotations

import math
import re

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import polygons
from lawnplat.survey.findings import Remark
from lawnplat.survey.types import Area, FloatArray

_SAME_POINT_M = 0.001
"""Vertices this close are one: under what any survey resolves."""
_SPIKE_LENGTHS = 10.0
"""A spike is longer than this many times its width."""
_REASON = re.compile(r"^(?P<reason>[^\[]+)\[(?P<x>\S+) (?P<y>\S+)\]")


def sound(geometries: NDArray[np.object_], tolerance_m: float) -> NDArray[np.bool_]:
    """Return which geometries need no repair: plain valid polygons, no spikes, no double points.

    Parameters
    ----------
    geometries : array of geometries, shape (n,)
        None counts as unsound.
    tolerance_m : float
        Width under which a spike is one.
    """
    plain = np.asarray(shapely.get_type_id(geometries) == shapely.GeometryType.POLYGON)
    plain &= shapely.is_valid(geometries) & ~shapely.has_z(geometries)
    plain &= ~shapely.is_empty(geometries)
    where = np.flatnonzero(plain)
    rings, owner = shapely.get_rings(geometries[where], return_index=True)
    plain[where[owner[_spikes(rings, tolerance_m)[2]]]] = False
    plain[where[owner[_double_points(rings)]]] = False
    return np.asarray(plain)


def repair_area(
    geometry: BaseGeometry, *, sliver_m2: float, tolerance_m: float, fill_holes: bool = False
) -> tuple[Area | None, tuple[Remark, ...]]:
    """Return the polygonal part of a geometry, repaired, and what was done to it.

    Parameters
    ----------
    geometry : geometry
        Any type; lines and points in it are left out.
    sliver_m2 : float
        Parts under this area are left out.
    tolerance_m : float
        Width under which a spike is taken off.
    fill_holes : bool
        Whether holes under ``sliver_m2`` are closed.

    Returns
    -------
    area : Polygon, MultiPolygon or None
        None where no area is left.
    remarks : tuple of Remark
    """
    remarks: list[Remark] = []
    flat = shapely.force_2d(geometry)
    parts = polygons(flat)
    _note_left_out(flat, remarks)
    trimmed = [_without_spikes(part, tolerance_m, remarks) for part in parts]
    drawn = trimmed[0] if len(trimmed) == 1 else MultiPolygon(trimmed)
    valid = _valid(drawn, remarks)
    kept = _without_slivers(polygons(valid), sliver_m2, remarks)
    if fill_holes:
        kept = [_without_sliver_holes(part, sliver_m2, remarks) for part in kept]
    if not kept:
        return None, tuple(remarks)
    return (kept[0] if len(kept) == 1 else MultiPolygon(kept)), tuple(remarks)


def _note_left_out(geometry: BaseGeometry, remarks: list[Remark]) -> None:
    """Note lines and points that stand in a collection beside its polygons."""
    parts = shapely.get_parts(shapely.get_parts(np.array([geometry])))
    other = [part for part in parts if not isinstance(part, Polygon) and not part.is_empty]
    if other:
        text = "points or lines among the polygons were left out"
        remarks.append(Remark("left_out_parts", "warn", text, place=other[0].centroid))


def _valid(area: BaseGeometry, remarks: list[Remark]) -> BaseGeometry:
    if shapely.is_valid(area):
        return area
    found = _REASON.match(shapely.is_valid_reason(area))
    reason = found["reason"].lower() if found else "invalid"
    place = Point(float(found["x"]), float(found["y"])) if found else area.representative_point()
    mended = shapely.union_all([_from_rings(part) for part in polygons(area)])
    change = mended.area - _drawn_area(area)
    text = f"the outline was not valid ({reason}) and was repaired; compare it with the ground"
    remarks.append(Remark("repaired_outline", "warn", text, place=place, measured=change))
    return mended


def _from_rings(part: Polygon) -> BaseGeometry:
    """Return what the outer ring encloses less what the inner ones do, each made valid first.

    GEOS would make ground of a hole that lies outside its outer ring.
    """
    rings = np.array([Polygon(ring) for ring in (part.exterior, *part.interiors)], dtype=object)
    valid = shapely.make_valid(rings, method="structure", keep_collapsed=False)
    area: BaseGeometry = shapely.difference(valid[0], shapely.union_all(valid[1:]))
    return area


def _drawn_area(area: BaseGeometry) -> float:
    """Return the area by coordinates, as drawn: lobes of opposite sense cancel."""
    return float(sum(part.area for part in polygons(area)))


def _without_slivers(
    parts: list[Polygon], sliver_m2: float, remarks: list[Remark]
) -> list[Polygon]:
    """Leave out parts under the limit, unless nothing else is there."""
    kept = [part for part in parts if part.area >= sliver_m2]
    if not kept:
        return parts[:1]
    for part in parts:
        if part.area < sliver_m2:
            text = f"a sliver under {sliver_m2:g} m2 was left out"
            place = part.representative_point()
            remarks.append(Remark("sliver", "note", text, place, part.area, sliver_m2))
    return kept


def _without_sliver_holes(part: Polygon, sliver_m2: float, remarks: list[Remark]) -> Polygon:
    holes = [Polygon(ring) for ring in part.interiors]
    small = [hole for hole in holes if hole.area < sliver_m2]
    for hole in small:
        text = f"a hole under {sliver_m2:g} m2 was closed"
        place = hole.representative_point()
        remarks.append(Remark("sliver_hole", "note", text, place, hole.area, sliver_m2))
    if not small:
        return part
    return Polygon(part.exterior, [hole.exterior for hole in holes if hole.area >= sliver_m2])


def _without_spikes(part: Polygon, tolerance_m: float, remarks: list[Remark]) -> Polygon:
    """Take vertices off at which the outline runs out and back within the tolerance."""
    shell, tips = _trimmed(part.exterior.coords, tolerance_m)
    holes = [_trimmed(ring.coords, tolerance_m) for ring in part.interiors]
    tips += [tip for _, found in holes for tip in found]
    if shell is None:
        return Polygon()
    without = Polygon(shell, [hole for hole, _ in holes if hole is not None])
    if not tips:
        return without
    text = f"a spike narrower than {tolerance_m:g} m was taken off the outline"
    change = without.area - part.area
    remarks.extend(Remark("spike", "warn", text, place=Point(tip), measured=change) for tip in tips)
    return without


def _trimmed(
    coords: shapely.coords.CoordinateSequence, tolerance_m: float
) -> tuple[FloatArray | None, list[FloatArray]]:
    """Return a ring without double points and spikes, and the tips taken off.

    The ring is None where nothing is left of it.
    """
    xy = _without_double_points(np.asarray(coords)[:, :2])
    tips: list[FloatArray] = []
    while len(xy) > 3 and np.ptp(xy, axis=0).max() > tolerance_m:  # noqa: PLR2004
        _, vertices, faulty = _spikes(np.array([shapely.linearrings(xy)]), tolerance_m)
        if not len(faulty):
            return xy, tips
        # Of neighbouring tips only the first goes: without it the next may be none.
        apart = np.r_[True, np.diff(vertices) > 1]
        tips.extend(xy[vertices[apart]])
        open_ring = np.delete(xy[:-1], vertices[apart], axis=0)
        xy = _without_double_points(np.vstack([open_ring, open_ring[:1]]))
    return None, tips


def _without_double_points(xy: FloatArray) -> FloatArray:
    """Return a closed ring whose neighbouring vertices lie apart; GEOS may raise on thin rings.

    Shape (n, 2); the closing vertex is kept.
    """
    if (np.hypot(*np.diff(xy, axis=0).T) > _SAME_POINT_M).all():
        return xy
    kept = [xy[0]]
    for point in xy[1:-1]:
        if math.dist(point, kept[-1]) > _SAME_POINT_M:
            kept.append(point)
    if len(kept) > 1 and math.dist(kept[-1], kept[0]) <= _SAME_POINT_M:
        kept.pop()
    return np.array([*kept, kept[0]])


def _double_points(rings: NDArray[np.object_]) -> NDArray[np.int_]:
    """Return the indexes of closed rings that have neighbouring vertices at one place."""
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    short = (np.hypot(*np.diff(xy, axis=0).T) <= _SAME_POINT_M) & (ring[1:] == ring[:-1])
    return np.asarray(ring[1:][short])


def _spikes(
    rings: NDArray[np.object_], tolerance_m: float
) -> tuple[FloatArray, NDArray[np.int_], NDArray[np.int_]]:
    """Find the tips of spikes on closed rings.

    At a tip the two legs run the same way, and the end of the shorter one lies within the tolerance
    of the longer one, though both are many times as long as that.

    Returns
    -------
    tips : array of shape (k, 2)
    vertices : array of shape (k,)
        Index of each tip among its ring's vertices.
    owners : array of shape (k,)
        Index of each tip's ring.
    """
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    if not len(xy):
        return xy, ring, ring
    starts = np.flatnonzero(np.r_[True, ring[1:] != ring[:-1]])
    ends = np.r_[starts[1:], len(ring)] - 1  # the closing vertex, equal to the first
    index = np.arange(len(ring))
    before, after = index - 1, index + 1
    before[starts] = ends - 1
    inner = np.ones(len(ring), bool)
    inner[ends] = False
    after[ends] = ends
    back, ahead = xy[before] - xy, xy[after] - xy
    long_back, long_ahead = np.hypot(*back.T), np.hypot(*ahead.T)
    longer, shorter = np.maximum(long_back, long_ahead), np.minimum(long_back, long_ahead)
    cross = np.abs(back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0])
    found = inner & ((back * ahead).sum(axis=1) > 0)
    found &= cross < tolerance_m * longer
    found &= shorter > _SPIKE_LENGTHS * tolerance_m
    where = np.flatnonzero(found)
    return xy[where], where - starts[np.searchsorted(starts, where, "right") - 1], ring[where]
