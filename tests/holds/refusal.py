"""Is a refusal true? The reason, worked out again from what the file says of the ground."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from holds.given import Case, Given, case_of
from holds.plan_file import PlanFile, union
from lawnplat.settings.types import Treatment

STEP_M = 0.1
SLACK_M = 0.3
"""More room than the rules ask, so that a place found here holds one whatever the spacing of the
places that the planner looks at (half of 0.5 m to each side)."""


def false_refusal(plan: PlanFile, given: Given) -> str:
    """Return what is wrong with the reason of a plan that stopped; nothing where it is true."""
    case = case_of(plan, given)
    stops = plan["advisories"][plan["advisories"]["severity"] == "stop"]
    if stops.empty:
        return "no reason"
    reason = " ".join(stops["text"])
    if "no lawn" in reason and "wide enough" not in reason:
        return "" if plan["lawn"].empty else "there is lawn"
    if "wide enough" in reason:
        return "" if plan["mowable"].empty else "there is mowable ground"
    if "clear ground in front" in reason:
        place = next(_places(case), None)
        return "" if place is None else f"a station has room at {place.x:.2f} {place.y:.2f}"
    # A way, or an island, that is barred cannot be told without routing: the words have to name it.
    return "" if any(word in reason for word in ("return line", "island", "cut off")) else reason


def has_room_for_station(plan: PlanFile, given: Given) -> bool:
    return next(_places(case_of(plan, given)), None) is not None


def _places(case: Case) -> Iterator[Point]:
    """Yield places on the rim of the mown ground where everything has room and to spare."""
    firm = union(t.geometry.buffer(case.setback_m(t)) for t in case.of(Treatment.FIRM))
    lawn = case.plan.all_of("lawn")
    bodies = union(t.geometry for t in case.things if t.geometry.area > 0)
    stands = shapely.difference(lawn.buffer(0.005), bodies)
    narrow = case.plan["passages"]
    tight = union(narrow[narrow["verdict"] == "guided"].geometry)
    for part in case.plan["mowable"].geometry:
        room = shapely.difference(part.buffer(0.01), union([firm, tight]))
        shapely.prepare(room)
        yield from _along(case, part, room, stands)


def _along(case: Case, part: Polygon, room: BaseGeometry, stands: BaseGeometry) -> Iterator[Point]:
    rules, machine = case.rules.station, case.given.machine
    rim = LineString(shapely.orient_polygons(part, exterior_cw=True).exterior.coords)
    reach = rules.straight_wire_m + SLACK_M
    ahead_m = machine.base_length_m - machine.base_behind_wire_m
    spans = np.linspace(-reach, reach, 11)
    for at in np.arange(0, rim.length, STEP_M):
        near = [rim.interpolate((at + span) % rim.length).coords[0] for span in spans]
        around = np.array(near)
        chord = around[-1] - around[0]
        length = np.hypot(*chord)
        if length < 2 * reach - 0.01:
            continue
        along = chord / length
        ahead = np.array([along[1], -along[0]])
        if np.abs((around - around[0]) @ ahead).max() > 0.005:
            continue
        here = around[5]
        front = _box(here, ahead, 0.02, rules.front_clear_m + ahead_m + 0.05, rules.side_clear_m)
        base = _box(here, ahead, -machine.base_behind_wire_m, ahead_m, machine.base_width_m / 2)
        if room.covers(front) and stands.covers(base):
            yield Point(here)


def _box(here: np.ndarray, ahead: np.ndarray, from_m: float, to_m: float, half_m: float) -> Polygon:
    left = np.array([-ahead[1], ahead[0]]) * (half_m + SLACK_M)
    near, far = here + ahead * from_m, here + ahead * to_m
    return Polygon([near + left, near - left, far - left, far + left])
