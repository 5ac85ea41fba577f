"""Read layers into rows under our own column names, each layer with its CRS."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyproj
import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.errors import SurveyError
from lawnplat.settings.faults import suggest
from lawnplat.survey.crs import height_unit_m, name_of, read_crs
from lawnplat.survey.field_map import ROLES, FieldMap
from lawnplat.survey.findings import Notes, Remark, RowPlace
from lawnplat.survey.sources import LayerRef
from lawnplat.survey.types import LayerSummary
from lawnplat.survey.vector_file import Description, describe, stream

_SHAPEFILE_NAME = 10
"""A Shapefile keeps so many letters of a column's name."""
_DEGREE_LIMITS = np.array([540.0, 90.0])
"""Longitudes may run past 180 across the antimeridian."""


@dataclass(frozen=True)
class Row:
    """One row of a layer.

    ``geometry`` stands in the layer's CRS; None where it cannot be used, and ``fault`` says why.
    ``values`` holds what the row says, by our column names.
    """

    at: RowPlace
    geometry: BaseGeometry | None
    fault: str
    values: Mapping[str, Any]


@dataclass(frozen=True)
class Layer:
    """One layer read. ``height_unit_m`` is the length of its vertical unit in metres."""

    ref: LayerRef
    crs: pyproj.CRS
    columns: Mapping[str, str]
    rows: tuple[Row, ...]
    height_unit_m: float = 1.0


@dataclass(frozen=True)
class Found:
    """A layer as it describes itself, before its rows are read."""

    ref: LayerRef
    says: Description
    columns: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> LayerSummary:
        """Return the layer for a listing."""
        crs = self.says.crs_wkt
        return LayerSummary(
            role=self.ref.role,
            file=str(self.ref.path),
            name=self.ref.name,
            geometry_type=self.says.geometry_type,
            count=self.says.count,
            crs=name_of(pyproj.CRS.from_wkt(crs)) if crs else "none",
            columns=self.says.columns,
        )


def look_at(refs: Sequence[LayerRef], field_map: FieldMap) -> tuple[Found, ...]:
    """Return each layer's description and which of its columns stand for ours.

    Raises
    ------
    SurveyError
        A layer cannot be opened, or the field map names a column that no layer of the role has.
    """
    seen = [Found(ref, describe(ref.path, ref.inside)) for ref in refs]
    found = tuple(
        Found(each.ref, each.says, _columns(each, field_map)) if each.ref.role in ROLES else each
        for each in seen
    )
    _check_mapped(found, field_map)
    return found


def _columns(found: Found, field_map: FieldMap) -> dict[str, str]:
    """Return our column names to theirs, for those that the layer has."""
    columns = {}
    for ours in ROLES[found.ref.role]:
        mapped = field_map.column(ours, found.ref.role, found.ref.name)
        theirs = _match(mapped[0] if mapped else ours, found.says)
        if theirs is not None:
            columns[ours] = theirs
    return columns


def _match(wanted: str, says: Description) -> str | None:
    """Return a column by its name, letter case and a Shapefile's short names allowed for."""
    if wanted in says.columns:
        return wanted
    short = wanted[:_SHAPEFILE_NAME] if says.driver == "ESRI Shapefile" else wanted
    same = [column for column in says.columns if column.lower() in (wanted.lower(), short.lower())]
    return same[0] if len(same) == 1 else None


def _check_mapped(found: Sequence[Found], field_map: FieldMap) -> None:
    """Raise where the map names a column that none of the layers that it speaks of has."""
    for each in found:
        for ours in ROLES.get(each.ref.role, ()):
            mapped = field_map.column(ours, each.ref.role, each.ref.name)
            if mapped is None or ours in each.columns:
                continue
            theirs, key = mapped
            peers = [other for other in found if other.ref.role == each.ref.role]
            if not key.startswith(f"columns.{each.ref.name}.") and any(
                ours in other.columns for other in peers
            ):
                continue
            hint = suggest(theirs, each.says.columns, "column")
            what = f"{key} names column '{theirs}', which {each.ref} does not have"
            remedy = f"{hint}; columns: {', '.join(each.says.columns) or 'none'}"
            raise SurveyError(field_map.file, what, remedy)


def read_layer(found: Found, given_crs: str | None, notes: Notes) -> Layer:
    """Read every row of a layer.

    Parameters
    ----------
    found : Found
    given_crs : str, optional
        CRS for a layer that states none, or whose stated degrees cannot be degrees.
    notes : Notes
        Gathers what concerns the layer as a whole.

    Raises
    ------
    SurveyError
        The file is corrupt, states no CRS, or holds no points on the earth.
    """
    ref, says = found.ref, found.says
    label = str(ref)
    rows = []
    for raw in stream(ref.path, ref.inside, tuple(found.columns.values()), says):
        values = {ours: raw.values.get(theirs) for ours, theirs in found.columns.items()}
        geometry, fault = _finite(raw.geometry, raw.fault)
        rows.append(Row(RowPlace(label, raw.number), geometry, fault, values))
    crs_text = _crs_text(found, rows, given_crs, notes)
    crs = read_crs(crs_text, f"{ref.path}, layer {ref.name}")
    return Layer(
        ref=ref,
        crs=crs,
        columns=found.columns,
        rows=tuple(_off_the_earth(row) for row in rows) if crs.is_geographic else tuple(rows),
        height_unit_m=height_unit_m(crs_text),
    )


def _finite(geometry: BaseGeometry | None, fault: str) -> tuple[BaseGeometry | None, str]:
    if geometry is None or np.isfinite(shapely.get_coordinates(geometry)).all():
        return geometry, fault
    return None, "coordinates that are not finite numbers"


def _crs_text(found: Found, rows: Sequence[Row], given: str | None, notes: Notes) -> str:
    """Return the CRS that the layer states, or the one given for it."""
    stated = found.says.crs_wkt
    where = f"{found.ref.path}, layer {found.ref.name}"
    if not stated:
        if given is None:
            raise SurveyError(where, "states no CRS", "name it with --crs, as in --crs EPSG:25832")
        return given
    try:
        crs = read_crs(stated, where)
    except SurveyError:
        if given is None:
            raise
        _note_taken(f"the file states '{name_of(pyproj.CRS(stated))}'", found, given, notes)
        return given
    # A GeoJSON without a CRS of its own counts as degrees, whatever its numbers are.
    if crs.is_geographic and _mostly_off(rows):
        if given is None:
            x, y = shapely.get_coordinates(next(r.geometry for r in rows if r.geometry))[0]
            what = f"coordinates such as {x:.1f}, {y:.1f} are not degrees, as its CRS says"
            raise SurveyError(where, what, "name the CRS with --crs, as in --crs EPSG:25832")
        _note_taken("coordinates are not degrees, as the file says", found, given, notes)
        return given
    if given is not None and read_crs(given, "--crs") != crs:
        text = f"{found.ref}: --crs {given} was not used: the layer states {name_of(crs)}"
        notes.add(Remark("crs_not_used", "note", text))
    return stated


def _note_taken(why: str, found: Found, given: str, notes: Notes) -> None:
    text = f"{found.ref}: {why}; taken as {given}"
    notes.add(Remark("crs_taken_as_given", "warn", text))


def _is_off(row: Row) -> bool:
    if row.geometry is None:
        return False
    return bool((np.abs(shapely.get_coordinates(row.geometry)) > _DEGREE_LIMITS).any())


def _mostly_off(rows: Sequence[Row]) -> bool:
    usable = [row for row in rows if row.geometry is not None]
    return sum(map(_is_off, usable)) * 2 > len(usable)


def _off_the_earth(row: Row) -> Row:
    if not _is_off(row):
        return row
    return Row(row.at, None, "coordinates that are not degrees", row.values)
