"""How return lines leave the station, where they end, and what they must not cross."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.laid_wires import LaidWire, laid_wires, perimeters, return_lines
from lawnplat.proving.loop import Loop
from lawnplat.survey.types import Finding

_OFF_M = 0.02
"""A straight on grass is true to this."""
_ON_WIRE_M = 0.01
"""What is on a wire is on it to a centimetre."""
_TOUCHES_M = 0.001
"""Wires nearer to each other than this touch."""
_ENDS_M = 0.05
"""So much of a line at its two ends meets other wires by right: terminal and joint."""


def straight_run(evidence: Evidence) -> Iterator[Finding]:
    """Yield lines that are not straight ahead out of the station for the rule's length."""
    wanted_m = evidence.rules.return_line.straight_run_m
    for line, loop in _with_loops(evidence):
        if loop.station is None or np.isnan(loop.bearing_deg):
            continue
        start = line.place(0.0)
        beside_m = start.distance(loop.station)
        if beside_m > evidence.rules.wire.terminal_gap_m / 2 + _OFF_M:
            yield breach(
                evidence, "straight_run",
                f"{line.words} begins {beside_m:.2f} m from the station: it has to leave the base "
                "between the terminals", start, measured=beside_m,
                limit=evidence.rules.wire.terminal_gap_m / 2,
            )  # fmt: skip
            continue
        straight_m = _straight_m(line, loop, wanted_m)
        if straight_m < wanted_m - _OFF_M:
            yield breach(
                evidence, "straight_run",
                f"{line.words} runs straight ahead out of the station for {straight_m:.2f} m, "
                f"{wanted_m:.2f} m are needed to dock: draw its first bend further out",
                line.place(straight_m), measured=straight_m, limit=wanted_m,
            )  # fmt: skip


def _straight_m(line: LaidWire, loop: Loop, wanted_m: float) -> float:
    """Return how far along its bearing a line goes before it leaves the straight."""
    at_m = np.union1d(line.chainage_m[line.chainage_m < wanted_m], [min(wanted_m, line.length_m)])
    step = line.places(at_m) - line.points[0]
    along, aside = step @ loop.ahead, step @ np.array([-loop.ahead[1], loop.ahead[0]])
    off_m = np.hypot(aside, along - at_m)
    wrong = np.flatnonzero(off_m > _OFF_M)
    if len(wrong) == 0:
        return float(at_m[-1])
    # Between the last place on the straight and the first off it the way off grows evenly.
    last = wrong[0] - 1
    share = (_OFF_M - off_m[last]) / (off_m[last + 1] - off_m[last])
    return float(at_m[last] + share * (at_m[last + 1] - at_m[last]))


def return_end(evidence: Evidence) -> Iterator[Finding]:
    """Yield lines that do not end in a three-way joint on their perimeter, off the station."""
    joints = [
        row.geometry
        for row in evidence.plan.rows("wire_joints")
        if row.text("joint") == "three_way" and row.point is not None
    ]
    least_m = evidence.rules.return_line.joint_from_station_m
    for line, loop in _with_loops(evidence):
        end = Point(line.points[-1])
        off_m = end.distance(loop.wire)
        if off_m > _ON_WIRE_M:
            yield breach(
                evidence, "return_end",
                f"{line.words} ends {off_m:.2f} m from the perimeter wire: it has to end on it, in "
                "a three-way joint", end, measured=off_m, limit=0.0,
            )  # fmt: skip
            continue
        if not any(end.distance(joint) <= _ON_WIRE_M for joint in joints):
            yield breach(
                evidence, "return_end",
                f"no three-way joint is planned where {line.words} meets the perimeter wire", end,
            )  # fmt: skip
        at_m = shapely.line_locate_point(loop.wire, end)
        # Half the gap between the terminals lies between each end of the wire and the station.
        from_m = min(at_m, loop.wire.length - at_m) + evidence.rules.wire.terminal_gap_m / 2
        if from_m < least_m - _ON_WIRE_M:
            yield breach(
                evidence, "return_end",
                f"{line.words} meets the perimeter wire {from_m:.2f} m from the station along the "
                f"wire, {least_m:.2f} m are needed", end, measured=from_m, limit=least_m,
            )  # fmt: skip


def line_number(evidence: Evidence) -> Iterator[Finding]:
    """Yield loops with more return lines than the machine takes, with none, or numbered twice."""
    lines = return_lines(evidence.plan)
    most = evidence.machine.return_lines
    for loop in evidence.loops:
        mine = [line for line in lines if line.loop == loop.number]
        if len(mine) > most:
            yield breach(
                evidence, "line_number",
                f"{len(mine)} return lines are planned, a {evidence.machine.name} machine takes "
                f"{most}", Point(mine[-1].points[0]), measured=len(mine), limit=most,
            )  # fmt: skip
        if not mine:
            yield breach(
                evidence, "line_number",
                "no return line is planned: the machine has no line to come home by", loop.station,
                measured=0, limit=1,
            )  # fmt: skip
    for number, count in Counter(line.number for line in lines).items():
        if count > 1 or number < 1:
            yield breach(
                evidence, "line_number",
                f"{count} return line(s) have the number {number}: number them from 1, each once",
                severity="warn",
            )  # fmt: skip


def wire_crossing(evidence: Evidence) -> Iterator[Finding]:
    """Yield return lines that cross or touch a wire elsewhere than at their two ends."""
    wires = laid_wires(evidence.plan)
    lines = [wire for wire in wires if wire.is_return]
    for line in lines:
        if not line.line.is_simple:
            yield breach(
                evidence, "wire_crossing", f"{line.words} crosses itself", _own_crossing(line)
            )
    for place, line in enumerate(lines):
        inner = substring(line.line, _ENDS_M, line.length_m - _ENDS_M)
        others = [wire for wire in wires if not wire.is_return or wire in lines[:place]]
        for other in others:
            if shapely.distance(inner, other.line) < _TOUCHES_M:
                yield breach(
                    evidence, "wire_crossing",
                    f"{line.words} crosses or touches {other.words} here: signals mix, and "
                    "neither wire can be followed", _meeting(inner, other.line),
                )  # fmt: skip


def _own_crossing(line: LaidWire) -> Point:
    """Return a place where a line meets itself."""
    ends = shapely.get_coordinates(shapely.boundary(line.line))
    # Noded, a line that is simple has no node but its ends.
    nodes = shapely.get_coordinates(shapely.boundary(shapely.node(line.line).geoms[0]))
    inner = [node for node in nodes if np.hypot(*(ends - node).T).min(initial=np.inf) > _TOUCHES_M]
    return Point(inner[0]) if inner else line.place(line.length_m / 2)


def _meeting(one: BaseGeometry, other: BaseGeometry) -> Point:
    return Point(shapely.get_coordinates(shapely.shortest_line(one, other))[0])


def _with_loops(evidence: Evidence) -> Iterator[tuple[LaidWire, Loop]]:
    """Yield each return line with its loop; those of a loop that is not laid left out."""
    loops = {loop.number: loop for loop in evidence.loops if not loop.wire.is_empty}
    laid = {wire.loop for wire in perimeters(evidence.plan)}
    for line in return_lines(evidence.plan):
        if line.loop in loops and line.loop in laid:
            yield line, loops[line.loop]
