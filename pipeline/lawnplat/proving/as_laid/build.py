"""Hold the wire as laid against its plan."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from lawnplat.errors import SurveyError
from lawnplat.proving.as_laid.breaks import breaks
from lawnplat.proving.as_laid.laid_line import Moves, moved_wire, moves
from lawnplat.proving.as_laid.measured import Matching, Measured, measured_wires
from lawnplat.proving.as_laid.moved_things import moved_joints, moved_pegs
from lawnplat.proving.as_laid.shifted import control_findings, shift_finding
from lawnplat.proving.as_laid.straying import gaps, is_coarse, slips, strays
from lawnplat.proving.as_laid.types import AsLaid, Gap, LaidWire, Stray
from lawnplat.proving.chained import ChainedWire
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.wires import planned_wires
from lawnplat.settings.types import RuleBook
from lawnplat.survey.track import Track
from lawnplat.survey.types import Finding

_KILOMETRE_M = 1000.0
_TOLD_M = 0.1
"""Chainages are told to the decimetre: a shorter stretch is told as a place."""


def as_laid(evidence: Evidence, track: Track) -> AsLaid:
    """Match a track to a plan and tell where it strays and what that breaks.

    Parameters
    ----------
    evidence : Evidence
        The plan and the rules in force.
    track : Track
        In the plan's CRS.

    Returns
    -------
    AsLaid

    Raises
    ------
    SurveyError
        The plan lays no wire, or the track lies nowhere near it.
    """
    plan, rules = evidence.plan, evidence.rules
    wires = planned_wires(plan)
    if not wires:
        raise SurveyError(plan.property_id, "its plan lays no wire", "name a plan with a wire")
    _check_near(track, wires, rules.as_laid.reach_m)
    own = rules.as_laid
    matching = measured_wires(track.lines, wires, own.reach_m, own.largest_gap_m)
    points = {each.wire.on: each for each in matching.wires}
    laid = tuple(_laid(wire, points.get(wire.on), rules) for wire in wires)
    by_name = {wire.planned.on: wire for wire in laid}
    checked = {wire.planned.on: _checked(wire, rules) for wire in laid if wire.strays}
    findings = [*track.findings, *_findings(laid, matching)]
    findings += _coarse_finding(matching.wires, rules)
    findings += shift_finding(matching.wires, rules)
    findings += control_findings(track.marks, plan, rules)
    return AsLaid(
        property_id=plan.property_id,
        crs=plan.crs,
        wires=laid,
        pegs=moved_pegs(plan, by_name),
        joints=moved_joints(plan, by_name, track.marks),
        findings=(*findings, *breaks(evidence, laid, checked)),
    )


def _check_near(track: Track, wires: Sequence[ChainedWire], reach_m: float) -> None:
    lines = shapely.union_all([wire.line for wire in wires])
    points = np.concatenate([line.xy for line in track.lines])
    reach = max(reach_m, *(float(line.accuracy_m.max()) for line in track.lines))
    nearest_m = float(shapely.distance(shapely.points(points), lines).min())
    if nearest_m > reach:
        far = (
            f"{nearest_m / _KILOMETRE_M:.3g} km"
            if nearest_m >= _KILOMETRE_M
            else f"{nearest_m:.1f} m"
        )
        remedy = "is it this property, and the CRS that was named, x before y?"
        raise SurveyError(
            track.lines[0].where, f"the track lies {far} from the plan's wires", remedy
        )


def _laid(wire: ChainedWire, points: Measured | None, rules: RuleBook) -> LaidWire:
    if points is None:
        whole = Gap(wire.on, 0.0, wire.length_m)
        none = np.empty(0, dtype=bool)
        return LaidWire(wire, wire, wire.at_m, wire.at_m, None, none, np.nan, (), (whole,))
    slip = slips(points, rules)
    good = points.where(~slip)
    found, bare = strays(good, rules), gaps(good, rules.as_laid.largest_gap_m)
    coarse = is_coarse(good, rules)
    by = moves(good, found, bare, rules.pegs.spacing_m, only_strays=coarse)
    line, plan_m, laid_m = moved_wire(wire, by)
    sigma_m = float(np.median(points.sigma_m))
    return LaidWire(wire, line, plan_m, laid_m, points, slip, sigma_m, found, bare)


def _checked(wire: LaidWire, rules: RuleBook) -> ChainedWire:
    """Return a wire as laid where it strays, else as planned."""
    if wire.points is None:
        return wire.planned
    good = wire.points.where(~wire.outlier)
    by: Moves = moves(good, wire.strays, wire.gaps, rules.pegs.spacing_m, only_strays=True)
    return moved_wire(wire.planned, by)[0]


def _findings(laid: Sequence[LaidWire], matching: Matching) -> Iterator[Finding]:
    for wire in laid:
        yield from (_stray_finding(each) for each in wire.strays)
        yield from _bare_findings(wire)
        if wire.points is not None and wire.outlier.any():
            k = int(np.flatnonzero(wire.outlier)[0])
            text = f"{wire.planned.on}: a lone point far off between two in place is left out"
            count, off_m = int(wire.outlier.sum()), abs(float(wire.points.offset_m[k]))
            place = shapely.Point(wire.points.xy[k])
            yield Finding("slip", "note", text, count=count, place=place, measured=round(off_m, 3))
    if len(matching.elsewhere):
        text = "a point of the track lies on no wire of the plan, and is left out"
        first = shapely.Point(matching.elsewhere[0])
        yield Finding("track_elsewhere", "note", text, count=len(matching.elsewhere), place=first)
    if matching.twice:
        text = "a point of a stretch that a longer part of the track has measured too is left out"
        yield Finding("measured_twice", "note", text, count=matching.twice)


def _coarse_finding(wires: Sequence[Measured], rules: RuleBook) -> Iterator[Finding]:
    coarse = [float(np.median(each.sigma_m)) for each in wires if is_coarse(each, rules)]
    if coarse:
        least = rules.as_laid.stray_sigmas * max(coarse) + rules.as_laid.stray_m
        text = (
            f"points good to {max(coarse):.2f} m do not tell whether setbacks are kept: strays "
            f"under {least:.1f} m are not seen, and the record holds the rest as planned"
        )
        limit = rules.ground.open_edge_m / rules.as_laid.stray_sigmas
        yield Finding("track_coarse", "warn", text, measured=max(coarse), limit=round(limit, 3))


def _stray_finding(each: Stray) -> Finding:
    stretch = (
        f"from {each.from_m:.1f} to {each.to_m:.1f} m"
        if each.points > 1
        else f"at {each.at_m:.1f} m"
    )
    text = (
        f"{each.on} {stretch} (chainage on the plan) lies up to {abs(each.worst_m):.2f} m to the "
        f"{each.side} of its plan, worst at {each.at_m:.1f} m"
    )
    return Finding(
        "stray", "warn", text, place=each.place,
        measured=round(abs(each.worst_m), 3), limit=round(each.limit_m, 3),
    )  # fmt: skip


def _bare_findings(wire: LaidWire) -> Iterator[Finding]:
    on, length = wire.planned.on, wire.planned.length_m
    if wire.points is None:
        text = f"{on} is not in the track: the record holds it as planned, {length:.1f} m"
        yield Finding("not_measured", "note", text, measured=round(length, 3))
        return
    for gap in wire.gaps:
        text = (
            f"{on} from {gap.from_m:.1f} to {gap.to_m:.1f} m (chainage on the plan) was not "
            "measured: the record holds it as planned"
        )
        middle = wire.planned.places(np.array([(gap.from_m + gap.to_m) / 2]))[0]
        yield Finding(
            "not_measured", "warn", text, place=shapely.Point(middle),
            measured=round(gap.to_m - gap.from_m, 3),
        )  # fmt: skip
