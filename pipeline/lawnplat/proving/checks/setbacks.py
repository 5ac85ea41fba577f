"""Checks of how far the wire keeps off things, open edges and a neighbour's wire."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.breach import breach
from lawnplat.proving.clearance import TooNear, too_near
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.loop import Loop
from lawnplat.proving.recorded import union
from lawnplat.proving.strips import carried_leads, crossings_of, strips_of
from lawnplat.proving.things import Thing
from lawnplat.proving.tolerances import ARC_M, CM, MM, arc_slack_m
from lawnplat.settings.types import Treatment
from lawnplat.survey.types import Finding

_NEIGHBOUR = "neighbour_wire"
_CUSP_M = 6 * CM
"""Where the lawn's rounded rim comes up to a strip it ends in a cusp, which is lost as far as wire
pairs are told from strips: 5 cm."""


def setback(evidence: Evidence) -> Iterator[Finding]:
    """Yield things to which a wire comes nearer than their setback."""
    yield from _kept(evidence, [each for each in evidence.things if each.kind != _NEIGHBOUR])


def neighbour_wire(evidence: Evidence) -> Iterator[Finding]:
    """Yield neighbours' wires to which a wire comes nearer than their setback."""
    yield from _kept(evidence, [each for each in evidence.things if each.kind == _NEIGHBOUR])


def _kept(evidence: Evidence, things: Sequence[Thing]) -> Iterator[Finding]:
    for loop in evidence.loops:
        if len(loop.segments) == 0:
            continue
        apart = _Apart(evidence, loop)
        for thing in things:
            yield from _of_thing(evidence, loop, thing, apart)


@dataclass(frozen=True)
class _Apart:
    """Ground on which a loop's wire may come near to things; worked out when first asked for."""

    evidence: Evidence
    loop: Loop

    @cached_property
    def _strips(self) -> BaseGeometry:
        return strips_of(self.evidence, self.loop)

    @cached_property
    def _carried(self) -> BaseGeometry:
        return shapely.buffer(carried_leads(self.evidence, self.loop, self._strips), 2 * CM)

    @cached_property
    def _crossings(self) -> BaseGeometry:
        return crossings_of(self.evidence)

    @cached_property
    def _leads(self) -> BaseGeometry:
        return shapely.buffer(self.loop.leads, MM)

    def for_thing(self, thing: Thing) -> BaseGeometry:
        """Return where the wire may pass near a thing.

        A pair to a carried lawn passes things by; a strip's wire runs over what the crossing
        crosses, if it may; a lead may pass nearer by a tree, though never through it.
        """
        exempt: list[BaseGeometry] = [self._carried]
        if thing.crossed and shapely.intersects(thing.geometry, self._crossings):
            exempt.append(shapely.buffer(self._strips, _CUSP_M))
        if thing.treatment is Treatment.FIRM:
            exempt.append(self._leads)
        return union(exempt)


def _of_thing(evidence: Evidence, loop: Loop, thing: Thing, apart: _Apart) -> Iterator[Finding]:
    if not (thing.is_wired or thing.treatment is Treatment.FIRM):
        return
    rule = _NEIGHBOUR if thing.kind == _NEIGHBOUR else "setback"
    least_m = thing.setback_m - arc_slack_m(thing.setback_m)
    if least_m > 0 and too_near(loop.segments, loop.tree, thing.geometry, least_m):
        exempt = apart.for_thing(thing)
        found = too_near(loop.segments, loop.tree, thing.geometry, least_m, exempt)
        if found is not None:
            yield _told(evidence, rule, thing, found)
            return
    if thing.barrier or thing.treatment is Treatment.FIRM:
        yield from _through(evidence, loop, thing)


def _through(evidence: Evidence, loop: Loop, thing: Thing) -> Iterator[Finding]:
    """No wire, not even a pair's, runs through a barrier or a trunk."""
    # With a setback of none, a wire along the rim touches it.
    core = shapely.buffer(thing.geometry, -CM)
    body = thing.geometry if core.is_empty else core
    hit = loop.tree.query(body, predicate="intersects")
    if len(hit) == 0:
        return
    inside = shapely.intersection(union(loop.segments[np.sort(hit)]), body)
    if inside.length > MM or (inside.length == 0 and not inside.is_empty):
        text = (
            f"the wire runs through the {thing.words}: lead it round, or through a conduit or a "
            "bore made for it"
        )
        place = shapely.point_on_surface(inside)
        yield breach(evidence, "setback", text, place, measured=0.0, limit=thing.setback_m)


def _told(evidence: Evidence, rule: str, thing: Thing, found: TooNear) -> Finding:
    whose = "" if not thing.source else f" ({thing.source})"
    text = (
        f"the wire comes within {found.nearest_m:.2f} m of the {thing.words}{whose}, "
        f"{thing.setback_m:.2f} m wanted, over about {found.length_m:.1f} m: move it away"
    )
    grave = rule == _NEIGHBOUR or thing.barrier or found.nearest_m < thing.setback_m - CM
    return breach(
        evidence,
        rule,
        text,
        found.place,
        measured=found.nearest_m,
        limit=thing.setback_m,
        severity="" if grave else "warn",
    )


def open_edge(evidence: Evidence) -> Iterator[Finding]:
    """Yield wire that comes near to an edge of the lawn beyond which nothing is known."""
    open_rim = evidence.open_rim
    if open_rim.is_empty:
        return
    limit_m = evidence.rules.ground.open_edge_m
    for loop in evidence.loops:
        if len(loop.segments) == 0:
            continue
        least_m = limit_m - ARC_M
        if too_near(loop.segments, loop.tree, open_rim, least_m) is None:
            continue
        strips = strips_of(evidence, loop)
        exempt = shapely.buffer(carried_leads(evidence, loop, strips), CM)
        found = too_near(loop.segments, loop.tree, open_rim, least_m, exempt)
        if found is not None:
            text = (
                f"the wire comes within {found.nearest_m:.2f} m of an edge of the lawn beyond "
                f"which nothing is known, {limit_m:.2f} m wanted, over about "
                f"{found.length_m:.1f} m: move it in, or have what lies there surveyed"
            )
            yield breach(
                evidence, "open_edge", text, found.place, measured=found.nearest_m, limit=limit_m
            )


def outside(evidence: Evidence) -> Iterator[Finding]:
    """Yield wire off the property, or off the lawn but for pairs and strips over crossings."""
    if evidence.parcel.is_empty or evidence.lawn.is_empty:
        return
    parcel = shapely.buffer(evidence.parcel, CM)
    lawn = shapely.buffer(evidence.lawn, CM)
    for loop in evidence.loops:
        beyond = shapely.difference(loop.wire, parcel)
        if beyond.length > MM:
            text = f"{beyond.length:.2f} m of wire lie beyond the property"
            yield breach(evidence, "outside", text, _on(beyond), measured=beyond.length, limit=0.0)
            continue
        off = shapely.difference(loop.wire, lawn)
        if off.length <= MM:
            continue
        strips = strips_of(evidence, loop)
        pairs = carried_leads(evidence, loop, strips)
        known = union([shapely.buffer(strips, _CUSP_M), shapely.buffer(pairs, 2 * CM)])
        off = shapely.difference(off, known)
        if off.length > CM:
            text = f"{off.length:.2f} m of wire lie off the lawn, where no pair has to run"
            yield breach(evidence, "outside", text, _on(off), measured=off.length, limit=0.0)


def _on(line: BaseGeometry) -> Point:
    parts = np.asarray(shapely.get_parts(line), dtype=object)
    longest = parts[int(np.argmax(shapely.length(parts)))]
    middle: Point = shapely.line_interpolate_point(longest, 0.5, normalized=True)
    return middle
