"""From a `Plan` to the rows of its layers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType
from typing import cast

import numpy as np
import shapely
from shapely import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.contract import LAYERS, MADE_BY, Layer
from lawnplat.deliver.quote_rows import QUOTE_ROWS
from lawnplat.deliver.simulation_rows import SIMULATION_ROWS
from lawnplat.deliver.values import Value, as_column, known
from lawnplat.ground.types import Ground
from lawnplat.planned import Plan
from lawnplat.survey.types import Area, Finding
from lawnplat.wire.types import Layout, StationOption
from lawnplat.works.types import Mark, Works

_MULTI = ("MultiPoint", "MultiLineString", "MultiPolygon")
"""By the dimension of the parts."""


@dataclass(frozen=True)
class Row:
    """One row: ``values`` in the order of the layer's columns, `PROPERTY_ID` first.

    A number that is not known (NaN) or has no end (infinite) is None.
    """

    geometry: BaseGeometry | None
    values: tuple[Value, ...]


def plan_rows(plan: Plan) -> Mapping[str, tuple[Row, ...]]:
    """Return the rows of every layer of a plan, in the contract's order.

    Parameters
    ----------
    plan : Plan
        A plan, complete or as far as it came; layers of rooms that it did not reach are empty.

    Returns
    -------
    mapping of str to tuple of Row
        Every layer of `lawnplat.deliver.contract.LAYERS`; geometry in the site's CRS.
    """
    return MappingProxyType({layer.name: layer_rows(plan, layer) for layer in LAYERS})


def layer_rows(plan: Plan, layer: Layer) -> tuple[Row, ...]:
    """Return the rows of one layer of a plan; rows with empty geometry are left out."""
    rows: list[Row] = []
    for geometry, *values in _rows_of(plan, layer.name):
        if layer.geometry != "None" and (geometry is None or geometry.is_empty):
            continue
        whole = (plan.site.property_id, *values)
        cells = tuple(
            as_column(known(value), column.type)
            for value, column in zip(whole, layer.all_columns, strict=True)
        )
        rows.append(Row(as_type(geometry, layer.geometry), cells))
    return tuple(rows)


def as_type(geometry: BaseGeometry | None, geometry_type: str) -> BaseGeometry | None:
    """Return a geometry as a layer holds it.

    Single parts become multi-parts where the layer holds those; outer rings run counter-clockwise
    and holes clockwise, as simple features ask.
    """
    if geometry is None:
        return None
    oriented: BaseGeometry = shapely.orient_polygons(geometry)
    if geometry_type not in _MULTI or oriented.geom_type == geometry_type:
        return oriented
    return gathered([oriented], _MULTI.index(geometry_type))


def parts_of(geometry: BaseGeometry, dimension: int) -> list[BaseGeometry]:
    """Return the single parts that are points (0), lines (1) or polygons (2)."""
    parts = shapely.get_parts(shapely.get_parts(geometry))
    return [each for each in parts.tolist() if shapely.get_dimensions(each) == dimension]


def gathered(parts: list[BaseGeometry], dimension: int) -> BaseGeometry:
    """Return single parts of one dimension as one multi-part geometry."""
    gather = (shapely.multipoints, shapely.multilinestrings, shapely.multipolygons)[dimension]
    return cast("BaseGeometry", gather(np.array(parts, dtype=object)))


def pieces(area: Area) -> tuple[Polygon, ...]:
    """Return the polygons of an area."""
    return tuple(area.geoms) if isinstance(area, MultiPolygon) else (area,)


_Raw = tuple[BaseGeometry | None, *tuple[Value, ...]]


def _rows_of(plan: Plan, name: str) -> Iterable[_Raw]:
    """Yield (geometry, value, ...) of one layer from the room that fills it."""
    if name in _OF_PLAN:
        return _OF_PLAN[name](plan)
    if name in _OF_GROUND and plan.ground is not None:
        return _OF_GROUND[name](plan.ground)
    if name in _OF_LAYOUT:
        rows_of = _OF_LAYOUT[name]
        return ((*row, layout.loop) for layout in plan.layouts for row in rows_of(layout))
    if name in SIMULATION_ROWS and plan.simulation is not None:
        return SIMULATION_ROWS[name](plan.simulation)
    if name in _OF_WORKS and plan.works is not None:
        return _OF_WORKS[name](plan.works)
    return ()


def _parcel(plan: Plan) -> Iterator[_Raw]:
    for piece in pieces(plan.site.parcel):
        yield piece, plan.site.label, piece.area


def _features(plan: Plan, dimension: int) -> Iterator[_Raw]:
    """Yield the parts of every surveyed thing that have this dimension."""
    for each in plan.site.features:
        parts = parts_of(each.geometry, dimension)
        if parts:
            about = (each.kind, each.height_m, each.setback_m, each.source, each.note)
            yield gathered(parts, dimension), *about


def _advisories(plan: Plan) -> Iterator[_Raw]:
    for finding in plan.findings:
        yield _place(plan, finding), *_advisory_values(finding)


def _place(plan: Plan, finding: Finding) -> Point:
    """Return where the finding belongs, else a point well inside the parcel."""
    if finding.place is not None and not finding.place.is_empty:
        return finding.place
    return plan.site.parcel.representative_point()


def _advisory_values(each: Finding) -> tuple[Value, ...]:
    return (
        each.rule,
        each.severity,
        each.text,
        each.measured,
        each.limit,
        each.count,
        each.where,
    )


def _run_info(plan: Plan) -> Iterator[_Raw]:
    yield None, *MADE_BY
    for key, value in plan.run_info:
        yield None, key, value


def _lawn(ground: Ground) -> Iterator[_Raw]:
    yield ground.lawn, ground.lawn.area


def _slope_zones(ground: Ground) -> Iterator[_Raw]:
    for zone in ground.zones:
        yield zone.area, zone.zone, zone.from_pct, zone.to_pct, zone.area.area


def _keep_out(ground: Ground) -> Iterator[_Raw]:
    for each in ground.keep_outs:
        yield each.area, each.kind, each.setback_m, each.area.area


def _mowable(ground: Ground) -> Iterator[_Raw]:
    for part in ground.parts:
        yield part.area, part.number, part.role, part.area.area, part.loop


def _hand_trim(ground: Ground) -> Iterator[_Raw]:
    for each in ground.hand_trim:
        yield each.area, each.against, each.area.area


def _passages(ground: Ground) -> Iterator[_Raw]:
    for each in ground.passages:
        yield each.area, each.width_m, each.length_m, each.verdict


def _station(layout: Layout) -> Iterator[_Raw]:
    each = layout.station
    ways = (each.outlet_distance_m, each.mean_return_m)
    yield each.point, each.bearing_deg, each.tilt_pct, *ways, each.upslope_m2


def _station_area(layout: Layout) -> Iterator[_Raw]:
    yield layout.station.base, "base"
    yield layout.station.front, "front"


def _station_options(layout: Layout) -> Iterator[_Raw]:
    for option in layout.station.options:
        yield option.point, *_option_values(option)


def _option_values(option: StationOption) -> tuple[Value, ...]:
    return (
        option.rank,
        option.score,
        option.tilt_pct,
        option.upslope_m2,
        option.water_m,
        option.outlet_distance_m,
        option.cable_paved_m,
        option.mean_return_m,
        option.worst_return_m,
        option.openness_m,
        option.bearing_deg,
        option.front_clear,
        option.base_on_lawn,
        option.straight_wire,
        option.drawn_in_m,
        option.in_passage,
        option.rejected_because,
    )


def _cable_route(layout: Layout) -> Iterator[_Raw]:
    route = layout.station.cable_route
    if route is not None:
        about = (layout.station.cable_paved_m, layout.station.outlet_source)
        yield route, route.length, *about


def _perimeter_wire(layout: Layout) -> Iterator[_Raw]:
    yield layout.perimeter.line, layout.perimeter.line.length


def _wire_sections(layout: Layout) -> Iterator[_Raw]:
    for each in layout.perimeter.sections:
        setback, span = each.setback_m, (each.from_m, each.to_m)
        yield each.line, each.section, each.against, setback, *span, each.cross_fall_pct


def _return_lines(layout: Layout) -> Iterator[_Raw]:
    for each in layout.return_lines:
        slopes = (each.steepest_pct, each.mean_pct)
        near = (each.lawn_mean_m, each.lawn_p95_m)
        yield each.line, each.number, each.line.length, *slopes, each.climb_m, *near


def _wire_joints(layout: Layout) -> Iterator[_Raw]:
    for each in layout.joints:
        yield each.point, each.joint, each.on, each.chainage_m


def _parking_test(layout: Layout) -> Iterator[_Raw]:
    for each in layout.parking_tests:
        yield each.point, each.line_number, each.distance_m


def _pegs(works: Works) -> Iterator[_Raw]:
    for peg in works.pegs:
        yield peg.point, peg.number, peg.on, peg.chainage_m, peg.reason


def _setting_out(works: Works) -> Iterator[_Raw]:
    for mark in works.marks:
        yield mark.point, *_mark_values(mark)


def _mark_values(mark: Mark) -> tuple[Value, ...]:
    return (
        mark.name,
        mark.what,
        mark.on,
        mark.chainage_m,
        mark.edge_offset_m,
        mark.edge,
        mark.from_a,
        mark.dist_a_m,
        mark.from_b,
        mark.dist_b_m,
        mark.side,
        mark.angle_deg,
        mark.height_m,
        mark.to_mark,
        mark.to_next_offset_m,
        mark.loop,
    )


def _fixed_points(works: Works) -> Iterator[_Raw]:
    for each in works.fixed_points:
        yield each.point, each.name, each.what


def _materials(works: Works) -> Iterator[_Raw]:
    for each in works.materials:
        yield None, each.item, each.quantity, each.unit, each.basis, each.size, each.supplied


def _quote_rows(works: Works, name: str) -> Iterator[_Raw]:
    if works.quote is not None:
        for values in QUOTE_ROWS[name](works.quote):
            yield None, *values


def _schedule(works: Works) -> Iterator[_Raw]:
    for each in works.programme.months if works.programme else ():
        weekly = (each.hours_per_week, each.days_per_week)
        yield None, each.month, each.growth_factor, *weekly, each.start, each.end, each.note


def _cutting_heights(works: Works) -> Iterator[_Raw]:
    for each in works.programme.heights if works.programme else ():
        yield None, each.day, each.height_mm, each.note


def _programme_notes(works: Works) -> Iterator[_Raw]:
    if works.programme is None:
        return
    for about, told in (
        ("first_weeks", works.programme.first_weeks),
        ("basis", works.programme.basis),
    ):
        for number, text in enumerate(told, start=1):
            yield None, about, number, text


def _commissioning(works: Works) -> Iterator[_Raw]:
    for each in works.commissioning:
        yield None, each.number, each.what, each.how, each.record, each.loop


_OF_PLAN: Mapping[str, Callable[[Plan], Iterator[_Raw]]] = MappingProxyType(
    {
        "parcel": _parcel,
        "feature_areas": partial(_features, dimension=2),
        "feature_lines": partial(_features, dimension=1),
        "feature_points": partial(_features, dimension=0),
        "advisories": _advisories,
        "run_info": _run_info,
    }
)
_OF_GROUND: Mapping[str, Callable[[Ground], Iterator[_Raw]]] = MappingProxyType(
    {
        "lawn": _lawn,
        "slope_zones": _slope_zones,
        "keep_out": _keep_out,
        "mowable": _mowable,
        "hand_trim": _hand_trim,
        "passages": _passages,
    }
)
_OF_LAYOUT: Mapping[str, Callable[[Layout], Iterator[_Raw]]] = MappingProxyType(
    {
        "station": _station,
        "station_area": _station_area,
        "station_options": _station_options,
        "cable_route": _cable_route,
        "perimeter_wire": _perimeter_wire,
        "wire_sections": _wire_sections,
        "return_lines": _return_lines,
        "wire_joints": _wire_joints,
        "parking_test": _parking_test,
    }
)
_OF_WORKS: Mapping[str, Callable[[Works], Iterator[_Raw]]] = MappingProxyType(
    {
        "pegs": _pegs,
        "setting_out": _setting_out,
        "fixed_points": _fixed_points,
        "materials": _materials,
        "schedule": _schedule,
        "cutting_heights": _cutting_heights,
        "programme_notes": _programme_notes,
        "commissioning": _commissioning,
        **{name: partial(_quote_rows, name=name) for name in QUOTE_ROWS},
    }
)
