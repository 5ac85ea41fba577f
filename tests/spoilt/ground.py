"""Ways to spoil lawn, mown ground, what is trimmed by hand, and what is told of open edges."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np
import shapely
from shapely import Point, Polygon

from lawnplat.proving.evidence import Evidence
from lawnplat.proving.recorded import Row

from .ways import Spoilt, Way, changed, left_of, with_plan


def _deep_in(evidence: Evidence, deep_m: float) -> Point | None:
    """Return a place in the first mown part, so far from its rim; None where there is none."""
    core = shapely.buffer(evidence.plan.rows("mowable")[0].geometry, -deep_m)
    return None if core.is_empty else shapely.point_on_surface(core)


def grass_trimmed_that_is_mown(evidence: Evidence) -> Spoilt | None:
    """Add a square metre of mown lawn to what is trimmed by hand."""
    place = _deep_in(evidence, 1.0)
    if place is None or not evidence.plan.rows("hand_trim"):
        return None
    patch = place.buffer(0.6)
    trim = shapely.union(evidence.plan.rows("hand_trim")[0].geometry, patch)
    plan = changed(evidence.plan, "hand_trim", 0, trim, area_m2=trim.area)
    return with_plan(evidence, plan, place)


def paving_trimmed(evidence: Evidence) -> Spoilt | None:
    """Trim by hand, and give up as lawn, a tenth of a square metre of something not grass."""
    bare = [
        thing.geometry
        for thing in evidence.things
        if not thing.grass and thing.kind != "crossing" and thing.geometry.area > 1.0
    ]
    if not bare or not evidence.plan.rows("hand_trim"):
        return None
    patch = shapely.point_on_surface(bare[0]).buffer(0.5).intersection(bare[0])
    plan = evidence.plan
    for layer in ("hand_trim", "keep_out"):
        ground = shapely.union(plan.rows(layer)[0].geometry, patch)
        plan = changed(plan, layer, 0, ground, area_m2=ground.area)
    return with_plan(evidence, plan)


def _with_lawn(evidence: Evidence, lawn: shapely.Geometry, place: Point | None = None) -> Spoilt:
    plan = changed(evidence.plan, "lawn", 0, lawn, area_m2=lawn.area)
    return with_plan(evidence, plan, place)


def lawn_beyond_the_property(evidence: Evidence) -> Spoilt:
    corner = Point(shapely.get_coordinates(evidence.parcel.exterior)[0])
    return _with_lawn(evidence, shapely.union(evidence.lawn, corner.buffer(0.5)), corner)


def lawn_over_a_thing(evidence: Evidence) -> Spoilt | None:
    """Count a piece of house, path or bed as lawn."""
    if evidence.site is None:
        return None
    inner = shapely.buffer(evidence.parcel, -0.5)
    cores = [
        shapely.intersection(shapely.buffer(thing.geometry, -0.25), inner)
        for thing in evidence.things
        if not thing.grass
    ]
    bare = [core for core in cores if core.area > 0.5 and not core.intersects(evidence.lawn)]
    if not bare:
        return None
    place = shapely.point_on_surface(bare[0])
    return _with_lawn(evidence, shapely.union(evidence.lawn, place.buffer(0.2)), place)


def lawn_with_a_piece_forgotten(evidence: Evidence) -> Spoilt | None:
    """Leave a disc of grass out of the lawn, where the lawn is what the survey leaves."""
    place = _deep_in(evidence, 2.0)
    if place is None or evidence.site is None or evidence.site.lawns:
        return None
    return _with_lawn(evidence, shapely.difference(evidence.lawn, place.buffer(1.9)), place)


def hole_in_what_is_mown(evidence: Evidence) -> Spoilt | None:
    """Leave a disc inside the wire unmown."""
    place = _deep_in(evidence, 1.0)
    if place is None:
        return None
    part = shapely.difference(evidence.plan.rows("mowable")[0].geometry, place.buffer(0.5))
    if not isinstance(part, Polygon):
        return None
    plan = changed(evidence.plan, "mowable", 0, part, area_m2=part.area)
    return with_plan(evidence, plan, place)


def _along_open_edge(evidence: Evidence) -> tuple[int, np.ndarray, np.ndarray] | None:
    """Return the longest section along an open edge, its middle, and the way out of the lawn."""
    rows = [
        (row.geometry.length, at, row)
        for at, row in enumerate(evidence.plan.rows("wire_sections"))
        if (row.text("section"), row.text("against")) == ("edge", "open_edge")
    ]
    if not rows:
        return None
    length_m, at, row = max(rows, key=lambda each: each[:2])
    if length_m < 1.0:
        return None
    half = row.geometry.length / 2
    here, on = (np.array(row.geometry.interpolate(half + m).coords[0]) for m in (0.0, 0.05))
    return at, here, left_of(on - here)


def mown_to_an_open_edge(evidence: Evidence) -> Spoilt | None:
    """Let what is mown reach 15 cm over its wire, beside an edge with nothing known beyond."""
    found = _along_open_edge(evidence)
    if found is None:
        return None
    _, here, out = found
    place = Point(here + 0.15 * out)
    reach = shapely.LineString([here - 0.5 * out, here + 0.1 * out]).buffer(0.05)
    rows = evidence.plan.rows("mowable")
    at = int(np.argmin([row.geometry.distance(reach) for row in rows]))
    part = shapely.union(rows[at].geometry, reach)
    if not isinstance(part, Polygon):
        return None
    plan = changed(evidence.plan, "mowable", at, part, area_m2=part.area)
    return with_plan(evidence, plan, place)


def open_edge_told_wider(evidence: Evidence) -> Spoilt | None:
    found = _along_open_edge(evidence)
    if found is None:
        return None
    told = evidence.plan.rows("wire_sections")[found[0]].number("setback_m") + 0.05
    return with_plan(evidence, changed(evidence.plan, "wire_sections", found[0], setback_m=told))


def _advised_at_the_first_station(rule: str) -> Row:
    said = {"rule": rule, "severity": "warn", "text": "invented", "measured": None, "limit": None}
    return Row(None, MappingProxyType(said))


def capacity_advised_of_the_other_loop(evidence: Evidence) -> Spoilt | None:
    """Let the machine mow less than any loop; only the first loop's advisory says so."""
    if len(evidence.loops) < 2:
        return None
    first, other = evidence.loops[:2]
    said = replace(_advised_at_the_first_station("capacity"), geometry=first.station)
    plan = evidence.plan.with_rows("advisories", [*evidence.plan.rows("advisories"), said])
    least = min(loop.mowable.area for loop in evidence.loops) / 2
    machine = replace(evidence.machine, capacity_m2=least)
    return Spoilt(replace(evidence, plan=plan, machine=machine), other.station)


def wire_advised_of_the_other_loop(evidence: Evidence) -> Spoilt | None:
    """Let the machine take less wire than any loop; only the first loop's advisory says so."""
    if len(evidence.loops) < 2:
        return None
    first, other = evidence.loops[:2]
    said = replace(_advised_at_the_first_station("longest_wire"), geometry=first.station)
    plan = evidence.plan.with_rows("advisories", [*evidence.plan.rows("advisories"), said])
    least = min(loop.wire.length for loop in evidence.loops) - 1
    machine = replace(evidence.machine, longest_wire_m=least)
    return Spoilt(replace(evidence, plan=plan, machine=machine), other.station)


OF_GROUND: tuple[tuple[Way, str], ...] = (
    (grass_trimmed_that_is_mown, "hand_trim"),
    (paving_trimmed, "hand_trim"),
    (lawn_beyond_the_property, "lawn_is_grass"),
    (lawn_over_a_thing, "lawn_is_grass"),
    (hole_in_what_is_mown, "unmown_inside"),
    (mown_to_an_open_edge, "mown_setback"),
    (open_edge_told_wider, "sections"),
)
"""Each of them on nearly every plan."""
OF_SOME_GROUND: tuple[tuple[Way, str], ...] = (
    (lawn_with_a_piece_forgotten, "lawn_is_grass"),
    (capacity_advised_of_the_other_loop, "capacity"),
    (wire_advised_of_the_other_loop, "wire_length"),
)
"""These need a lawn that the survey did not draw, or two loops."""
