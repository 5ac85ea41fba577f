"""Checks of the conductor, its setbacks and its sections."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from holds.given import ARC_M, CM, MM, Case
from holds.plan_file import closed, union
from lawnplat.settings.types import Treatment

END_M = 0.6
"""The contract's own: both ends lie under 0.6 m from the station point."""


def conductor(case: Case) -> Iterator[str]:
    plan = case.plan
    if len(plan["perimeter_wire"]) != 1:
        yield f"conductor: {len(plan['perimeter_wire'])} lines"
        return
    wire, station = plan.wire, plan.station
    if not wire.is_simple:
        yield "conductor: it crosses or touches itself"
    ends = [Point(wire.coords[0]), Point(wire.coords[-1])]
    far = max(end.distance(station) for end in ends)
    if far >= END_M:
        yield f"conductor: an end is {far:.2f} m from the station"
    left = np.array([-plan.bearing[1], plan.bearing[0]])
    sides = [float(left @ (np.array(end.coords[0]) - station.coords[0])) for end in ends]
    if not sides[0] > 0 > sides[1]:
        yield f"conductor: it does not run from the left terminal to the right: {sides}"
    ring = shapely.LinearRing(wire.coords)
    if ring.is_ccw:
        yield "conductor: the lawn is not on its right hand"
    off = ring.distance(station)
    if off > CM:
        yield f"conductor: the station is {off:.3f} m off its line"


def _crossing_exempt(case: Case, things: list) -> BaseGeometry:
    """Return where the wire runs over what a crossing crosses: along the strip's own sides."""
    strips = case.strips()
    if strips.is_empty:
        return strips
    crossed = any(
        thing.geometry.intersects(crossing.geometry)
        for thing in things
        for crossing in case.crossings
    )
    # Where the lawn's rounded rim comes up to a strip it ends in a cusp, which is lost as far
    # as wire pairs are told from strips: 5 cm.
    return strips.buffer(6 * CM) if crossed else shapely.Polygon()


def setbacks(case: Case) -> Iterator[str]:
    """Every metre of wire keeps the setback of every feature, its own or its kind's."""
    wire = case.plan.wire
    carried = case.carried_leads().buffer(2 * CM)
    # A lead may pass nearer by a tree where there is no other way, though never through it.
    leads = union(case.plan.leads().geometry).buffer(MM)
    kinds = (Treatment.KEEP_OFF, Treatment.FLUSH, Treatment.FIRM)
    for kind, setback_m, things, body in case.grouped(*kinds):
        if setback_m <= ARC_M:
            continue
        arc_m = ARC_M * max(1.0, setback_m)
        near = shapely.intersection(wire, body.buffer(setback_m - arc_m, quad_segs=64))
        if near.is_empty:
            continue
        rule = case.rules.kinds[kind]
        barrier = rule.barrier
        exempt = [carried]
        exempt += [_crossing_exempt(case, things)] if rule.crossable and not barrier else []
        near = shapely.difference(near, union(exempt))
        if kind_is_firm(case, kind):
            near = shapely.difference(near, leads)
            if shapely.intersection(wire, body.buffer(CM)).length > 0:
                yield f"setback: the wire runs through {kind}"
        if near.length > MM:
            yield _too_near(near, body, kind, setback_m)
        if barrier and wire.intersection(body).length > MM:
            yield f"setback: the wire runs through {kind}"


def kind_is_firm(case: Case, kind: str) -> bool:
    return case.rules.kinds[kind].treatment is Treatment.FIRM


def _too_near(near: BaseGeometry, body: BaseGeometry, kind: str, setback_m: float) -> str:
    at = near.representative_point()
    return (
        f"setback: {near.length:.3f} m of wire within {setback_m} m of {kind}, down to "
        f"{near.distance(body):.4f} m, at {at.x:.2f} {at.y:.2f}"
    )


def open_edges(case: Case) -> Iterator[str]:
    """The wire keeps off the lawn's edges where nothing that is known governs them."""
    rules = case.rules.ground
    lawn = case.plan.all_of("lawn")
    rim = shapely.boundary(lawn)
    known = [t.geometry for t in case.of(Treatment.KEEP_OFF, Treatment.FLUSH)]
    # What is driven over says what lies beyond an edge only where it lies there itself.
    driven = [t.geometry.difference(lawn.buffer(2 * CM)) for t in case.of(Treatment.DRIVE_OVER)]
    known += [shape.buffer(2 * CM) for shape in driven if shape.area > 0]
    # A hair more than the rule, so that which edges count does not hang on a rounding.
    taken = union(shape.buffer(rules.edge_match_m + MM, quad_segs=32) for shape in known)
    body = shapely.difference(rim, taken)
    near = shapely.intersection(case.plan.wire, body.buffer(rules.open_edge_m - ARC_M))
    near = shapely.difference(near, union([case.carried_leads().buffer(CM)]))
    if near.length > MM:
        yield _too_near(near, body, "an open edge", rules.open_edge_m)


def on_the_property(case: Case) -> Iterator[str]:
    """No wire leaves the parcel, whatever the edge is."""
    beyond = shapely.difference(case.plan.wire, case.plan.all_of("parcel").buffer(CM))
    if beyond.length > MM:
        yield f"parcel: {beyond.length:.2f} m of wire lie beyond the parcel"


def sections(case: Case) -> Iterator[str]:
    """The sections follow one another along the whole conductor and lie on it."""
    frame = case.plan["wire_sections"]
    wire = case.plan.wire
    at = np.concatenate([[0.0], frame["to_m"].to_numpy(float)])
    gaps = np.abs(frame["from_m"].to_numpy(float) - at[:-1])
    if gaps.max() > MM or abs(at[-1] - wire.length) > MM:
        yield f"sections: gap of {gaps.max():.3f} m, end at {at[-1]:.3f} of {wire.length:.3f} m"
    if not set(frame["section"]) <= {"edge", "lead_out", "lead_back", "island"}:
        yield f"sections: names {sorted(set(frame['section']))}"
    for row in frame.itertuples():
        if abs(row.geometry.length - (row.to_m - row.from_m)) > MM:
            yield f"sections: the one from {row.from_m:.2f} m is not as long as its chainage"
        middle = wire.interpolate((row.from_m + row.to_m) / 2)
        if row.geometry.distance(middle) > MM:
            yield f"sections: the one from {row.from_m:.2f} m is not on the conductor"


def measured_setbacks(case: Case) -> Iterator[str]:
    """``setback_m`` is the least distance from the section to what it runs against."""
    bodies = {}
    for thing in case.of(Treatment.KEEP_OFF, Treatment.FLUSH, Treatment.FIRM):
        bodies.setdefault(thing.kind, []).append(thing.geometry)
    known = {*bodies, "open_edge", "too_steep", "cross_fall", "crossing", "loop_seam"}
    known |= {"straight_wire"}
    for row in case.plan["wire_sections"].itertuples():
        if row.section.startswith("lead"):
            continue
        if row.against not in known:
            yield f"sections: at {row.from_m:.1f} m against '{row.against}', which is not there"
        elif row.against in bodies:
            found = row.geometry.distance(union(bodies[row.against]))
            if not abs(found - row.setback_m) <= MM:
                yield (
                    f"sections: at {row.from_m:.1f} m against {row.against} setback_m is "
                    f"{row.setback_m:.3f}, measured {found:.3f}"
                )


def pairs(case: Case) -> Iterator[str]:
    """Each lead goes out and comes back side by side, one gap apart."""
    frame = case.plan["wire_sections"]
    gap_m = case.rules.wire.pair_gap_m
    out = frame[frame["section"] == "lead_out"]
    back = frame[frame["section"] == "lead_back"]
    if abs(out.length.sum() - back.length.sum()) > 4 * gap_m * (len(out) + len(back)) + CM:
        yield f"pairs: {out.length.sum():.2f} m out, {back.length.sum():.2f} m back"
    if out.empty or back.empty:
        return
    for one, other, word in ((out, back, "out"), (back, out, "back")):
        alone = shapely.difference(
            union(one.geometry), union(other.geometry).buffer(gap_m + 5 * MM)
        )
        # A lead lands at 30 degrees to the rim or squarer: one gap, and its cotangent of 1.7 gaps.
        longest = max((g.length for g in shapely.get_parts(alone)), default=0.0)
        if longest > 3 * gap_m:
            at = alone.representative_point()
            yield f"pairs: {longest:.3f} m {word} alone at {at.x:.2f} {at.y:.2f}"


def island_sections(case: Case) -> Iterator[str]:
    """A stretch called an island goes round a hole of the ground, one called an edge does not."""
    plan = case.plan
    # Rims nearer than a pair's wires are one; farther apart, at a neck, they are not.
    within_m = case.rules.wire.pair_gap_m / 2 + MM
    ground = closed(union([plan.all_of("mowable"), case.firm, case.strips()]), within_m)
    outer = union(LineString(g.exterior.coords) for g in shapely.get_parts(ground))
    for row in plan["wire_sections"].itertuples():
        if row.section == "edge" and row.geometry.length > 0.5:
            middle = row.geometry.interpolate(0.5, normalized=True)
            if middle.distance(outer) > 5 * CM:
                yield f"sections: the edge from {row.from_m:.1f} m lies round an island"
        if row.section == "island" and row.geometry.length > 0.5:
            middle = row.geometry.interpolate(0.5, normalized=True)
            if middle.distance(outer) < MM:
                yield f"sections: the island from {row.from_m:.1f} m lies on the outer edge"


def cross_fall_on_a_plane(case: Case) -> Iterator[str]:
    """On a plane the fall outward is the gradient times the outward normal: to the left."""
    if case.given.plane is None:
        return
    gradient = np.array(case.given.plane)
    for row in case.plan["wire_sections"].itertuples():
        run = np.diff(shapely.get_coordinates(row.geometry), axis=0)
        unit = run / np.hypot(run[:, 0], run[:, 1])[:, None]
        outward = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
        worst = float((-100 * outward @ gradient).max())
        # Smoothing leaves a plane a plane; the raster it came from is exact.
        if abs(worst - row.cross_fall_pct) > 0.1:
            yield (
                f"cross_fall: at {row.from_m:.1f} m {row.cross_fall_pct:.2f} %, "
                f"on the plane {worst:.2f} %"
            )
