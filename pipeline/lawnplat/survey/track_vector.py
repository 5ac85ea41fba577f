"""A measured line from a vector file: GeoPackage, GeoJSON, Shapefile, DXF or GPX."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import shapely

from lawnplat.errors import SurveyError
from lawnplat.survey.track_columns import (
    ACCURACY,
    NAME,
    WIRE,
    RawPoint,
    accuracy,
    column,
    raw_point,
)
from lawnplat.survey.vector_file import RawRow, describe, layer_names, stream

_TABLES = ("layer_styles",)
_GPX_POINTS = {"track_points": "tracks", "route_points": "routes"}
"""Layers of points in the order of the file, and those that hold the names of their lines."""
_POINTS, _LINES = ("Point", "MultiPoint"), ("LineString", "MultiLineString", "LinearRing")


@dataclass(frozen=True)
class RawLine:
    """A line as a file gives it: points of one wire in order, and whether it is drawn."""

    points: tuple[RawPoint, ...]
    drawn: bool
    where: str


def read_vector(path: Path) -> tuple[str, list[RawLine]]:
    """Return the CRS that a file names (WKT, empty for none) and its lines.

    The points of a layer make one line for each wire that a column names. Areas and texts are
    passed over.

    Raises
    ------
    SurveyError
        It cannot be read, or its layers differ in CRS.
    """
    if not path.is_file():
        raise SurveyError(str(path), "there is no such file", "name the file with the track")
    names = [name for name in layer_names(path) if name not in _TABLES]
    if path.suffix.lower() == ".gpx":
        return "OGC:CRS84", list(_gpx(path, names))
    if path.suffix.lower() == ".dxf":
        return "", [line for name in names for line in _drawing(path, name)]
    says = {name: describe(path, name) for name in names}
    systems = {each.crs_wkt for each in says.values() if each.geometry_type != "None"}
    if len(systems) > 1:
        raise SurveyError(str(path), "its layers are in different CRSs", "give one layer a file")
    lines = [line for name in names for line in _layer(path, name)]
    return (systems.pop() if systems else ""), lines


def _rows(path: Path, layer: str) -> Iterator[RawRow]:
    says = describe(path, layer)
    for row in stream(path, layer, says.columns, says):
        if row.geometry is not None:
            yield row


def _layer(path: Path, layer: str) -> Iterator[RawLine]:
    loose: dict[str, list[RawPoint]] = {}
    for row in _rows(path, layer):
        where = f"{path.name}, layer {layer}, row {row.number}"
        shape = row.geometry
        if shape is None:
            continue
        if shape.geom_type in _POINTS:
            for x, y in shapely.get_coordinates(shape):
                point = _checked(float(x), float(y), row.values, where)
                loose.setdefault(point.wire, []).append(point)
        elif shape.geom_type in _LINES:
            for part in shapely.get_parts(shape):
                yield _line(part, row.values, where)
    for points in loose.values():
        yield RawLine(tuple(points), drawn=False, where=f"{path.name}, layer {layer}")


def _line(shape: shapely.LineString, values: Mapping[str, Any], where: str) -> RawLine:
    wire, name, stated = (column(values, known) for known in (WIRE, NAME, ACCURACY))
    called = str(values[wire] if wire and values[wire] else values[name] if name else "") or ""
    try:
        sigma_m = accuracy(str(values[stated])) if stated and values[stated] is not None else None
    except ValueError as error:
        raise SurveyError(where, str(error), "correct it or give --accuracy") from error
    points = (
        RawPoint(float(x), float(y), wire=called)
        if sigma_m is None
        else RawPoint(float(x), float(y), wire=called, accuracy_m=sigma_m)
        for x, y in shapely.get_coordinates(shape)
    )
    return RawLine(tuple(points), drawn=True, where=where)


def _checked(x: float, y: float, values: Mapping[str, Any], where: str) -> RawPoint:
    try:
        return raw_point(x, y, values)
    except ValueError as error:
        raise SurveyError(where, str(error), "correct it or take the row out") from error


def _drawing(path: Path, layer: str) -> Iterator[RawLine]:
    """Yield the lines of a drawing, one for each chain of entities on one of its layers."""
    lines: dict[str, list[shapely.LineString]] = {}
    points: dict[str, list[RawPoint]] = {}
    for row in _rows(path, layer):
        shape, on = row.geometry, str(row.values.get("Layer") or "")
        if shape is None:
            continue
        if shape.geom_type in _LINES:
            lines.setdefault(on, []).extend(shapely.get_parts(shapely.force_2d(shape)))
        elif shape.geom_type == "Point" and not row.values.get("Text"):
            x, y = shapely.get_coordinates(shape)[0]
            points.setdefault(on, []).append(RawPoint(float(x), float(y), wire=on, what=on))
    for on, parts in lines.items():
        # A line is often drawn in single strokes, in any order and direction.
        chained = shapely.line_merge(shapely.MultiLineString(parts)) if len(parts) > 1 else parts[0]
        for part in shapely.get_parts(chained):
            yield _line(part, {"on": on}, f"{path.name}, layer {on}")
    for on, found in points.items():
        yield RawLine(tuple(found), drawn=False, where=f"{path.name}, layer {on}")


def _gpx(path: Path, names: list[str]) -> Iterator[RawLine]:
    """Yield a line for each segment of a track and each route, and the waypoints that say what."""
    for layer, above in _GPX_POINTS.items():
        if layer not in names:
            continue
        called = [str(row.values.get("name") or "") for row in _rows(path, above)]
        kind = above.removesuffix("s")
        parts: dict[tuple[int, int], list[RawPoint]] = {}
        for row in _rows(path, layer):
            place = (int(row.values[f"{kind}_fid"]), int(row.values.get("track_seg_id") or 0))
            wire = called[place[0]] if place[0] < len(called) else ""
            x, y = shapely.get_coordinates(row.geometry)[0]
            time = row.values.get("time")
            point = RawPoint(float(x), float(y), wire=wire, time="" if time is None else str(time))
            parts.setdefault(place, []).append(point)
        for (number, segment), points in parts.items():
            where = f"{path.name}, {kind} {number + 1}, segment {segment + 1}"
            yield RawLine(tuple(points), drawn=False, where=where)
    if "waypoints" in names:
        marks = tuple(point for point in map(_waypoint, _rows(path, "waypoints")) if point.mark)
        if marks:
            yield RawLine(marks, drawn=False, where=f"{path.name}, waypoints")


def _waypoint(row: RawRow) -> RawPoint:
    x, y = shapely.get_coordinates(row.geometry)[0]
    return raw_point(float(x), float(y), row.values)
