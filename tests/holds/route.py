"""Checks of station, return lines, joints and parking test."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.ops import substring

from holds.given import CM, MM, Case
from holds.plan_file import union
from lawnplat.settings.types import Treatment


def station(case: Case) -> Iterator[str]:
    plan = case.plan
    if len(plan["station"]) != 1:
        yield f"station: {len(plan['station'])} of them"
        return
    areas = plan["station_area"].set_index("part").geometry
    if sorted(areas.index) != ["base", "front"]:
        yield f"station: areas {sorted(areas.index)}"
        return
    front, base = areas["front"], areas["base"]
    expected = _front(case)
    if shapely.symmetric_difference(front, expected).area > CM * expected.length:
        yield "station: the front is not the rule book's rectangle from the station along bearing"
    lawn = plan.all_of("lawn").buffer(2 * CM)
    for name, area in (("base", base), ("front", front)):
        if shapely.difference(area, lawn).area > MM:
            yield f"station: the {name} is not wholly on lawn"
    things = case.of(Treatment.KEEP_OFF, Treatment.FLUSH, Treatment.FIRM)
    bodies = union(t.geometry for t in things)
    for name, area in (("base", base), ("front", front)):
        if shapely.intersection(area, bodies).area > MM:
            yield f"station: the {name} stands on a feature"
    if not base.buffer(CM).covers(plan.station):
        yield "station: the base is not at the station"


def station_is_told(case: Case) -> Iterator[str]:
    """What is wanting at the station's place is said in an advisory."""
    plan, rules = case.plan, case.rules.station
    level = plan["station"]["tilt_pct"].iloc[0] <= rules.largest_tilt_pct
    if not level and "station_tilt" not in set(plan["advisories"]["rule"]):
        yield "station: tilted, and no advisory says so"
    cable_m = plan["station"]["outlet_distance_m"].iloc[0]
    if not cable_m <= rules.cable_reach_m and "station_power" not in set(
        plan["advisories"]["rule"]
    ):
        yield "station: no outlet within reach, and no advisory says so"


def _front(case: Case) -> Polygon:
    ahead = case.plan.bearing
    left = np.array([-ahead[1], ahead[0]]) * case.rules.station.side_clear_m
    start = np.array(case.plan.station.coords[0])
    far = start + ahead * case.rules.station.front_clear_m
    return Polygon([start + left, start - left, far - left, far + left])


def front_is_clear(case: Case) -> Iterator[str]:
    """No wire but the station's own and no keep-out in the front."""
    plan = case.plan
    front = _front(case)
    start = np.array(plan.station.coords[0]) + plan.bearing * 3 * CM
    beyond = LineString([start, start + plan.bearing * 10]).buffer(10, cap_style="flat")
    inner = shapely.intersection(front.buffer(-MM), beyond)
    if plan.wire.intersection(inner).length > MM:
        yield "front: the perimeter wire runs through it"
    taken = shapely.intersection(plan.all_of("keep_out"), inner).area
    if taken > CM:
        yield f"front: {taken:.3f} m2 of keep-out in it"


def options(case: Case) -> Iterator[str]:
    frame = case.plan["station_options"]
    ranks = sorted(rank for rank in frame["rank"] if rank > 0)
    if ranks != list(range(1, len(ranks) + 1)):
        yield f"options: ranks {ranks[:5]}..."
        return
    chosen = frame[frame["rank"] == 1]
    if len(chosen) == 1 and chosen.geometry.iloc[0].distance(case.plan.station) > MM:
        yield "options: the first in rank is not the station"
    rejected = frame["rejected_because"].fillna("") != ""
    if (rejected == (frame["rank"] > 0)).any():
        yield "options: a ranked place is rejected, or a rejected one has no reason"
    scores = frame[frame["rank"] > 0].sort_values("rank")["score"].to_numpy(float)
    if not (np.diff(scores) >= -1e-9).all():
        yield "options: the ranking does not follow the score"


def return_lines(case: Case) -> Iterator[str]:
    frame = case.plan["return_lines"]
    if frame.empty:
        yield "return_line: there is none"
    for row in frame.itertuples():
        yield from _start(case, row.geometry)
        yield from _ground(case, row.geometry)
        yield from _wires(case, row.geometry)
        yield from _bends(case, row.geometry)
        yield from _gradients(case, row)


def _start(case: Case, line: LineString) -> Iterator[str]:
    plan, rules = case.plan, case.rules.return_line
    if Point(line.coords[0]).distance(plan.station) > case.rules.wire.terminal_gap_m / 2 + CM:
        yield "return_line: it does not start at the station"
    # Several lines leave side by side: each straight ahead from where it starts.
    start = np.array(line.coords[0])
    run = LineString([start, start + plan.bearing * rules.straight_run_m])
    off = shapely.hausdorff_distance(run, substring(line, 0.0, rules.straight_run_m))
    if off > 2 * CM:
        yield f"return_line: {off:.2f} m off straight ahead on its first {run.length} m"


def _ground(case: Case, line: LineString) -> Iterator[str]:
    ground = union([case.plan.all_of("mowable"), case.strips()]).buffer(CM).buffer(CM)
    off = shapely.difference(line, ground)
    if off.length > 2 * CM:
        at = off.representative_point()
        yield f"return_line: {off.length:.2f} m not on mown ground at {at.x:.2f} {at.y:.2f}"
    for kind, setback_m, _, body in case.grouped(Treatment.FIRM):
        near = body.distance(line)
        if near < setback_m - 5 * MM:
            yield f"return_line: {near:.3f} m from {kind}, {setback_m} m wanted"


def _wires(case: Case, line: LineString) -> Iterator[str]:
    plan = case.plan
    corridor_m = case.rules.return_line.corridor_m
    wire = plan.wire
    end = Point(line.coords[-1])
    if wire.distance(end) > CM:
        yield f"return_line: it ends {wire.distance(end):.3f} m from the perimeter"
    middle = substring(line, 5 * CM, line.length - 5 * CM)
    if middle.intersects(wire):
        yield "return_line: it crosses the perimeter wire"
    # Near its two ends the line has to come to the wire: within twice the corridor, measured as the
    # crow flies at the joint (it meets the wire at 30 degrees or more) and along it at the station.
    free = substring(line, corridor_m + CM, line.length)
    free = shapely.difference(free, end.buffer(2 * corridor_m))
    tight = _tight_places(case)
    close = shapely.difference(free, tight).distance(wire)
    closest = shapely.intersection(free, tight).distance(wire)
    near = min(value for value in (close, closest + 2 * CM, np.inf) if not np.isnan(value))
    if near < corridor_m - CM and "return_line_corridor" not in set(plan["advisories"]["rule"]):
        at = shapely.get_coordinates(shapely.shortest_line(free, wire))[0]
        yield (
            f"return_line: corridor of {corridor_m} m to the perimeter is down to {near:.3f} m "
            f"at {at[0]:.2f} {at[1]:.2f}"
        )
    if not line.is_simple:
        yield "return_line: it crosses itself"


def _tight_places(case: Case) -> Polygon:
    """Return passages hardly wider than two corridors: there the line runs in their middle.

    It may be 3 cm off it, which is what a peg's own tolerance (`pegs.curve_offset_m`) allows.
    """
    frame = case.plan["passages"]
    widest = 2 * case.rules.return_line.corridor_m + 0.1
    return union(frame[frame["width_m"] < widest].geometry.buffer(0.3))


def _bends(case: Case, line: LineString) -> Iterator[str]:
    rules = case.rules.return_line
    turn = sharpest_bend_deg(line, rules.bend_within_share * rules.smallest_leg_m)
    if turn > rules.largest_bend_deg + 1.0 and "return_line_bend" not in set(
        case.plan["advisories"]["rule"]
    ):
        yield f"return_line: a bend of {turn:.1f} degrees, and no advisory says so"


def sharpest_bend_deg(line: LineString, within_m: float) -> float:
    """Return the most by which a line's direction changes over a length, corner or arc."""
    run = np.diff(shapely.get_coordinates(line), axis=0) @ [1, 1j]
    run = run[np.abs(run) > 0]
    turn = np.degrees(np.angle(run[1:] / run[:-1]))
    at_m = np.cumsum(np.abs(run))[:-1]
    worst = 0.0
    for first in range(len(turn)):
        last = int(np.searchsorted(at_m, at_m[first] + within_m + MM / 1000, side="right"))
        worst = max(worst, float(np.abs(np.cumsum(turn[first:last])).max()))
    return worst


def _gradients(case: Case, row: object) -> Iterator[str]:
    steepest, mean, climb = row.steepest_pct, row.mean_pct, row.climb_m  # type: ignore[attr-defined]
    line = row.geometry  # type: ignore[attr-defined]
    if not 0 <= mean <= steepest + 1e-6:
        yield f"return_line: mean {mean} %, steepest {steepest} %"
    if abs(climb) > mean / 100 * line.length + 5 * CM:
        yield f"return_line: climbs {climb:.2f} m at {mean:.1f} % over {line.length:.1f} m"
    limit = case.given.machine.slope_return_pct
    if steepest > limit + 1.0 and "return_line_gradient" not in set(
        case.plan["advisories"]["rule"]
    ):
        yield f"return_line: {steepest:.1f} %, over {limit} %, and no advisory says so"
    if case.given.plane is None:
        return
    gradient = np.array(case.given.plane)
    points = shapely.get_coordinates(line)
    run = np.diff(points, axis=0)
    unit = run / np.hypot(run[:, 0], run[:, 1])[:, None]
    along = 100 * np.abs(unit @ gradient)
    # Chords of 0.25 m cut across an arc's steepest point: a bend of 8 degrees at most.
    if abs(along.max() - steepest) > 0.3 + 0.15 * np.hypot(*gradient) * 100:
        yield f"return_line: {steepest:.2f} %, on the plane {along.max():.2f} %"
    rise = float(gradient @ (points[-1] - points[0]))
    if abs(rise - climb) > 2 * CM:
        yield f"return_line: climbs {climb:.2f} m, on the plane {rise:.2f} m"


def joints(case: Case) -> Iterator[str]:
    plan = case.plan
    frame = plan["wire_joints"]
    wires = {plan.perimeter_name: plan.wire}
    wires |= {f"return_{row.line_no}": row.geometry for row in plan["return_lines"].itertuples()}
    for row in frame.itertuples():
        if row.on not in wires:
            yield f"joints: one on '{row.on}'"
        elif row.geometry.distance(wires[row.on].interpolate(row.chainage_m)) > CM:
            yield f"joints: {row.joint} on {row.on} is not at its chainage"
    three_way = frame[frame["joint"] == "three_way"]
    for line in plan["return_lines"].geometry:
        end = Point(line.coords[-1])
        if not (three_way.distance(end) <= CM).any():
            yield "joints: no three-way joint where a return line ends"
    if len(three_way) != len(plan["return_lines"]):
        yield f"joints: {len(three_way)} three-way joints"
    ends = frame[(frame["joint"] == "terminal") & (frame["on"] == plan.perimeter_name)]
    if sorted(np.round(ends["chainage_m"], 3)) != [0.0, round(plan.wire.length, 3)]:
        yield "joints: the perimeter's terminals are not at its two ends"
    yield from _spools(case, frame, wires)
    least = case.rules.return_line.joint_from_station_m - CM
    for at in three_way["chainage_m"]:
        if not least <= at + 0.1 <= plan.wire.length - least + 0.2:
            yield f"joints: a three-way joint {at:.2f} m along the perimeter, by the station"


def _spools(case: Case, frame: object, wires: dict[str, LineString]) -> Iterator[str]:
    spool_m = case.rules.wire.spool_m
    for name, wire in wires.items():
        mine = frame[(frame["on"] == name) & (frame["joint"] == "splice")]  # type: ignore[index]
        stops = [0.0, *sorted(mine["chainage_m"]), wire.length]
        longest = max(b - a for a, b in pairwise(stops))
        if longest > spool_m + 1e-6:
            yield f"joints: {longest:.1f} m of {name} without a splice, a spool has {spool_m} m"


def parking_test(case: Case) -> Iterator[str]:
    plan = case.plan
    lines = plan["return_lines"].set_index("line_no").geometry
    tests = plan["parking_test"]
    if sorted(tests["line_no"]) != sorted(lines.index):
        yield "parking_test: not one for each return line"
        return
    for row in tests.itertuples():
        line = lines[row.line_no]
        # On a line that is shorter, from its far end.
        if row.distance_m < min(case.rules.return_line.parking_test_m, line.length) - 1e-6:
            yield f"parking_test: {row.distance_m:.2f} m out"
        if row.geometry.distance(line.interpolate(row.distance_m)) > CM:
            yield "parking_test: not on the line at its distance"
