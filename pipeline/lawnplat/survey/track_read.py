"""Read a measured line of any format into a plan's CRS."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pyproj
from shapely import Point

from lawnplat.errors import SurveyError
from lawnplat.settings.proving_rules import AsLaidRules
from lawnplat.survey.crs import name_of, read_crs, reproject, shift_accuracy_m
from lawnplat.survey.track import Track, TrackLine, TrackMark
from lawnplat.survey.track_columns import RawPoint
from lawnplat.survey.track_table import read_table
from lawnplat.survey.track_vector import RawLine, read_vector
from lawnplat.survey.types import Finding

_TABLES = (".csv", ".txt", ".tsv")
_POSITIONS = (".gpx",)
"""Recorders' files, which say nothing of how good their positions are."""


def read_track(
    path: Path,
    crs: str,
    rules: AsLaidRules,
    *,
    track_crs: str | None = None,
    accuracy_m: float | None = None,
) -> Track:
    """Read a measured line.

    Parameters
    ----------
    path : pathlib.Path
        CSV (``.csv``, ``.tsv``, ``.txt``), GPX, DXF, GeoPackage, GeoJSON, Shapefile, FlatGeobuf.
    crs : str
        The plan's, metres; the track comes in it.
    rules : AsLaidRules
        The accuracy where neither the caller nor the file states one.
    track_crs : str, optional
        The CRS of a file that names none.
    accuracy_m : float, optional
        Standard deviation of each point in each of two axes, where a point states none itself.

    Returns
    -------
    Track

    Raises
    ------
    SurveyError
        The file cannot be read, holds no line, names no CRS, or is a recorder's and nobody states
        how accurate it is.
    """
    if not path.is_file():
        raise SurveyError(str(path), "there is no such file", "name the file with the track")
    if path.suffix.lower() in _TABLES:
        named, points = read_table(path)
        raw = [RawLine(part, drawn=False, where=path.name) for part in _by_wire(points)]
    else:
        named, raw = read_vector(path)
    lines = [line for line in raw if sum(point.on_wire for point in line.points) > 1]
    if not lines:
        remedy = "a track is a line, or two points of a wire at least"
        raise SurveyError(str(path), "holds no measured line", remedy)
    if accuracy_m is None and path.suffix.lower() in _POSITIONS:
        remedy = "give the standard deviation of its points in metres with --accuracy"
        raise SurveyError(str(path), "does not say how accurate it is", remedy)
    source = _system(path, named, track_crs)
    sigma_m = rules.accuracy_m if accuracy_m is None else accuracy_m
    return Track(
        crs=crs,
        lines=tuple(_line(line, source, crs, sigma_m, path) for line in lines),
        marks=tuple(mark for line in raw for mark in _marks(line.points, source, crs, sigma_m)),
        findings=_shift(source, crs, lines[0].points[0], rules),
    )


def _by_wire(points: Sequence[RawPoint]) -> list[tuple[RawPoint, ...]]:
    parts: dict[str, list[RawPoint]] = {}
    for point in points:
        parts.setdefault(point.wire, []).append(point)
    return [tuple(part) for part in parts.values()]


def _system(path: Path, named: str, given: str | None) -> pyproj.CRS:
    if not (named or given):
        remedy = "name it with --track-crs, such as EPSG:25832"
        raise SurveyError(str(path), "names no CRS", remedy)
    return read_crs(named or given or "", str(path) if named else "--track-crs")


def _moved(
    points: Sequence[RawPoint], source: pyproj.CRS, crs: str
) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    moved = reproject([Point(point.x, point.y) for point in points], source, crs)
    return np.array([(point.x, point.y) for point in moved], dtype=float).reshape(-1, 2)


def _line(line: RawLine, source: pyproj.CRS, crs: str, sigma_m: float, path: Path) -> TrackLine:
    points = [point for point in line.points if point.on_wire]
    xy = _moved(points, source, crs)
    if not np.isfinite(xy).all():
        what = f"a coordinate does not lie where its CRS {name_of(source)} holds"
        where = line.where.replace(path.name, str(path), 1)
        raise SurveyError(where, what, "is it the right CRS, x before y?")
    stated = np.array([point.accuracy_m for point in points])
    return TrackLine(
        name=points[0].wire,
        xy=xy,
        accuracy_m=np.where(np.isfinite(stated), stated, sigma_m),
        times=tuple(point.time for point in points),
        drawn=line.drawn,
        where=line.where,
    )


def _marks(
    points: Sequence[RawPoint], source: pyproj.CRS, crs: str, sigma_m: float
) -> list[TrackMark]:
    marks = [point for point in points if point.mark]
    return [
        TrackMark(each.mark, each.name, Point(xy), _or(each.accuracy_m, sigma_m))
        for each, xy in zip(marks, _moved(marks, source, crs), strict=True)
    ]


def _or(stated: float, otherwise: float) -> float:
    return stated if math.isfinite(stated) else otherwise


def _shift(
    source: pyproj.CRS, crs: str, first: RawPoint, rules: AsLaidRules
) -> tuple[Finding, ...]:
    """Return a finding where bringing the track into the plan's CRS may move it too far."""
    off_m = shift_accuracy_m(source, crs, np.array([first.x, first.y]))
    if off_m is not None and off_m <= rules.stray_m:
        return ()
    told = "by an amount that nobody states" if off_m is None else f"by up to {off_m:g} m"
    text = (
        f"the track is in {name_of(source)}, which has another datum than the plan: all of it may "
        f"be off {told}; measure fixed points of the plan too"
    )
    return (Finding("track_datum", "warn", text, measured=off_m, limit=rules.stray_m),)
