"""Checks of each loop's conductor: one line, closed at its station, never touching itself."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely import LinearRing, Point

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.loop import Loop
from lawnplat.proving.tolerances import ARC_M, CM
from lawnplat.survey.types import Finding

_END_M = 0.6
"""Both ends lie nearer to the station point than this: what a plan file promises."""


def conductor(evidence: Evidence) -> Iterator[Finding]:
    """Yield loops without one wire from the station's left terminal to its right one."""
    for loop in evidence.loops:
        lines = loop.plan.rows("perimeter_wire")
        if len(lines) != 1:
            text = f"loop {loop.number} has {len(lines)} perimeter wires, not one"
            yield breach(evidence, "conductor", text, measured=len(lines), limit=1)
        if loop.wire.is_empty:
            text = f"the perimeter wire of loop {loop.number} is not one line"
            yield breach(evidence, "conductor", text)
            continue
        yield from _touching(evidence, loop)
        yield from _ends(evidence, loop)


def _touching(evidence: Evidence, loop: Loop) -> Iterator[Finding]:
    """Two places of one wire lie no nearer to each other than the wires of a pair.

    Nearer along the wire than four gaps they are its own bend.
    """
    gap_m = evidence.rules.wire.pair_gap_m
    pieces = loop.segments
    least_m = gap_m - ARC_M
    one, other = loop.tree.query(pieces, predicate="dwithin", distance=least_m)
    later = other > one
    one, other = one[later], other[later]
    ends = np.cumsum(shapely.length(pieces))
    between_m = ends[other - 1] - ends[one]
    far = between_m > 4 * gap_m
    one, other = one[far], other[far]
    if len(one) == 0:
        return
    apart = np.asarray(shapely.distance(pieces[one], pieces[other]))
    worst = int(np.argmin(apart))
    at = shapely.get_coordinates(shapely.shortest_line(pieces[one[worst]], pieces[other[worst]]))
    crosses = apart[worst] == 0
    near = f"comes within {1000 * apart[worst]:.0f} mm of itself"
    words = "touches or crosses itself" if crosses else near
    text = f"the perimeter wire {words}: pull it apart, or plan the property again"
    yield breach(
        evidence, "conductor", text, Point(at[0]), measured=float(apart[worst]), limit=gap_m
    )


def _ends(evidence: Evidence, loop: Loop) -> Iterator[Finding]:
    station = loop.station
    if station is None:
        text = f"loop {loop.number} has no station"
        yield breach(evidence, "conductor", text, Point(loop.wire.coords[0]))
        return
    ends = np.array([loop.wire.coords[0], loop.wire.coords[-1]])
    run = ends - np.array(station.coords[0])
    far = np.hypot(*run.T)
    if far.max() >= _END_M:
        at = Point(ends[int(np.argmax(far))])
        text = f"an end of the perimeter wire lies {far.max():.2f} m from the station"
        yield breach(evidence, "conductor", text, at, measured=float(far.max()), limit=_END_M)
        return
    left = np.array([-loop.ahead[1], loop.ahead[0]])
    sides = run @ left
    ring = LinearRing(loop.wire.coords)
    if not (sides[0] > 0 > sides[1]) or ring.is_ccw:
        text = (
            "the perimeter wire is not drawn from the station's left terminal to its right one "
            "with the lawn on the right: chainages and leads would be told the wrong way round"
        )
        yield breach(evidence, "conductor", text, station)
    off_m = ring.distance(station)
    if off_m > CM:
        text = f"the station stands {off_m:.2f} m off the line of the perimeter"
        yield breach(evidence, "conductor", text, station, measured=off_m, limit=CM)
