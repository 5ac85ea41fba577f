"""From rows of parcels to properties: identity, CRS, repair, doubles and overlaps."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pyproj
import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import polygons
from lawnplat.settings.types import GroundRules
from lawnplat.survey import crs as crs_room
from lawnplat.survey.findings import Notes, Remark, RowPlace
from lawnplat.survey.repair import repair_area, sound
from lawnplat.survey.rows import Layer, Row
from lawnplat.survey.types import Area, FloatArray, Refusal


@dataclass(frozen=True)
class Parcel:
    """One property with its boundary, in a metric CRS.

    ``stated_id`` is the id as the file gives it, which several parcels may share.
    """

    property_id: str
    stated_id: str
    label: str
    machine_class: str | None
    crs: str
    area: Area
    at: RowPlace
    notes: Notes = field(compare=False)


@dataclass(frozen=True)
class _Drawn:
    """A row of parcels on its way; ``area`` is None as long as there is none that can be used."""

    order: int
    row: Row
    source: int
    stated_id: str
    notes: Notes = field(compare=False)
    property_id: str = ""
    crs: str = ""
    area: Area | None = None


def as_id(value: Any) -> str:
    """Return an id as text of one line, whatever the column's type.

    12 and 12.0 are ``12``; none is empty.
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return as_text(value)


def as_text(value: Any) -> str:
    """Return text of one line that can be printed anywhere; empty for none."""
    if value is None:
        return ""
    text = str(value)
    if not text.isprintable():
        text = "".join(letter if letter.isprintable() else " " for letter in text)
    return " ".join(text.split())


def parcels_of(
    layers: Sequence[Layer], rules: GroundRules, notes: Notes
) -> tuple[list[Parcel], list[Refusal]]:
    """Return the properties of the layers of parcels, and those that cannot be used.

    Rows that share an id are one property where they are equal or meet along an edge; otherwise the
    later ones get ``-2``, ``-3``. A row without an id is called ``row-`` and its number.

    Parameters
    ----------
    layers : sequence of Layer
    rules : GroundRules
    notes : Notes
        Gathers what concerns the files as a whole.
    """
    rows = [(source, row) for source, layer in enumerate(layers) for row in layer.rows]
    drawn = [
        _Drawn(order, row, source, as_id(row.values.get("property_id")), Notes())
        for order, (source, row) in enumerate(rows)
    ]
    usable, faulty = _placed(drawn, [layer.crs for layer in layers])
    usable = _joined(_repaired(usable, rules), rules.sliver_m2, notes)
    parcels, refusals = [], []
    for each in _with_ids(sorted([*usable, *faulty], key=lambda one: one.order), notes):
        if each.area is None or each.area.area < rules.smallest_parcel_m2:
            refusals.append(_refused(each, rules))
        else:
            parcels.append(_parcel(each, each.area))
    _note_overlaps(parcels, rules.sliver_m2)
    return parcels, refusals


def _stop(each: _Drawn, rule: str, text: str) -> None:
    each.notes.add(Remark(rule, "stop", text), each.row.at)


def _placed(
    drawn: Sequence[_Drawn], crss: Sequence[pyproj.CRS]
) -> tuple[list[_Drawn], list[_Drawn]]:
    """Bring the polygons into metric CRSs; return also the rows that have none."""
    polygonal = [each for each in drawn if _has_polygon(each)]
    points = _lonlat(polygonal, crss)
    on_earth = np.asarray(np.isfinite(points).all(axis=(1, 2)))
    good = [each for each, fine in zip(polygonal, on_earth, strict=True) if fine]
    chosen = crs_room.choose(crss, [each.source for each in good], points[on_earth])
    with_crs = [replace(each, crs=crs) for each, crs in zip(good, chosen, strict=True)]
    moved = _reprojected(with_crs, crss)
    placed = {each.order: each for each in moved}
    for each in polygonal:
        if each.order not in placed:
            _stop(each, "bad_coordinates", "the parcel's coordinates lie outside its CRS")
    return list(placed.values()), [each for each in drawn if each.order not in placed]


def _has_polygon(each: _Drawn) -> bool:
    if each.row.geometry is None:
        _stop(each, "bad_geometry", f"the parcel has {each.row.fault}")
    elif not polygons(each.row.geometry):
        kind = each.row.geometry.geom_type
        _stop(each, "not_a_polygon", f"the parcel is a {kind}, expected a polygon")
    else:
        return True
    return False


def _lonlat(drawn: Sequence[_Drawn], crss: Sequence[pyproj.CRS]) -> FloatArray:
    """Return extreme points of each parcel in degrees, shape (n, 4, 2)."""
    points = crs_room.site_points(each.row.geometry for each in drawn if each.row.geometry)
    for source, crs in enumerate(crss):
        rows = [i for i, each in enumerate(drawn) if each.source == source]
        points[rows] = crs_room.to_degrees(crs, points[rows])
    return points


def _reprojected(drawn: Sequence[_Drawn], crss: Sequence[pyproj.CRS]) -> list[_Drawn]:
    """Return the parcels in their chosen CRS, those left out that it cannot hold."""
    moved = []
    for source, target in dict.fromkeys((each.source, each.crs) for each in drawn):
        group = [each for each in drawn if (each.source, each.crs) == (source, target)]
        drawn_as = [each.row.geometry for each in group if each.row.geometry]
        found = crs_room.reproject(drawn_as, crss[source], target)
        finite = np.asarray(np.isfinite(shapely.bounds(found)).all(axis=1))
        for each, geometry, fine in zip(group, found, finite, strict=True):
            if fine:
                moved.append(replace(each, row=replace(each.row, geometry=geometry)))
    return moved


def _repaired(drawn: Sequence[_Drawn], rules: GroundRules) -> list[_Drawn]:
    shapes = np.array([each.row.geometry for each in drawn], dtype=object)
    fine = sound(shapes, rules.shape_tolerance_m)
    fine &= shapely.get_num_interior_rings(shapes) == 0
    result = []
    for each, geometry, good in zip(drawn, shapes, fine, strict=True):
        area: Area | None = geometry
        remarks: tuple[Remark, ...] = ()
        if not good:
            area, remarks = repair_area(
                geometry,
                sliver_m2=rules.sliver_m2,
                tolerance_m=rules.shape_tolerance_m,
                fill_holes=True,
            )
        for remark in remarks:
            each.notes.add(remark, each.row.at)
        if area is None:
            _stop(each, "no_area", "the parcel's outline encloses no area")
        result.append(replace(each, area=area))
    return result


def _joined(drawn: Sequence[_Drawn], sliver_m2: float, notes: Notes) -> list[_Drawn]:
    """Make one property of rows that share an id and are equal or meet along an edge."""
    result: list[_Drawn] = []
    by_id: dict[tuple[str, str], list[int]] = {}
    for each in drawn:
        key = (each.stated_id, each.crs)
        for index in by_id.get(key, []) if each.stated_id else []:
            joined = _joined_pair(result[index], each, sliver_m2, notes)
            if joined is not None:
                result[index] = joined
                break
        else:
            by_id.setdefault(key, []).append(len(result))
            result.append(each)
    return result


def _joined_pair(first: _Drawn, second: _Drawn, sliver_m2: float, notes: Notes) -> _Drawn | None:
    """Return one parcel of two with the same id, or None where they are not one property."""
    if first.area is None or second.area is None:
        return None
    if shapely.equals(first.area, second.area):
        text = "a parcel stands twice, same id and same outline: the second row was left out"
        notes.add(Remark("parcel_twice", "warn", text), second.row.at)
        return first
    if shapely.intersection(first.area, second.area).area > sliver_m2:
        return None
    whole = shapely.union_all([first.area, second.area])
    if len(polygons(whole)) != len(polygons(first.area)) + len(polygons(second.area)) - 1:
        return None
    text = "drawn in several rows that meet along an edge: taken as one property"
    first.notes.add(Remark("parcel_in_parts", "note", text), second.row.at)
    for finding in second.notes.remarks():
        first.notes.add(*finding)
    parts = polygons(whole)
    return replace(first, area=parts[0] if len(parts) == 1 else MultiPolygon(parts))


def _with_ids(drawn: Iterable[_Drawn], notes: Notes) -> list[_Drawn]:
    """Give every parcel an id of its own, in the order of the files."""
    every = list(drawn)
    stated = {each.stated_id for each in every}
    taken: set[str] = set()
    result = []
    for each in every:
        wanted = each.stated_id or f"row-{each.row.at.row}"
        property_id = wanted
        number = 2
        while property_id in taken or (property_id != each.stated_id and property_id in stated):
            property_id = f"{wanted}-{number}"
            number += 1
        taken.add(property_id)
        _note_id(each, property_id, notes)
        result.append(replace(each, property_id=property_id))
    return result


def _note_id(each: _Drawn, property_id: str, notes: Notes) -> None:
    if not each.stated_id:
        text = "no property_id: called row- and the row's number, as in row-12"
        remark = Remark("id_missing", "warn", text)
    elif property_id != each.stated_id:
        text = f"property_id {each.stated_id} stands again on other ground: called {property_id}"
        remark = Remark("id_repeated", "warn", text)
    else:
        return
    each.notes.add(remark, each.row.at)
    notes.add(remark, each.row.at)


def _refused(each: _Drawn, rules: GroundRules) -> Refusal:
    if each.area is not None:
        limit = rules.smallest_parcel_m2
        text = f"the parcel measures {each.area.area:.2f} m2, under the smallest of {limit:g} m2"
        place = each.area.representative_point()
        small = Remark("parcel_too_small", "stop", text, place, each.area.area, limit)
        each.notes.add(small, each.row.at)
    return Refusal(
        property_id=each.property_id,
        label=as_text(each.row.values.get("label")),
        findings=each.notes.findings(),
        outline=each.area,
        crs=each.crs or None,
    )


def _parcel(each: _Drawn, area: Area) -> Parcel:
    return Parcel(
        property_id=each.property_id,
        stated_id=each.stated_id,
        label=as_text(each.row.values.get("label")),
        machine_class=as_text(each.row.values.get("machine_class")) or None,
        crs=each.crs,
        area=area,
        at=each.row.at,
        notes=each.notes,
    )


def _note_overlaps(parcels: Sequence[Parcel], sliver_m2: float) -> None:
    """Note on each parcel which others lie over it, and where most of that is."""
    for crs in dict.fromkeys(parcel.crs for parcel in parcels):
        group = [parcel for parcel in parcels if parcel.crs == crs]
        areas = np.array([parcel.area for parcel in group], dtype=object)
        one, two = shapely.STRtree(areas).query(areas, predicate="intersects")
        one, two = one[one < two], two[one < two]
        shared = shapely.intersection(areas[one], areas[two])
        over: dict[int, list[tuple[Parcel, BaseGeometry]]] = {}
        for i, j, both in zip(one.tolist(), two.tolist(), shared, strict=True):
            if both.area > sliver_m2:
                over.setdefault(i, []).append((group[j], both))
                over.setdefault(j, []).append((group[i], both))
        for index, found in over.items():
            _note_overlap(group[index], found, sliver_m2)


def _note_overlap(parcel: Parcel, over: list[tuple[Parcel, BaseGeometry]], limit: float) -> None:
    other, most = max(over, key=lambda pair: pair[1].area)
    more = f" and {len(over) - 1} more" if len(over) > 1 else ""
    text = f"lies over property {other.property_id}{more}: settle the boundary before any wire"
    place = most.representative_point()
    parcel.notes.add(Remark("parcels_overlap", "warn", text, place, most.area, limit), parcel.at)
