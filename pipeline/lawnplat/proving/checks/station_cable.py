"""Checks of the station's low-voltage cable."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.breach import breach
from lawnplat.proving.clearance import middle_of_longest
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.loop import Loop
from lawnplat.proving.recorded import Row, union
from lawnplat.proving.things import OUTLET
from lawnplat.proving.tolerances import CM, MM
from lawnplat.survey.types import Finding

_OUTLET_M = 1.0
"""An outlet may be drawn this far inside its wall."""
_TOLD_M = CM


def outlet(evidence: Evidence) -> Iterator[Finding]:
    """Yield stations with no outlet within a cable's reach, by the cable told and by that drawn."""
    limit_m = evidence.rules.station.cable_reach_m
    for loop in evidence.loops:
        drawn = [shape.length for shape in loop.plan.shapes("cable_route")]
        for row in loop.plan.rows("station")[:1]:
            told_m = row.number("outlet_distance_m")
            far_m = max([told_m, *drawn])
            # What the file tells is rounded to millimetres.
            if not far_m <= limit_m + MM:
                said = "no cable leads there" if np.isnan(far_m) else f"{far_m:.1f} m of cable"
                yield breach(
                    evidence, "outlet",
                    f"no outlet is within {limit_m:.0f} m of cable of the station: {said}",
                    loop.station, measured=far_m, limit=limit_m,
                )  # fmt: skip


def cable_route(evidence: Evidence) -> Iterator[Finding]:
    """Yield cables not as long as told, not from an outlet to the base, or over mown ground."""
    for loop in evidence.loops:
        if loop.station is None:
            continue
        station = loop.plan.rows("station")[0]
        rows = [row for row in loop.plan.rows("cable_route") if row.geometry is not None]
        told = not np.isnan(station.number("outlet_distance_m"))
        if len(rows) != int(told):
            yield breach(
                evidence, "cable_route",
                f"the station tells {'of a' if told else 'of no'} cable, {len(rows)} are drawn",
                loop.station, measured=float(len(rows)), limit=float(told),
            )  # fmt: skip
        for row in rows:
            yield from _one(evidence, loop, station, row)


def _one(evidence: Evidence, loop: Loop, station: Row, row: Row) -> Iterator[Finding]:
    route = LineString(shapely.get_coordinates(row.geometry))
    for told_m in (row.number("length_m"), station.number("outlet_distance_m")):
        if not abs(route.length - told_m) <= _TOLD_M:
            yield breach(
                evidence, "cable_route",
                f"the cable is drawn {route.length:.2f} m long and told as {told_m:.2f} m",
                Point(route.coords[0]), measured=told_m, limit=route.length,
            )  # fmt: skip
    outlets = [each.geometry for each in evidence.things if each.kind == OUTLET]
    first, last = Point(route.coords[0]), Point(route.coords[-1])
    apart_m = min((float(each.distance(first)) for each in outlets), default=np.inf)
    if not apart_m <= _OUTLET_M:
        yield breach(evidence, "cable_route", "the cable begins at no outlet", first)
    behind = Point(
        shapely.get_coordinates(loop.station)[0] - loop.ahead * evidence.machine.base_behind_wire_m
    )
    if last.distance(behind) > CM:
        yield breach(evidence, "cable_route", "the cable does not end behind the base", last)
    if not route.is_simple:
        yield breach(evidence, "cable_route", "the cable crosses itself", first)
    yield from _ground(evidence, loop, route)


def _ground(evidence: Evidence, loop: Loop, route: LineString) -> Iterator[Finding]:
    """Yield where the cable runs over mown ground, through a wall or off the property."""
    base = union(
        each.geometry
        for each in loop.plan.rows("station_area")
        if each.text("part") == "base" and each.geometry is not None
    )
    # Between two lawns a cable may have to cross the wire pair that joins them.
    pairs = shapely.buffer(union(each.leads for each in evidence.loops),
                           2 * evidence.rules.wire.pair_gap_m)  # fmt: skip
    inside = shapely.difference(union(each.enclosed for each in evidence.loops), pairs)
    mown = shapely.buffer(union([inside, evidence.mowable]), -MM)
    over = shapely.intersection(shapely.difference(route, base), mown)
    yield from _through(evidence, over, "over ground inside the wire")
    # An outlet may be drawn inside its wall: the first leg leaves that.
    walls = union(each.geometry for each in evidence.things if each.barrier)
    onward = shapely.difference(route, shapely.buffer(Point(route.coords[0]), _OUTLET_M))
    yield from _through(
        evidence, shapely.intersection(onward, shapely.buffer(walls, -MM)), "through a barrier"
    )
    if not evidence.parcel.is_empty:
        off = shapely.difference(onward, shapely.buffer(evidence.parcel, CM))
        yield from _through(evidence, off, "off the property")


def _through(evidence: Evidence, part: BaseGeometry, where: str) -> Iterator[Finding]:
    if part.length > CM:
        place = middle_of_longest(part)
        yield breach(
            evidence, "cable_route", f"the cable runs {where} for {part.length:.2f} m", place,
            measured=part.length, limit=0.0,
        )  # fmt: skip
