"""Is a refusal true? The reason, worked out again from what the file says of the ground."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from scipy import ndimage
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
        room_m2 = _widest_lawn_m2(case)
        return f"there are {room_m2:.1f} m2 to mow" if room_m2 > _enough_m2(case) else ""
    if "clear ground in front" in reason:
        place = next(_places(case), None)
        return "" if place is None else f"a station has room at {place.x:.2f} {place.y:.2f}"
    # A way, or an island, that is barred cannot be told without routing: the words have to name it.
    return "" if any(word in reason for word in ("return line", "island", "cut off")) else reason


def _enough_m2(case: Case) -> float:
    return 1.1 * case.rules.ground.smallest_part_m2


def _widest_lawn_m2(case: Case) -> float:
    """Return the largest area that a machine could mow, counted in cells of 10 cm.

    Every rim of the lawn is taken as open, and the machine as a cell wider than it is, so that what
    is counted is there. What the plan says is too steep or falls away outside is taken as said.
    """
    rules, machine = case.rules, case.given.machine
    lawn = case.plan.all_of("lawn")
    if lawn.is_empty:
        return 0.0
    wired = case.of(Treatment.KEEP_OFF, Treatment.FLUSH, Treatment.FIRM)
    taken = [thing.geometry.buffer(case.setback_m(thing)) for thing in wired]
    taken.append(shapely.boundary(lawn).buffer(rules.ground.open_edge_m))
    keep_out = case.plan["keep_out"]
    taken += list(keep_out[keep_out["kind"].isin(["too_steep", "cross_fall"])].geometry)
    free = shapely.difference(lawn, union(taken))
    west, south, east, north = lawn.bounds
    sides = np.arange(west, east + STEP_M, STEP_M), np.arange(south, north + STEP_M, STEP_M)
    shapely.prepare(free)
    cells = np.pad(shapely.contains_xy(free, *np.meshgrid(*sides)), 1)
    reach = machine.smallest_passage_m / 2 + STEP_M
    centres = ndimage.distance_transform_edt(cells, sampling=STEP_M) > reach
    if not centres.any():
        return 0.0
    mown = ndimage.distance_transform_edt(~centres, sampling=STEP_M) < reach
    numbers, _ = ndimage.label(mown)
    return float(np.bincount(numbers.ravel())[1:].max() * STEP_M**2)


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
        for rim in _rims(case, part):
            yield from _along(case, rim, room, stands)


def _rims(case: Case, part: Polygon) -> Iterator[LineString]:
    """Yield the part's outer rim and those round houses in it, the lawn on the right hand."""
    turned = shapely.orient_polygons(part, exterior_cw=True)
    houses = union(thing.geometry for thing in case.things if thing.kind == "building")
    yield LineString(turned.exterior.coords)
    for ring in turned.interiors:
        if shapely.intersects(Polygon(ring), houses):
            yield LineString(ring.coords)


def _along(
    case: Case, rim: LineString, room: BaseGeometry, stands: BaseGeometry
) -> Iterator[Point]:
    rules, machine = case.rules.station, case.given.machine
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
