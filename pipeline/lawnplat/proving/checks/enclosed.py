"""Checks of what the wire encloses: all that is mown, nothing that is kept off."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.loop import Loop
from lawnplat.proving.recorded import union
from lawnplat.proving.strips import strips_of
from lawnplat.proving.things import Thing
from lawnplat.proving.tolerances import ARC_M, CM, MM, SPECK_M2, arc_slack_m
from lawnplat.survey.types import Finding


def island(evidence: Evidence) -> Iterator[Finding]:
    """Yield things that are kept off and lie inside the conductor: no wire goes round them."""
    for loop in evidence.loops:
        if loop.wire.is_empty:
            continue
        things = [each for each in evidence.things if each.is_wired]
        shapely.prepare(loop.enclosed)
        touched = shapely.intersects(loop.enclosed, [each.geometry for each in things])
        inside = [each for each, hit in zip(things, touched, strict=True) if hit]
        if not inside:
            continue
        strips = shapely.buffer(strips_of(evidence, loop), CM)
        # Between the wires of a pair that leads over a thing no machine is.
        between = shapely.buffer(loop.leads, evidence.rules.wire.pair_gap_m + MM)
        for thing in inside:
            apart = union([strips, between]) if thing.crossed else between
            yield from _open_to(evidence, loop, thing, apart)


def _open_to(
    evidence: Evidence, loop: Loop, thing: Thing, apart: BaseGeometry
) -> Iterator[Finding]:
    free = shapely.difference(shapely.intersection(thing.geometry, loop.enclosed), apart)
    much = free.area > SPECK_M2 or (thing.geometry.area == 0 and not free.is_empty)
    if much:
        text = (
            f"no wire goes round this {thing.words}, or not round all of it: "
            f"{free.area:.2f} m2 of it lie inside the loop"
            if free.area > 0
            else f"no wire goes round this {thing.words}: the machine would run into it"
        )
        place = shapely.point_on_surface(free)
        yield breach(evidence, "island", text, place, measured=free.area, limit=0.0)


def mown_outside(evidence: Evidence) -> Iterator[Finding]:
    """Yield ground that is mown and lies outside its wire."""
    for loop in evidence.loops:
        if loop.wire.is_empty:
            continue
        out = shapely.difference(loop.mowable, shapely.buffer(loop.enclosed, MM))
        # A lead is a slit one gap wide: closed again, it takes nothing off the ground inside.
        gap_m = evidence.rules.wire.pair_gap_m
        slits = shapely.buffer(loop.leads, gap_m + MM, cap_style="square")
        out = shapely.difference(out, slits)
        if out.area > SPECK_M2:
            worst = max(shapely.get_parts(out), key=lambda part: part.area)
            text = f"{out.area:.2f} m2 that are to be mown lie outside the wire"
            place = shapely.point_on_surface(worst)
            yield breach(evidence, "mown_outside", text, place, measured=out.area, limit=0.0)


def unmown_inside(evidence: Evidence) -> Iterator[Finding]:
    """Inside the wire all is mown, firm, or a strip over a crossing."""
    for loop in evidence.loops:
        if loop.wire.is_empty:
            continue
        known = shapely.buffer(union([loop.mowable, evidence.firm]), CM)
        strange = shapely.difference(loop.enclosed, known)
        if strange.area <= SPECK_M2:
            continue
        strips = shapely.buffer(strips_of(evidence, loop), CM)
        # Between the wires of a pair, and in the corners that the slit cuts, nobody mows.
        slits = shapely.buffer(loop.leads, evidence.rules.wire.pair_gap_m + MM)
        strange = shapely.difference(strange, union([strips, slits]))
        if strange.area > SPECK_M2:
            worst = max(shapely.get_parts(strange), key=lambda part: part.area)
            text = f"the wire encloses {strange.area:.2f} m2 that are not to be mown"
            place = shapely.point_on_surface(worst)
            yield breach(evidence, "unmown_inside", text, place, measured=strange.area, limit=0.0)


def mown_setback(evidence: Evidence) -> Iterator[Finding]:
    """Nothing is mown on what is kept off or within its setback, nor up to an open edge."""
    parts = evidence.plan.shapes("mowable")
    if not parts:
        return
    tree = shapely.STRtree(list(parts))
    for thing in evidence.things:
        if not thing.is_wired:
            continue
        least_m = max(thing.setback_m - arc_slack_m(thing.setback_m), 0.0)
        near = tree.query(thing.geometry, predicate="dwithin", distance=least_m)
        apart = [float(shapely.distance(parts[number], thing.geometry)) for number in near]
        if not apart or min(apart) >= least_m:
            continue
        part = parts[near[apart.index(min(apart))]]
        place = shapely.get_point(shapely.shortest_line(part, thing.geometry), 0)
        text = (
            f"the ground mown comes within {min(apart):.2f} m of the {thing.words}, "
            f"{thing.setback_m:.2f} m wanted"
        )
        yield breach(
            evidence, "mown_setback", text, place, measured=min(apart), limit=thing.setback_m
        )
    yield from _to_open_edges(evidence, parts)


def _to_open_edges(evidence: Evidence, parts: Sequence[BaseGeometry]) -> Iterator[Finding]:
    """Yield the ground mown that comes nearest to an edge beyond which nothing is known."""
    limit_m, rim = evidence.rules.ground.open_edge_m, evidence.open_rim
    if rim.is_empty or limit_m <= ARC_M:
        return
    apart_m = np.asarray(shapely.distance(np.asarray(parts, dtype=object), rim))
    nearest = int(np.argmin(apart_m))
    if apart_m[nearest] >= limit_m - ARC_M:
        return
    place = shapely.get_point(shapely.shortest_line(parts[nearest], rim), 0)
    text = (
        f"the ground mown comes within {apart_m[nearest]:.2f} m of an edge of the lawn beyond "
        f"which nothing is known, {limit_m:.2f} m wanted"
    )
    yield breach(
        evidence, "mown_setback", text, place, measured=float(apart_m[nearest]), limit=limit_m,
        severity="warn",
    )  # fmt: skip
