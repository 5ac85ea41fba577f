"""Pegs and joints of a plan, moved to the wire as laid; joints that the track names."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import shapely

from lawnplat.proving.as_laid.types import LaidJoint, LaidPeg, LaidWire
from lawnplat.proving.recorded import RecordedPlan, Row
from lawnplat.proving.wires import loop_of, perimeter_name
from lawnplat.survey.track import TrackMark

_SAME_JOINT_M = 1.0
"""A joint that was measured this near to a planned one of its kind is that one."""


def moved_pegs(plan: RecordedPlan, wires: Mapping[str, LaidWire]) -> tuple[LaidPeg, ...]:
    """Return each planned peg where its chainage has come to lie."""
    return tuple(_pegs(plan, wires))


def _pegs(plan: RecordedPlan, wires: Mapping[str, LaidWire]) -> Iterator[LaidPeg]:
    for row in plan.rows("pegs"):
        wire = wires.get(row.text("on"))
        if wire is not None:
            at = wire.as_laid_m(row.number("chainage_m"))
            yield LaidPeg(
                int(row.number("seq")), row.text("on"), at, wire.place(at), row.text("reason")
            )


def moved_joints(
    plan: RecordedPlan, wires: Mapping[str, LaidWire], marks: Sequence[TrackMark]
) -> tuple[LaidJoint, ...]:
    """Return planned joints where their chainages have come to lie, and joints as measured.

    A joint that was measured takes the place of the planned one of its kind beside it.
    """
    measured = [_measured(mark, wires) for mark in marks if mark.what != "fixed_point"]
    planned = [joint for row in plan.rows("wire_joints") for joint in _planned(row, wires)]
    left = [
        joint
        for joint in planned
        if not any(
            joint.on == other.on
            and joint.joint == other.joint
            and shapely.dwithin(joint.point, other.point, _SAME_JOINT_M)
            for other in measured
        )
    ]
    order = {on: k for k, on in enumerate(wires)}
    return tuple(sorted([*left, *measured], key=lambda each: (order[each.on], each.chainage_m)))


def _planned(row: Row, wires: Mapping[str, LaidWire]) -> Iterator[LaidJoint]:
    on, loop = row.text("on"), loop_of(row)
    wire = wires.get(on) or wires.get(perimeter_name(loop))
    if wire is not None:
        at = wire.as_laid_m(row.number("chainage_m"))
        yield LaidJoint(row.text("joint"), wire.planned.on, loop, at, wire.place(at), "planned")


def _measured(mark: TrackMark, wires: Mapping[str, LaidWire]) -> LaidJoint:
    """Return a measured joint on the nearest wire; of equally near ones, on a perimeter."""
    point = shapely.get_coordinates(mark.point)[0]
    at = {
        on: wire.laid.nearest_within(point, 0.0, wire.laid.length_m) for on, wire in wires.items()
    }
    off = {
        on: float(np.hypot(*(wires[on].laid.places(np.array([m]))[0] - point)))
        for on, m in at.items()
    }
    on = min(off, key=lambda each: (max(off[each] - mark.accuracy_m, 0.0), each))
    return LaidJoint(mark.what, on, wires[on].planned.loop, at[on], mark.point, "measured")
