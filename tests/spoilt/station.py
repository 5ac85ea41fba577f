"""More ways to spoil the station, its cable and its row."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Point, affinity

from lawnplat.proving.evidence import Evidence

from .ways import Spoilt, Way, changed, dropped, first, points_of, redrawn, with_plan


def _told_otherwise(column: str, by: float) -> Way:
    def spoil(evidence: Evidence) -> Spoilt | None:
        told = evidence.plan.rows("station")[0].number(column)
        if np.isnan(told):
            return None
        plan = changed(evidence.plan, "station", 0, **{column: told + by})
        return with_plan(evidence, plan, evidence.loops[0].station)

    spoil.__name__ = f"station_tells_another_{column}"
    return spoil


def tilt_told_otherwise_twice(evidence: Evidence) -> Spoilt | None:
    """Tell 2 % more tilt in the station's row and among the options: the ground has it not."""
    at = first(evidence.plan, "station_options", rank=1, loop=1)
    if evidence.terrain is None or at is None:
        return None
    told = evidence.plan.rows("station")[0].number("tilt_pct") + 2.0
    plan = changed(evidence.plan, "station", 0, tilt_pct=told)
    plan = changed(plan, "station_options", at, tilt_pct=told)
    return with_plan(evidence, plan, evidence.loops[0].station)


def best_option_elsewhere(evidence: Evidence) -> Spoilt | None:
    at = first(evidence.plan, "station_options", rank=1, loop=1)
    if at is None:
        return None
    moved = affinity.translate(evidence.plan.rows("station_options")[at].geometry, 0.3, 0.0)
    return with_plan(
        evidence,
        changed(evidence.plan, "station_options", at, moved),
        evidence.loops[0].station,
    )


def best_option_dropped(evidence: Evidence) -> Spoilt | None:
    at = first(evidence.plan, "station_options", rank=1, loop=1)
    if at is None:
        return None
    return with_plan(evidence, dropped(evidence.plan, "station_options", at))


def base_too_small(evidence: Evidence) -> Spoilt | None:
    at = first(evidence.plan, "station_area", part="base", loop=1)
    if at is None:
        return None
    small = affinity.scale(evidence.plan.rows("station_area")[at].geometry, 0.8, 0.8)
    plan = changed(evidence.plan, "station_area", at, small)
    return with_plan(evidence, plan, evidence.loops[0].station)


def front_too_shallow(evidence: Evidence) -> Spoilt | None:
    """Leave out half a metre at the front's far end."""
    at = first(evidence.plan, "station_area", part="front", loop=1)
    if at is None:
        return None
    loop = evidence.loops[0]
    depth_m = evidence.rules.station.front_clear_m - 0.5
    start = np.array(loop.station.coords[0])
    near = LineString([start, start + depth_m * loop.ahead]).buffer(
        evidence.rules.station.side_clear_m, cap_style="flat"
    )
    plan = changed(evidence.plan, "station_area", at, near)
    return with_plan(evidence, plan, loop.station)


def cable_shifted(evidence: Evidence) -> Spoilt | None:
    """Begin the cable 3 m from its outlet; its length told right."""
    if not evidence.plan.rows("cable_route"):
        return None
    line = LineString(points_of(evidence.plan, "cable_route"))
    if line.length < 4.0:
        return None
    short = shapely.get_coordinates(shapely.ops.substring(line, 3.0, line.length))
    return with_plan(evidence, redrawn(evidence.plan, "cable_route", short))


def cable_told_shorter(evidence: Evidence) -> Spoilt | None:
    if not evidence.plan.rows("cable_route"):
        return None
    told = evidence.plan.rows("cable_route")[0].number("length_m") - 0.5
    return with_plan(evidence, changed(evidence.plan, "cable_route", 0, length_m=told))


def cable_too_long(evidence: Evidence) -> Spoilt | None:
    """Draw a cable that is longer than its reach, told as within it."""
    if not evidence.plan.rows("cable_route"):
        return None
    points = points_of(evidence.plan, "cable_route")
    away = points[0] + np.array([evidence.rules.station.cable_reach_m, 0.0])
    line = LineString([points[0], away, *points])
    return with_plan(
        evidence,
        changed(evidence.plan, "cable_route", 0, line, length_m=line.length),
        evidence.loops[0].station,
    )


def outlet_too_far(evidence: Evidence) -> Spoilt | None:
    """Tell of an outlet beyond a cable's reach, and of no advisory."""
    if first(evidence.plan, "advisories", rule="station_power") is not None:
        return None
    far_m = evidence.rules.station.cable_reach_m + 1.0
    plan = changed(evidence.plan, "station", 0, outlet_distance_m=far_m)
    return with_plan(evidence, plan, evidence.loops[0].station)


def verdict_told_wrong(evidence: Evidence) -> Spoilt | None:
    at = first(evidence.plan, "passages", verdict="guided")
    if at is None:
        return None
    place = evidence.plan.rows("passages")[at].geometry
    plan = changed(evidence.plan, "passages", at, verdict="open")
    return with_plan(evidence, plan, Point(shapely.point_on_surface(place)))


OF_STATIONS: tuple[tuple[Way, str], ...] = (
    (_told_otherwise("tilt_pct", 2.0), "station_told"),
    (_told_otherwise("bearing_deg", 15.0), "station_told"),
    (_told_otherwise("outlet_distance_m", 1.0), "station_told"),
    (tilt_told_otherwise_twice, "station_told"),
    (best_option_elsewhere, "station_told"),
    (best_option_dropped, "station_told"),
    (base_too_small, "station_base"),
    (front_too_shallow, "station_front"),
    (cable_shifted, "cable_route"),
    (cable_told_shorter, "cable_route"),
    (cable_too_long, "outlet"),
    (outlet_too_far, "outlet"),
    (verdict_told_wrong, "passage_verdict"),
)
