"""From rows of features to surveyed things: kind, measures and footprint."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import shapely
from shapely import LineString, MultiLineString, MultiPoint, Point
from shapely.geometry.base import BaseGeometry

from lawnplat.errors import SurveyError
from lawnplat.geometry import QUARTER_SEGMENTS
from lawnplat.settings.faults import suggest
from lawnplat.settings.limits import Limit
from lawnplat.settings.types import GroundRules, RuleBook
from lawnplat.survey.field_map import FieldMap
from lawnplat.survey.findings import Notes, Remark, RowPlace
from lawnplat.survey.parcels import as_id, as_text
from lawnplat.survey.repair import repair_area
from lawnplat.survey.rows import Layer, Row
from lawnplat.survey.types import Feature

UNKNOWN_AS = "no_mow"
"""What a feature of unknown kind is taken for: the machine stays off it, whatever it is."""

_MEASURES: Mapping[str, Limit] = MappingProxyType(
    {
        "height_m": Limit(0.0, 200.0),
        "radius_m": Limit(0.0, 20.0),
        "width_m": Limit(0.0, 20.0),
        "setback_m": Limit(0.0, 20.0),
    }
)
"""Bounds wide enough for any garden, narrow enough that millimetres given for metres are caught."""


@dataclass(frozen=True)
class Thing:
    """One row of features, understood. ``geometry`` is as drawn, in the layer's CRS."""

    at: RowPlace
    geometry: BaseGeometry
    stated_id: str
    kind: str
    measures: Mapping[str, float | None]
    note: str
    remarks: tuple[Remark, ...]


def things_of(
    layer: Layer, rules: RuleBook, field_map: FieldMap, notes: Notes
) -> tuple[Thing, ...]:
    """Return the features of a layer; rows that are left out are noted.

    Raises
    ------
    SurveyError
        The layer has no column of kinds and the field map gives none.
    """
    if "kind" not in layer.columns and field_map.default_kind(layer.ref.name) is None:
        columns = ", ".join(layer.columns) or "none that is known"
        what = f"there is no column 'kind'; columns read: {columns}"
        remedy = "say with --map which column holds the kind, or give [kinds] a default"
        raise SurveyError(f"{layer.ref.path}, layer {layer.ref.name}", what, remedy)
    found = []
    for row in layer.rows:
        if as_text(row.values.get("kind")) in field_map.kind_ignore:
            text = "left out, as the field map says"
            notes.add(Remark("ignored_kind", "note", text), row.at)
        elif row.geometry is None:
            text = f"a feature has {row.fault}: left out"
            notes.add(Remark("bad_geometry", "warn", text), row.at)
        else:
            found.append(_thing(row, row.geometry, layer, rules, field_map))
    return _once(found, notes)


def _thing(
    row: Row, geometry: BaseGeometry, layer: Layer, rules: RuleBook, field_map: FieldMap
) -> Thing:
    kind, remark = _kind(as_text(row.values.get("kind")), layer.ref.name, rules, field_map)
    remarks = [remark] if remark else []
    measures = {}
    for name in _MEASURES:
        measures[name], remark = _measure(name, row.values.get(name))
        remarks += [remark] if remark else []
    return Thing(
        at=row.at,
        geometry=geometry,
        stated_id=as_id(row.values.get("property_id")),
        kind=kind,
        measures=measures,
        note=as_text(row.values.get("note")),
        remarks=tuple(remarks),
    )


def _kind(
    stated: str, layer: str, rules: RuleBook, field_map: FieldMap
) -> tuple[str, Remark | None]:
    """Return our kind for what a row states, and a remark where it had to be assumed."""
    if stated in field_map.kind_values:
        return field_map.kind_values[stated], None
    if stated in rules.kinds:
        return stated, None
    default = field_map.default_kind(layer)
    if default is not None:
        return default, None
    setback = rules.kinds[UNKNOWN_AS].setback_m
    taken = f"taken as {UNKNOWN_AS}, so the machine stays {setback:g} m off it"
    if not stated:
        return UNKNOWN_AS, Remark("kind_missing", "warn", f"a feature has no kind: {taken}")
    hint = suggest(stated, rules.kinds, "kind")
    text = f"unknown kind '{stated}' ({hint}): {taken}"
    return UNKNOWN_AS, Remark("unknown_kind", "warn", text)


def _measure(name: str, raw: Any) -> tuple[float | None, Remark | None]:
    """Return a measure in metres, and a remark where what is written cannot be one."""
    if raw is None or (isinstance(raw, str) and not raw.strip()):
        return None, None
    try:
        value = float(raw)
    except (TypeError, ValueError):
        value = math.nan
    limit = _MEASURES[name]
    if math.isfinite(value) and limit.holds(value):
        return value, None
    instead = "the rule book's holds" if name == "setback_m" else "not used"
    expected = limit.words()
    text = f"{name} '{as_text(raw)}' cannot be used (expected {expected}): {instead}"
    return None, Remark("bad_value", "warn", text)


def _once(things: Sequence[Thing], notes: Notes) -> tuple[Thing, ...]:
    """Leave out features that stand twice: equal in shape and in all that is said of them."""
    shapes = shapely.to_wkb(shapely.normalize(np.array([t.geometry for t in things], dtype=object)))
    seen: set[tuple[object, ...]] = set()
    kept = []
    for thing, shape in zip(things, shapes, strict=True):
        key = (shape, thing.kind, thing.stated_id, *thing.measures.values())
        if key in seen:
            text = "a feature stands twice: the second row was left out"
            notes.add(Remark("feature_twice", "note", text), thing.at)
        else:
            seen.add(key)
            kept.append(thing)
    return tuple(kept)


def footprints(
    thing: Thing, geometry: BaseGeometry, rules: GroundRules, *, is_sound: bool = False
) -> tuple[tuple[Feature, ...], tuple[Remark, ...]]:
    """Return a thing as features, one for each dimension that its geometry mixes.

    Parameters
    ----------
    thing : Thing
    geometry : geometry
        The thing's, in a metric CRS.
    rules : GroundRules
    is_sound : bool
        Whether the geometry is a polygon that is known to need no repair.

    Returns
    -------
    features : tuple of Feature
        Empty where nothing is left.
    remarks : tuple of Remark
    """
    if is_sound and geometry.area >= rules.sliver_m2:
        return (_feature(thing, geometry),), ()
    parts = _parts(shapely.force_2d(geometry))
    points = [part for part in parts if isinstance(part, Point)]
    lines = [part for part in parts if isinstance(part, LineString) and part.length > 0]
    points += [Point(p.coords[0]) for p in parts if isinstance(p, LineString) and p.length == 0]
    shapes: list[BaseGeometry] = []
    remarks: tuple[Remark, ...] = ()
    if len(points) + len(lines) < len(parts):
        area, remarks = _area(geometry, rules)
        shapes += [area] if area is not None else []
    if lines:
        shapes.append(_widened_lines(lines, thing.measures["width_m"]))
    if points:
        shapes.append(_widened_points(points, thing.measures["radius_m"]))
    return tuple(_feature(thing, shape) for shape in shapes), remarks


def _parts(geometry: BaseGeometry) -> list[BaseGeometry]:
    parts = [geometry]
    while any(hasattr(part, "geoms") for part in parts):
        parts = list(shapely.get_parts(np.array(parts, dtype=object)))
    return [part for part in parts if not part.is_empty]


def _area(
    geometry: BaseGeometry, rules: GroundRules
) -> tuple[BaseGeometry | None, tuple[Remark, ...]]:
    """Return the repaired polygons; a feature so thin that it has no width is left out."""
    polygonal = [part for part in _parts(geometry) if part.geom_type == "Polygon"]
    tolerance = rules.shape_tolerance_m
    area, remarks = repair_area(
        shapely.GeometryCollection(polygonal), sliver_m2=rules.sliver_m2, tolerance_m=tolerance
    )
    width = 0.0 if area is None else 2 * area.area / area.length
    if area is not None and (area.area >= rules.sliver_m2 or width >= tolerance):
        return area, remarks
    text = f"a feature narrower than {tolerance:g} m and under {rules.sliver_m2:g} m2 was left out"
    place = polygonal[0].centroid
    return None, (*remarks, Remark("sliver", "warn", text, place, width, tolerance))


def _widened_lines(lines: Sequence[LineString], width_m: float | None) -> BaseGeometry:
    whole: BaseGeometry = lines[0] if len(lines) == 1 else MultiLineString(lines)
    if not width_m:
        return whole
    return shapely.buffer(whole, width_m / 2, cap_style="flat", join_style="mitre")


def _widened_points(points: Sequence[Point], radius_m: float | None) -> BaseGeometry:
    whole: BaseGeometry = points[0] if len(points) == 1 else MultiPoint(points)
    return shapely.buffer(whole, radius_m, quad_segs=QUARTER_SEGMENTS) if radius_m else whole


def _feature(thing: Thing, geometry: BaseGeometry) -> Feature:
    return Feature(
        kind=thing.kind,
        geometry=geometry,
        source=str(thing.at),
        height_m=thing.measures["height_m"],
        setback_m=thing.measures["setback_m"],
        note=thing.note,
    )


def add_all(notes: Iterable[Notes], remarks: Iterable[Remark], at: RowPlace) -> None:
    """Note each remark in each of several collections."""
    every = list(remarks)
    for each in notes:
        for remark in every:
            each.add(remark, at)
