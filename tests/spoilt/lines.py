"""Ways to spoil return lines, joints, pegs and parking tests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, Point, affinity

from lawnplat.proving.evidence import Evidence
from lawnplat.settings.types import Treatment

from .ways import (
    Spoilt,
    Way,
    chainages,
    changed,
    dropped,
    first,
    left_of,
    numbered,
    points_of,
    redrawn,
    unit,
    with_plan,
)

LINES = "return_lines"


def straight_run_shortened(evidence: Evidence) -> Spoilt | None:
    """Bend the line a metre out, a quarter of a metre aside within the next."""
    points = points_of(evidence.plan, LINES)
    at_m = chainages(points)
    if at_m[-1] < 6:
        return None
    ahead = unit(points[1] - points[0])
    bend, aside = points[0] + ahead, points[0] + 2 * ahead + 0.25 * left_of(ahead)
    new = np.vstack([points[0], bend, aside, points[at_m > 3.5]])
    return with_plan(evidence, redrawn(evidence.plan, LINES, new), Point(bend))


def line_beside_the_station(evidence: Evidence) -> Spoilt:
    points = points_of(evidence.plan, LINES)
    points[0] += 0.5 * left_of(points[1] - points[0])
    return with_plan(evidence, redrawn(evidence.plan, LINES, points), Point(points[0]))


def line_short_of_the_wire(evidence: Evidence) -> Spoilt:
    points = points_of(evidence.plan, LINES)
    points[-1] -= min(0.1, np.hypot(*(points[-1] - points[-2])) / 2) * unit(points[-1] - points[-2])
    if np.hypot(*(points[-1] - points_of(evidence.plan, LINES)[-1])) < 0.05:
        points[-1] += 0.1 * left_of(points[-1] - points[-2])
        points = points[:-1]
    return with_plan(evidence, redrawn(evidence.plan, LINES, points), Point(points[-1]))


def line_ends_by_the_station(evidence: Evidence) -> Spoilt:
    """End the line, and its joint, a metre and a half along the wire from the station."""
    plan = evidence.plan
    line, wire = plan.rows(LINES)[0], evidence.loops[0].wire
    end = wire.interpolate(1.5)
    joint = next(
        place
        for place, row in enumerate(plan.rows("wire_joints"))
        if row.text("joint") == "three_way"
        and row.geometry.distance(Point(line.geometry.coords[-1])) < 0.01
    )
    plan = changed(plan, "wire_joints", joint, end, chainage_m=1.5)
    points = points_of(plan, LINES)
    start = [points[0], points[0] + 2 * unit(points[1] - points[0]), end.coords[0]]
    return with_plan(evidence, redrawn(plan, LINES, np.vstack(start)), end)


def line_across_the_wire(evidence: Evidence) -> Spoilt:
    """Let the line run on over the wire at its joint, and come back."""
    points = points_of(evidence.plan, LINES)
    ahead = unit(points[-1] - points[-2])
    over = points[-1] + 0.5 * ahead
    back = points[-1] + 0.3 * left_of(ahead)
    new = np.vstack([points[:-1], over, back, points[-1]])
    return with_plan(evidence, redrawn(evidence.plan, LINES, new), Point(points[-1]))


def line_across_another(evidence: Evidence) -> Spoilt | None:
    plan = evidence.plan
    if (
        len(plan.rows(LINES)) < 2
        or plan.rows(LINES)[0].values["loop"] != plan.rows(LINES)[1].values["loop"]
    ):
        return None
    one = plan.rows(LINES)[0].geometry
    points = points_of(plan, LINES, 1)
    middle = len(points) // 2
    here, there = one.interpolate(0.45, normalized=True), one.interpolate(0.55, normalized=True)
    step = np.array(there.coords[0]) - here.coords[0]
    cross = [here.coords[0] + 0.3 * side * left_of(step) for side in (-1, 1)]
    new = np.vstack([points[:middle], *cross, points[middle:]])
    return with_plan(evidence, redrawn(plan, LINES, new, 1))


def line_along_the_wire(evidence: Evidence) -> Spoilt | None:
    """Draw a middle vertex to within 10 cm of the nearest wire."""
    points, wire = points_of(evidence.plan, LINES), evidence.loops[0].wire
    line = LineString(points)
    if line.length < 7:
        return None
    at_m = chainages(points)
    middle = line.interpolate(line.length / 2)
    there = shapely.get_coordinates(shapely.shortest_line(middle, wire))
    near = there[1] - 0.1 * unit(there[1] - there[0])
    half = at_m[-1] / 2
    sides = [line.interpolate(half + off).coords[0] for off in (-1, 1)]
    new = np.vstack([points[at_m < half - 1], sides[0], near, sides[1], points[at_m > half + 1]])
    return with_plan(evidence, redrawn(evidence.plan, LINES, new), Point(near))


def line_over_a_bed(evidence: Evidence) -> Spoilt | None:
    """Lead the line over the middle of something that it has to keep off."""
    bodies = [
        each.geometry
        for each in evidence.things
        if each.treatment in (Treatment.KEEP_OFF, Treatment.FIRM)
        and each.geometry.area > 0.1
        and each.geometry.within(evidence.parcel)
    ]
    if not bodies:
        return None
    points = points_of(evidence.plan, LINES)
    over = min(bodies, key=lambda body: body.distance(Point(points[-1]))).representative_point()
    at_m = chainages(points)
    new = np.vstack([points[at_m < at_m[-1] / 2], over.coords[0], points[at_m >= at_m[-1] / 2]])
    return with_plan(evidence, redrawn(evidence.plan, LINES, new))


def line_with_a_sharp_bend(evidence: Evidence) -> Spoilt | None:
    """Put a tooth of 30 cm into the line's middle."""
    points = points_of(evidence.plan, LINES)
    line, at_m = LineString(points), chainages(points)
    if line.length < 6:
        return None
    half = at_m[-1] / 2
    foot, tip = (np.array(line.interpolate(half + off).coords[0]) for off in (-0.15, 0.15))
    tooth = (foot + tip) / 2 + 0.3 * left_of(tip - foot)
    new = np.vstack([points[at_m < half - 0.15], foot, tooth, tip, points[at_m > half + 0.15]])
    return with_plan(evidence, redrawn(evidence.plan, LINES, new), Point(tooth))


def ground_tilted(evidence: Evidence) -> Spoilt | None:
    """Tilt the ground by 60 % along the line's straight run."""
    terrain = evidence.terrain
    if terrain is None:
        return None
    points = points_of(evidence.plan, LINES)
    ahead = unit(points[1] - points[0])
    x, y = np.meshgrid(*terrain.grid.centres())
    tilt = 0.6 * ((x - points[0, 0]) * ahead[0] + (y - points[0, 1]) * ahead[1])
    return Spoilt(
        replace(evidence, terrain=replace(terrain, elevation_m=terrain.elevation_m + tilt))
    )


def steepest_told_too_low(evidence: Evidence) -> Spoilt | None:
    told = evidence.plan.rows(LINES)[0].number("steepest_pct")
    if told < 6:
        return None
    return with_plan(evidence, changed(evidence.plan, LINES, 0, steepest_pct=told / 4))


def climb_told_wrong(evidence: Evidence) -> Spoilt:
    told = evidence.plan.rows(LINES)[0].number("climb_m")
    return with_plan(evidence, changed(evidence.plan, LINES, 0, climb_m=told + 0.3))


def no_return_line(evidence: Evidence) -> Spoilt:
    return with_plan(evidence, evidence.plan.with_rows(LINES, []), evidence.loops[0].station)


def one_line_too_many(evidence: Evidence) -> Spoilt:
    rows = list(evidence.plan.rows(LINES))
    while len(rows) <= evidence.machine.return_lines * len(evidence.loops):
        rows.append(replace(rows[0], values={**rows[0].values, "line_no": len(rows) + 1}))
    return with_plan(evidence, evidence.plan.with_rows(LINES, rows))


def _joint_dropped(kind: str) -> Way:
    def spoil(evidence: Evidence) -> Spoilt | None:
        at = first(evidence.plan, "wire_joints", joint=kind)
        if at is None:
            return None
        place = evidence.plan.rows("wire_joints")[at].geometry
        return with_plan(
            evidence, dropped(evidence.plan, "wire_joints", at), place if kind != "splice" else None
        )

    spoil.__name__ = f"{kind}_joint_dropped"
    return spoil


def joint_at_another_chainage(evidence: Evidence) -> Spoilt:
    at = first(evidence.plan, "wire_joints", joint="three_way")
    row = evidence.plan.rows("wire_joints")[at]
    told = row.number("chainage_m") + 0.5
    return with_plan(
        evidence, changed(evidence.plan, "wire_joints", at, chainage_m=told), row.geometry
    )


def _pegs(evidence: Evidence) -> list[tuple[int, object]]:
    rows = evidence.plan.rows("pegs")
    return [(at, row) for at, row in enumerate(rows) if row.text("on") == "perimeter"]


def two_pegs_dropped(evidence: Evidence) -> Spoilt | None:
    """Drop the two neighbours that leave the widest gap, none of them at a bend or a joint."""
    pegs = _pegs(evidence)
    widest, best = 0.0, None
    for before, one, other, after in zip(pegs, pegs[1:], pegs[2:], pegs[3:], strict=False):
        gap_m = after[1].number("chainage_m") - before[1].number("chainage_m")
        if {one[1].text("reason"), other[1].text("reason")} == {"spacing"} and 2.2 > gap_m > widest:
            widest, best = gap_m, (one, other)
    if best is None or widest < 1.0:
        return None
    place = best[0][1].geometry
    return with_plan(evidence, dropped(evidence.plan, "pegs", best[0][0], best[1][0]), place)


def pegs_of_pairs_dropped(evidence: Evidence) -> Spoilt | None:
    """Leave both wires of every pair lying loose."""
    rows = evidence.plan.rows("pegs")
    if sum(row.text("reason") == "pair" for row in rows) < 5:
        return None
    kept = [row for row in rows if row.text("reason") != "pair"]
    return with_plan(evidence, numbered(evidence.plan.with_rows("pegs", kept)))


def bend_in_two_chords(evidence: Evidence) -> Spoilt | None:
    """Turn by 40 degrees twice within 5 cm: on the ground that is one bend of 80."""
    points = points_of(evidence.plan, LINES)
    line, at_m = LineString(points), chainages(points)
    if line.length < 8:
        return None
    half = at_m[-1] / 2
    here, there = (np.array(line.interpolate(half + off).coords[0]) for off in (0.0, 0.1))
    ahead = complex(*unit(there - here))
    steps = [0.05 * ahead * np.exp(1j * np.radians(40)), 0.8 * ahead * np.exp(1j * np.radians(80))]
    way = here + np.cumsum([[step.real, step.imag] for step in steps], axis=0)
    new = np.vstack([points[at_m < half], here, way, points[at_m > half + 1.5]])
    return with_plan(evidence, redrawn(evidence.plan, LINES, new))


def peg_of_a_bend_dropped(evidence: Evidence) -> Spoilt | None:
    for at, row in _pegs(evidence):
        if row.text("reason") != "bend" or _turn_deg(evidence, row.geometry) < 30:
            continue
        # A bend at a lead's end is held by the pair's peg as well.
        if sum(other.geometry.distance(row.geometry) < 0.06 for _, other in _pegs(evidence)) == 1:
            plan = numbered(dropped(evidence.plan, "pegs", at))
            return with_plan(evidence, plan, row.geometry)
    return None


def _turn_deg(evidence: Evidence, place: Point) -> float:
    points = shapely.get_coordinates(evidence.loops[0].wire)
    at = int(np.argmin(np.hypot(*(points - place.coords[0]).T)))
    if not 0 < at < len(points) - 1 or np.hypot(*(points[at] - place.coords[0])) > 1e-4:
        return 0.0
    run = np.diff(points[at - 1 : at + 2], axis=0) @ [1, 1j]
    return float(abs(np.degrees(np.angle(run[1] / run[0]))))


def curve_peg_dropped(evidence: Evidence) -> Spoilt | None:
    """Drop the peg without which the wire, pulled taut, leaves its curve by most."""
    wire = evidence.loops[0].wire
    vertices = shapely.get_coordinates(wire)
    at_m = chainages(vertices)
    pegs = _pegs(evidence)
    best, worst_m = None, 0.045
    for before, peg, after in zip(pegs, pegs[1:], pegs[2:], strict=False):
        first_m, last_m = (each[1].number("chainage_m") for each in (before, after))
        inside = vertices[(at_m > first_m) & (at_m < last_m)]
        if peg[1].text("reason") != "spacing" or len(inside) < 3 or last_m - first_m > 0.7:
            continue
        chord = LineString([before[1].geometry, after[1].geometry])
        off_m = float(shapely.distance(chord, shapely.points(inside)).max())
        if off_m > worst_m:
            best, worst_m = peg, off_m
    if best is None:
        return None
    return with_plan(evidence, dropped(evidence.plan, "pegs", best[0]), best[1].geometry)


def peg_beside_the_wire(evidence: Evidence) -> Spoilt:
    at, row = _pegs(evidence)[12]
    moved = affinity.translate(row.geometry, 0.04, 0.03)
    return with_plan(evidence, changed(evidence.plan, "pegs", at, moved), moved)


def peg_at_another_chainage(evidence: Evidence) -> Spoilt:
    at, row = _pegs(evidence)[12]
    told = row.number("chainage_m") + 0.3
    return with_plan(evidence, changed(evidence.plan, "pegs", at, chainage_m=told), row.geometry)


def pegs_of_a_line_dropped(evidence: Evidence) -> Spoilt:
    rows = [row for row in evidence.plan.rows("pegs") if row.text("on") != "return_1"]
    start = Point(points_of(evidence.plan, LINES)[0])
    return with_plan(evidence, numbered(evidence.plan.with_rows("pegs", rows)), start)


def peg_number_twice(evidence: Evidence) -> Spoilt:
    return with_plan(evidence, changed(evidence.plan, "pegs", 5, seq=5))


def parking_test_dropped(evidence: Evidence) -> Spoilt:
    row = evidence.plan.rows("parking_test")[0]
    return with_plan(evidence, dropped(evidence.plan, "parking_test", 0), row.geometry)


def parking_test_beside_the_line(evidence: Evidence) -> Spoilt:
    moved = affinity.translate(evidence.plan.rows("parking_test")[0].geometry, 0.3, 0.4)
    return with_plan(evidence, changed(evidence.plan, "parking_test", 0, moved), moved)


def parking_test_too_near(evidence: Evidence) -> Spoilt:
    near = evidence.plan.rows(LINES)[0].geometry.interpolate(1.0)
    plan = changed(evidence.plan, "parking_test", 0, near, distance_m=1.0)
    return with_plan(evidence, plan, near)


def _length_told_wrong(layer: str) -> Way:
    def spoil(evidence: Evidence) -> Spoilt | None:
        if not evidence.plan.rows(layer):
            return None
        row = evidence.plan.rows(layer)[0]
        told = row.number("length_m") + 0.02
        return with_plan(evidence, changed(evidence.plan, layer, 0, length_m=told))

    spoil.__name__ = f"length_of_{layer}_told_wrong"
    return spoil


OF_LINES: tuple[tuple[Way, str], ...] = (
    (straight_run_shortened, "straight_run"),
    (line_beside_the_station, "straight_run"),
    (line_short_of_the_wire, "return_end"),
    (line_ends_by_the_station, "return_end"),
    (line_across_the_wire, "wire_crossing"),
    (line_across_another, "wire_crossing"),
    (line_along_the_wire, "return_corridor"),
    (line_over_a_bed, "return_corridor"),
    (line_with_a_sharp_bend, "return_bend"),
    (bend_in_two_chords, "return_bend"),
    (ground_tilted, "return_gradient"),
    (steepest_told_too_low, "return_gradient"),
    (climb_told_wrong, "return_gradient"),
    (no_return_line, "line_number"),
    (one_line_too_many, "line_number"),
    (_joint_dropped("three_way"), "joint"),
    (_joint_dropped("terminal"), "joint"),
    (_joint_dropped("splice"), "joint"),
    (joint_at_another_chainage, "joint"),
    (two_pegs_dropped, "peg_spacing"),
    (pegs_of_pairs_dropped, "peg_spacing"),
    (curve_peg_dropped, "peg_spacing"),
    (peg_of_a_bend_dropped, "peg_missing"),
    (pegs_of_a_line_dropped, "peg_missing"),
    (peg_number_twice, "peg_missing"),
    (peg_beside_the_wire, "peg_on_wire"),
    (peg_at_another_chainage, "peg_on_wire"),
    (parking_test_dropped, "parking_test"),
    (parking_test_beside_the_line, "parking_test"),
    (parking_test_too_near, "parking_test"),
    (_length_told_wrong("perimeter_wire"), "length"),
    (_length_told_wrong("return_lines"), "length"),
    (_length_told_wrong("cable_route"), "length"),
)
