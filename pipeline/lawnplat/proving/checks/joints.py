"""Joints: every one that has to be there is, at its chainage on its wire."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import shapely
from shapely import Point

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.laid_wires import LaidWire, laid_wires, perimeters, return_lines
from lawnplat.proving.recorded import Row
from lawnplat.survey.types import Finding

_AT_M = 0.01
"""A joint is on its wire, and at its chainage, to a centimetre."""
_SPOOL_M = 1e-6
TERMINAL, THREE_WAY, SPLICE = "terminal", "three_way", "splice"


def joint(evidence: Evidence) -> Iterator[Finding]:
    """Yield joints that are missing, that are off their place, or that belong to nothing."""
    if evidence.plan.loops:
        yield from _misplaced(evidence)
        yield from _terminals(evidence)
        yield from _three_way(evidence)
        yield from _splices(evidence)


def joints_on(evidence: Evidence, name: str, kind: str) -> list[Row]:
    """Return the joints of a kind on the wire of that name, in the order of the file."""
    return [
        row
        for row in evidence.plan.rows("wire_joints")
        if row.text("on") == name and row.text("joint") == kind
    ]


def _misplaced(evidence: Evidence) -> Iterator[Finding]:
    wires = {wire.name: wire for wire in laid_wires(evidence.plan)}
    for row in evidence.plan.rows("wire_joints"):
        kind, on, at_m = row.text("joint"), row.text("on"), row.number("chainage_m")
        there = row.point
        if on not in wires or kind not in (TERMINAL, THREE_WAY, SPLICE):
            yield breach(
                evidence, "joint", f"a joint '{kind}' is told on '{on}', which is not there",
                there, severity="warn",
            )  # fmt: skip
            continue
        off_m = np.inf if there is None else there.distance(wires[on].place(at_m))
        if not off_m <= _AT_M:
            yield breach(
                evidence, "joint",
                f"the {kind.replace('_', '-')} joint at {at_m:.2f} m of {wires[on].words} is drawn "
                f"{off_m:.2f} m from there: chainage or place is wrong", there, measured=off_m,
                limit=_AT_M, severity="warn",
            )  # fmt: skip


def _terminals(evidence: Evidence) -> Iterator[Finding]:
    for wire in laid_wires(evidence.plan):
        ends_m = [0.0] if wire.is_return else [0.0, wire.length_m]
        told_m = [row.number("chainage_m") for row in joints_on(evidence, wire.name, TERMINAL)]
        for end_m in ends_m:
            if not any(abs(at_m - end_m) <= _AT_M for at_m in told_m):
                yield breach(
                    evidence, "joint",
                    f"no terminal is planned at {end_m:.2f} m of {wire.words}, where it is "
                    "connected to the station", wire.place(end_m),
                )  # fmt: skip
        if len(told_m) > len(ends_m):
            yield breach(
                evidence, "joint", f"{wire.words} has {len(told_m)} terminals for "
                f"{len(ends_m)} end(s) at the station", wire.place(0.0), measured=len(told_m),
                limit=len(ends_m), severity="warn",
            )  # fmt: skip


def _three_way(evidence: Evidence) -> Iterator[Finding]:
    ends = {line.words: Point(line.points[-1]) for line in return_lines(evidence.plan)}
    joints = [row for wire in perimeters(evidence.plan)
              for row in joints_on(evidence, wire.name, THREE_WAY)
              if row.point is not None]  # fmt: skip
    for words, end in ends.items():
        if not any(shapely.dwithin(row.geometry, end, _AT_M) for row in joints):
            yield breach(
                evidence, "joint", f"no three-way joint is planned at the end of {words}", end
            )
    for row in joints:
        if not any(shapely.dwithin(row.geometry, end, _AT_M) for end in ends.values()):
            yield breach(
                evidence, "joint", "a three-way joint is planned where no return line ends",
                Point(shapely.get_coordinates(row.geometry)[0]), severity="warn",
            )  # fmt: skip


def _splices(evidence: Evidence) -> Iterator[Finding]:
    for wire in laid_wires(evidence.plan):
        yield from _spliced(evidence, wire)


def _spliced(evidence: Evidence, wire: LaidWire) -> Iterator[Finding]:
    """Yield stretches longer than a spool.

    The spare at the wire's first end comes off the first spool; at its last end a remainder
    shorter than the spare may be taken from the spare itself.
    """
    spool_m, spare_m = evidence.rules.wire.spool_m, evidence.rules.wire.spare_end_m
    told = sorted(row.number("chainage_m") for row in joints_on(evidence, wire.name, SPLICE))
    ends_m = (-spare_m, wire.length_m - spare_m)
    stops_m = [ends_m[0], *(at_m for at_m in told if not np.isnan(at_m)), ends_m[1]]
    for before_m, after_m in pairwise(stops_m):
        if after_m - before_m > spool_m + _SPOOL_M:
            yield breach(
                evidence, "joint",
                f"{after_m - before_m:.1f} m of {wire.words} are taken without a splice, "
                f"a spool holds {spool_m:.0f} m", wire.place(before_m + spool_m),
                measured=after_m - before_m, limit=spool_m, severity="warn",
            )  # fmt: skip
    needed = int(np.ceil(round((wire.length_m + spare_m) / spool_m, 9))) - 1
    if len(told) > max(needed, 0):
        yield breach(
            evidence, "joint",
            f"{len(told)} splice(s) are planned in {wire.words}, its length asks for {needed}",
            wire.place(told[-1]), measured=len(told), limit=needed, severity="warn",
        )  # fmt: skip
