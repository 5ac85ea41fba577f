"""The course of return lines: how steep, how near to wires and things, how sharp their bends."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.heights import heights_m
from lawnplat.proving.laid_wires import FloatArray, LaidWire, perimeters, return_lines
from lawnplat.proving.recorded import union
from lawnplat.proving.things import CROSSING
from lawnplat.settings.types import Treatment
from lawnplat.survey.types import Finding
from lawnplat.terrain.types import Terrain

_METRE_M = 1.0
_STEP_M = 0.05
_TOLD_PCT = 0.5
"""The mean of a metre may pass the steepest spot told by this: other spots, other interpolation."""
_MEAN_PCT = 0.5
_CLIMB_M = 0.05
_HAIR_M = 0.01
_HAIR_DEG = 1.0
_ENDS_CORRIDORS = 2.0
"""A line has to come to the wire at its joint: within so many corridors of it that is its right.
It meets the wire at 30 degrees or more, and then is a corridor off within two."""
_PEG_M = 0.03
"""In a narrow passage a line in its middle may leave it by what a peg's chord may leave a curve."""
_ARC_M = 0.005
"""Arcs drawn as chords leave the circle by up to half a centimetre."""


def return_gradient(evidence: Evidence) -> Iterator[Finding]:
    """Yield lines steeper than the machine climbs over some metre, or told otherwise than found."""
    if evidence.terrain is None:
        return
    for line in return_lines(evidence.plan):
        yield from _steep(evidence, line, evidence.terrain)
        yield from _told(evidence, line, evidence.terrain)


def _steep(evidence: Evidence, line: LaidWire, terrain: Terrain) -> Iterator[Finding]:
    limit_pct = evidence.machine.slope_return_pct
    middle_m, metre_pct = _over_metres(line, terrain)
    worst = int(np.argmax(metre_pct))
    found_pct = float(metre_pct[worst])
    over_pct = evidence.rules.return_line.over_limit_pct
    if found_pct > limit_pct + over_pct:
        told = _advised(evidence, "return_line_gradient", line, found_pct - over_pct)
        yield breach(
            evidence, "return_gradient",
            f"{line.words} rises or falls by {found_pct:.1f} % over a metre here, a "
            f"{evidence.machine.name} machine climbs {limit_pct:.0f} %",
            told or line.place(float(middle_m[worst])), measured=found_pct, limit=limit_pct,
        )  # fmt: skip


def _told(evidence: Evidence, line: LaidWire, terrain: Terrain) -> Iterator[Finding]:
    """Yield gradients and climb in the line's row that are not those of the ground."""
    row, at_m = line.row, line.stations_m(_STEP_M)
    height_m = heights_m(terrain, line.places(at_m))
    mean_pct = float(100 * np.abs(np.diff(height_m)).sum() / line.length_m)
    climb_m = float(height_m[-1] - height_m[0])
    metre_pct = float(_over_metres(line, terrain)[1].max())
    steepest_pct = row.number("steepest_pct")
    # Steps of 5 cm follow every facet of the ground; a spot told as steeper is steeper nowhere.
    step_pct = float(100 * np.abs(np.diff(height_m) / np.diff(at_m)).max())
    wrong = (
        ("steepest_pct", steepest_pct, metre_pct, steepest_pct < metre_pct - _TOLD_PCT
         or steepest_pct > 1.5 * step_pct + 2 * _TOLD_PCT),
        ("mean_pct", row.number("mean_pct"), mean_pct,
         abs(row.number("mean_pct") - mean_pct) > _MEAN_PCT + 0.1 * mean_pct),
        ("climb_m", row.number("climb_m"), climb_m,
         abs(row.number("climb_m") - climb_m) > _CLIMB_M),
    )  # fmt: skip
    for column, told, found, off in wrong:
        if off or np.isnan(told):
            yield breach(
                evidence, "return_gradient",
                f"{column} of {line.words} is told as {told:.2f}, the ground gives {found:.2f}",
                line.place(line.length_m / 2), measured=told, limit=found,
            )  # fmt: skip


def _over_metres(line: LaidWire, terrain: Terrain) -> tuple[FloatArray, FloatArray]:
    """Return the middle of every metre of a line, 5 cm apart, and its gradient, percent.

    A line shorter than a metre is taken whole.
    """
    base_m = min(_METRE_M, line.length_m)
    begin_m = np.arange(0.0, line.length_m - base_m + _STEP_M / 2, _STEP_M)
    ends = (heights_m(terrain, line.places(begin_m + off)) for off in (0.0, base_m))
    low, high = ends
    return begin_m + base_m / 2, 100 * np.abs(high - low) / base_m


def _advised(evidence: Evidence, rule: str, line: LaidWire, least: float) -> Point | None:
    """Return where the plan's advisory on this line stands, if it tells of as much at least."""
    for row in evidence.plan.rows("advisories"):
        if (
            row.text("rule") == rule
            and row.point is not None
            and row.point.distance(line.line) <= 2 * _HAIR_M
            and row.number("measured") >= least
        ):
            return row.point
    return None


def return_corridor(evidence: Evidence) -> Iterator[Finding]:
    """Yield lines that run too near to a perimeter wire, a lead or a surveyed thing."""
    for line in return_lines(evidence.plan):
        yield from _near_wires(evidence, line)
        yield from _near_things(evidence, line)


def _near_wires(evidence: Evidence, line: LaidWire) -> Iterator[Finding]:
    """Yield the worst place of each stretch too near to a wire, joint and station left out."""
    corridor_m = evidence.rules.return_line.corridor_m
    at_m = line.stations_m(_STEP_M)
    places = line.places(at_m)
    from_end_m = np.hypot(*(places - places[-1]).T)
    free = (at_m > corridor_m + _HAIR_M) & (from_end_m > _ENDS_CORRIDORS * corridor_m)
    wires = [wire.line for wire in perimeters(evidence.plan)]
    if not free.any() or not wires:
        return
    points = shapely.points(places[free])
    away_m = np.min([shapely.distance(wire, points) for wire in wires], axis=0)
    short_m = _wanted_m(evidence, points) - away_m
    for worst in _worst_of_each(short_m > _HAIR_M, short_m):
        yield breach(
            evidence, "return_corridor",
            f"{line.words} runs {away_m[worst]:.2f} m from the perimeter wire or a pair to an "
            f"island here, {corridor_m:.2f} m are needed for the machine's body",
            Point(points[worst]), measured=float(away_m[worst]), limit=corridor_m,
        )  # fmt: skip


def _worst_of_each(wrong: NDArray[np.bool_], by: FloatArray) -> list[int]:
    """Return, for each run of places that are wrong, the index of the worst."""
    index = np.flatnonzero(wrong)
    runs = np.split(index, np.flatnonzero(np.diff(index) > 1) + 1)
    return [int(run[np.argmax(by[run])]) for run in runs if len(run)]


def _wanted_m(evidence: Evidence, points: FloatArray) -> FloatArray:
    """Return how far off a wire a line has to be at places: in a narrow passage, in its middle."""
    corridor_m = evidence.rules.return_line.corridor_m
    wanted_m = np.full(len(points), corridor_m)
    for row in evidence.plan.rows("passages"):
        middle_m = row.number("width_m") / 2 - _PEG_M
        if row.geometry is not None and middle_m < corridor_m:
            inside = shapely.dwithin(row.geometry, points, corridor_m)
            wanted_m[inside] = np.minimum(wanted_m[inside], middle_m)
    return wanted_m


def _near_things(evidence: Evidence, line: LaidWire) -> Iterator[Finding]:
    """Yield things that a line runs over, or nearer to than their setback."""
    crossings = union(each.geometry for each in evidence.things if each.kind == CROSSING)
    reach_m = 2 * max(rule.setback_m for rule in evidence.rules.kinds.values())
    for thing in evidence.things:
        if not (thing.is_wired or thing.treatment is Treatment.FIRM):
            continue
        away_m = float(shapely.distance(thing.geometry, line.line))
        if away_m >= thing.setback_m - _ARC_M:
            continue
        place = _nearest_place(line.line, thing.geometry)
        crossed = not crossings.is_empty and thing.crossed
        if crossed and shapely.dwithin(crossings, place, reach_m):
            continue
        where = "over" if away_m == 0 else f"{away_m:.2f} m from"
        yield breach(
            evidence, "return_corridor",
            f"{line.words} runs {where} {thing.words}, {thing.setback_m:.2f} m are needed", place,
            measured=away_m, limit=thing.setback_m, severity="" if away_m else "stop",
        )  # fmt: skip


def _nearest_place(line: LineString, body: BaseGeometry) -> Point:
    inside = shapely.intersection(line, body)
    if not inside.is_empty:
        return shapely.point_on_surface(inside)
    return Point(shapely.get_coordinates(shapely.shortest_line(line, body))[0])


def return_bend(evidence: Evidence) -> Iterator[Finding]:
    """Yield lines that turn more sharply at one place than a machine follows.

    Chords within a hand's breadth of each other are one bend: their turns add up.
    """
    limit_deg = evidence.rules.return_line.largest_bend_deg
    for line in return_lines(evidence.plan):
        turn_deg = _one_bends_deg(evidence, line)
        if len(turn_deg) and turn_deg.max() > limit_deg + _HAIR_DEG:
            worst = int(np.argmax(turn_deg))
            found_deg = float(turn_deg[worst])
            place = Point(line.points[worst + 1])
            told = _advised(evidence, "return_line_bend", line, found_deg - _HAIR_DEG)
            yield breach(
                evidence, "return_bend",
                f"{line.words} turns by {found_deg:.0f} degrees at one place, a machine follows "
                f"{limit_deg:.0f}", told or place, measured=found_deg, limit=limit_deg,
            )  # fmt: skip


def _one_bends_deg(evidence: Evidence, line: LaidWire) -> FloatArray:
    """Return, for each inner vertex, by how much the line turns from it on within one bend."""
    rules = evidence.rules.return_line
    within_m = rules.bend_within_share * rules.smallest_leg_m - _HAIR_M
    at_m = line.chainage_m[1:-1]
    turned = np.concatenate([[0.0], np.cumsum(line.turns_deg)])
    last = np.searchsorted(at_m, at_m + within_m, side="right")
    return np.array(
        [np.abs(turned[at + 1 : end + 1] - turned[at]).max() for at, end in enumerate(last)],
        dtype=float,
    )
