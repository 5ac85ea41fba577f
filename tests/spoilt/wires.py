"""Ways to spoil perimeter, ground and station."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
import shapely.ops
from shapely import LineString, Point, Polygon, affinity

from lawnplat.proving.evidence import Evidence
from lawnplat.settings.types import Treatment
from lawnplat.survey.types import Feature

from .ways import (
    Spoilt,
    Way,
    chainages,
    changed,
    dropped,
    first,
    left_of,
    points_of,
    redrawn,
    unit,
    with_plan,
)

WIRE = "perimeter_wire"


def vertex_toward_a_wall(evidence: Evidence) -> Spoilt | None:
    """Move the wire's place nearest to a building 10 cm toward it."""
    houses = [each.geometry for each in evidence.things if each.kind == "building"]
    if not houses:
        return None
    house = shapely.union_all(houses)
    points = points_of(evidence.plan, WIRE)
    at_m = chainages(points)
    inner = (at_m > 3) & (at_m < at_m[-1] - 3)
    away = np.where(inner, shapely.distance(shapely.points(points), house), np.inf)
    near = int(np.argmin(away))
    if away[near] > 0.6:
        return None
    there = shapely.get_coordinates(shapely.shortest_line(Point(points[near]), house))
    points[near] += 0.10 * unit(there[1] - there[0])
    return with_plan(evidence, redrawn(evidence.plan, WIRE, points), Point(points[near]))


def _longest(points: np.ndarray) -> int:
    """Return the start of the longest straight that is not the first or the last."""
    lengths = np.hypot(*np.diff(points, axis=0).T)
    return 1 + int(np.argmax(lengths[1:-1]))


def wire_drawn_in(evidence: Evidence) -> Spoilt:
    """Leave a square metre or so of mown ground outside the wire."""
    points = points_of(evidence.plan, WIRE)
    at = _longest(points)
    middle = (points[at] + points[at + 1]) / 2
    inward = -left_of(points[at + 1] - points[at])
    new = np.insert(points, at + 1, middle + 0.3 * inward, axis=0)
    return with_plan(evidence, redrawn(evidence.plan, WIRE, new))


def wire_off_the_property(evidence: Evidence) -> Spoilt:
    """Draw one place of the wire a metre beyond the parcel."""
    points = points_of(evidence.plan, WIRE)
    rim = evidence.parcel.boundary
    at_m = chainages(points)
    away = shapely.distance(shapely.points(points), rim)
    away[(at_m < 3) | (at_m > at_m[-1] - 3)] = np.inf
    near = int(np.argmin(away))
    there = shapely.get_coordinates(shapely.shortest_line(Point(points[near]), rim))
    tip = there[1] + 1.0 * unit(there[1] - there[0])
    wire = evidence.loops[0].wire
    sides = [wire.interpolate(at_m[near] + off).coords[0] for off in (-1, 1)]
    before, after = points[at_m < at_m[near] - 1], points[at_m > at_m[near] + 1]
    new = np.vstack([before, sides[0], tip, sides[1], after])
    return with_plan(evidence, redrawn(evidence.plan, WIRE, new), Point(tip))


def wire_crossing_itself(evidence: Evidence) -> Spoilt:
    points = points_of(evidence.plan, WIRE)
    a, b = len(points) // 3, len(points) // 2
    points[[a, b]] = points[[b, a]]
    return with_plan(evidence, redrawn(evidence.plan, WIRE, points))


def wire_backwards(evidence: Evidence) -> Spoilt:
    return with_plan(evidence, redrawn(evidence.plan, WIRE, points_of(evidence.plan, WIRE)[::-1]))


def wire_begins_late(evidence: Evidence) -> Spoilt:
    wire = evidence.loops[0].wire
    line = shapely.ops.substring(wire, 1.5, wire.length)
    return with_plan(
        evidence,
        redrawn(evidence.plan, WIRE, shapely.get_coordinates(line)),
        evidence.loops[0].station,
    )


def pair_swapped(evidence: Evidence) -> Spoilt | None:
    """Exchange the two wires of a lead: out where it came back."""
    wire = evidence.loops[0].wire
    rows = evidence.loops[0].sections
    out = next((row for row in rows if row.text("section") == "lead_out"), None)
    if out is None or out.geometry.length < 0.4:
        return None
    points = points_of(evidence.plan, WIRE)
    at_m = chainages(points)
    middle_m = (out.number("from_m") + out.number("to_m")) / 2
    here = np.array(wire.interpolate(middle_m).coords[0])
    ahead = unit(np.array(wire.interpolate(middle_m + 0.05).coords[0]) - here)
    # Out beyond the way back and in again: the pair changes sides for 10 cm.
    off = left_of(ahead)
    partner = min(
        (row.geometry for row in rows if row.text("section") == "lead_back"),
        key=lambda line: line.distance(Point(here)),
    )
    side = 1 if Point(here + 0.005 * off).distance(partner) < Point(here).distance(partner) else -1
    tooth = [here - 0.05 * ahead + 0.02 * side * off, here + 0.05 * ahead + 0.02 * side * off]
    new = np.vstack([points[at_m < middle_m - 0.06], tooth, points[at_m > middle_m + 0.06]])
    return with_plan(evidence, redrawn(evidence.plan, WIRE, new), Point(here))


def pair_spread(evidence: Evidence) -> Spoilt | None:
    """Draw one wire of a pair 15 cm off the other."""
    rows = evidence.loops[0].sections
    wire = evidence.loops[0].wire
    outs = [row for row in rows if row.text("section") == "lead_out" and row.geometry.length > 0.6]
    if not outs:
        return None
    out = max(outs, key=lambda row: row.geometry.length)
    points = points_of(evidence.plan, WIRE)
    at_m = chainages(points)
    middle_m = (out.number("from_m") + out.number("to_m")) / 2
    here = np.array(wire.interpolate(middle_m).coords[0])
    ahead = unit(np.array(wire.interpolate(middle_m + 0.05).coords[0]) - here)
    off = left_of(ahead)
    partner = min(
        (row.geometry for row in rows if row.text("section") == "lead_back"),
        key=lambda line: line.distance(Point(here)),
    )
    side = -1 if Point(here + 0.005 * off).distance(partner) < Point(here).distance(partner) else 1
    bulge = here + 0.15 * side * off
    at = int(np.searchsorted(at_m, middle_m))
    plan = redrawn(evidence.plan, WIRE, np.insert(points, at, bulge, axis=0))
    return with_plan(evidence, plan, Point(bulge))


def wire_by_an_open_edge(evidence: Evidence) -> Spoilt | None:
    """Draw the middle of the longest stretch along an open edge 15 cm out."""
    against = [
        row
        for row in evidence.loops[0].sections
        if (row.text("section"), row.text("against")) == ("edge", "open_edge")
    ]
    if not against:
        return None
    longest = max(against, key=lambda row: row.geometry.length)
    if longest.geometry.length < 1.0:
        return None
    points = points_of(evidence.plan, WIRE)
    middle_m = (longest.number("from_m") + longest.number("to_m")) / 2
    wire = evidence.loops[0].wire
    here, ahead = (np.array(wire.interpolate(middle_m + m).coords[0]) for m in (0.0, 0.05))
    out = here + 0.15 * left_of(ahead - here)
    at = int(np.searchsorted(chainages(points), middle_m))
    plan = redrawn(evidence.plan, WIRE, np.insert(points, at, out, axis=0))
    return with_plan(evidence, plan, Point(out))


def loop_drawn_to(beyond_m: float) -> Way:
    """Draw the second loop's wire so far beyond the first's; negative where it stays apart."""

    def spoil(evidence: Evidence) -> Spoilt | None:
        if len(evidence.loops) < 2:
            return None
        first_wire, wire = (loop.wire for loop in evidence.loops[:2])
        here, there = shapely.get_coordinates(shapely.shortest_line(wire, first_wire))
        tip = there + beyond_m * unit(there - here)
        row = first(evidence.plan, WIRE, loop=evidence.loops[1].number)
        points = points_of(evidence.plan, WIRE, row)
        at_m, near_m = chainages(points), max(wire.project(Point(here)), 1.0)
        sides = [wire.interpolate(near_m + off).coords[0] for off in (-0.5, 0.5)]
        before, after = points[at_m < near_m - 0.5], points[at_m > near_m + 0.5]
        new = np.vstack([before, sides[0], tip, sides[1], after])
        return with_plan(evidence, redrawn(evidence.plan, WIRE, new, row), Point(tip))

    spoil.__name__ = "loops_crossing" if beyond_m > 0 else "loops_near_each_other"
    return spoil


def ground_falls_outside(evidence: Evidence) -> Spoilt | None:
    """Let the ground fall by 40 % outside the middle of the longest straight, 3 m along it."""
    terrain = evidence.terrain
    if terrain is None or first(evidence.plan, "advisories", rule="edge_cross_fall") is not None:
        return None
    points = points_of(evidence.plan, WIRE)
    at = _longest(points)
    middle, ahead = (points[at] + points[at + 1]) / 2, unit(points[at + 1] - points[at])
    out = left_of(ahead)
    x, y = np.meshgrid(*terrain.grid.centres())
    along, off = ((x - middle[0]) * d[0] + (y - middle[1]) * d[1] for d in (ahead, out))
    fallen = 0.4 * np.clip(off + 0.5, 0.0, 1.5) * (np.abs(along) <= 1.5)
    height = terrain.elevation_m - fallen
    down, east = np.gradient(height, terrain.grid.cell_m)
    fallen_away = replace(terrain, elevation_m=height, dz_dx=east, dz_dy=-down)
    return Spoilt(replace(evidence, terrain=fallen_away), Point(middle))


def section_shifted(evidence: Evidence) -> Spoilt:
    at = len(evidence.plan.rows("wire_sections")) // 2
    row = evidence.plan.rows("wire_sections")[at]
    plan = changed(evidence.plan, "wire_sections", at, from_m=row.number("from_m") + 0.5)
    return with_plan(evidence, plan)


def section_dropped(evidence: Evidence) -> Spoilt:
    at = len(evidence.plan.rows("wire_sections")) // 2
    return with_plan(evidence, dropped(evidence.plan, "wire_sections", at))


def fall_told_gentler(evidence: Evidence) -> Spoilt | None:
    """Tell of ground that rises steeply outside the longest section that is no pair."""
    if evidence.terrain is None:
        return None
    rows = evidence.plan.rows("wire_sections")
    open_rows = [at for at, row in enumerate(rows) if row.text("section") in ("edge", "island")]
    at = max(open_rows, key=lambda place: rows[place].geometry.length)
    steepest = evidence.machine.slope_lawn_pct
    plan = changed(evidence.plan, "wire_sections", at, cross_fall_pct=-steepest)
    return with_plan(evidence, plan)


def setback_told_wider(evidence: Evidence) -> Spoilt | None:
    at = next(
        (
            place
            for place, row in enumerate(evidence.plan.rows("wire_sections"))
            if row.text("section") == "edge" and row.text("against") == "building"
        ),
        None,
    )
    if at is None:
        return None
    return with_plan(evidence, changed(evidence.plan, "wire_sections", at, setback_m=0.6))


def machine_takes_less_wire(evidence: Evidence) -> Spoilt:
    longest = min(loop.wire.length for loop in evidence.loops) - 1
    return Spoilt(replace(evidence, machine=replace(evidence.machine, longest_wire_m=longest)))


def machine_mows_less(evidence: Evidence) -> Spoilt:
    most = evidence.plan.rows("mowable")[0].geometry.area / 2
    return Spoilt(replace(evidence, machine=replace(evidence.machine, capacity_m2=most)))


def machine_is_wider(evidence: Evidence) -> Spoilt | None:
    """Hold a plan with a narrow passage to a machine that does not fit through it."""
    guided = [r for r in evidence.plan.rows("passages") if r.text("verdict") == "guided"]
    if not guided:
        return None
    least = min(row.number("width_m") for row in guided) + 0.15
    return Spoilt(replace(evidence, machine=replace(evidence.machine, smallest_passage_m=least)))


def passage_told_wider(evidence: Evidence) -> Spoilt | None:
    at = first(evidence.plan, "passages", verdict="guided")
    if at is None:
        return None
    told = evidence.plan.rows("passages")[at].number("width_m") + 0.3
    return with_plan(evidence, changed(evidence.plan, "passages", at, width_m=told))


def mown_to_the_wall(evidence: Evidence) -> Spoilt:
    """Let the mown part reach half a metre further all round."""
    part = evidence.plan.rows("mowable")[0].geometry
    wide = shapely.buffer(part, 0.3)
    wide = wide if isinstance(wide, Polygon) else part
    plan = changed(evidence.plan, "mowable", 0, wide, area_m2=wide.area)
    return with_plan(evidence, plan)


def area_told_wrong(layer: str) -> Way:
    def spoil(evidence: Evidence) -> Spoilt | None:
        if not evidence.plan.rows(layer):
            return None
        told = evidence.plan.rows(layer)[0].number("area_m2") * 1.02
        return with_plan(evidence, changed(evidence.plan, layer, 0, area_m2=told))

    spoil.__name__ = f"area_of_{layer}_off_by_2_percent"
    return spoil


def keep_out_dropped(evidence: Evidence) -> Spoilt | None:
    rows = evidence.plan.rows("keep_out")
    if not rows:
        return None
    at = max(range(len(rows)), key=lambda place: rows[place].geometry.area)
    return with_plan(evidence, dropped(evidence.plan, "keep_out", at))


def ground_too_steep(evidence: Evidence) -> Spoilt | None:
    """Tilt all ground by 80 %."""
    terrain = evidence.terrain
    if terrain is None:
        return None
    x, _ = np.meshgrid(*terrain.grid.centres())
    tilted = replace(
        terrain,
        elevation_m=terrain.elevation_m + 0.8 * (x - x.min()),
        dz_dx=terrain.dz_dx + 0.8,
    )
    return Spoilt(replace(evidence, terrain=tilted))


def neighbour_by_the_wire(evidence: Evidence) -> Spoilt | None:
    """Lay a neighbour's wire 20 cm outside one edge."""
    if evidence.site is None:
        return None
    points = points_of(evidence.plan, WIRE)
    at = _longest(points)
    beside = points[at : at + 2] + 0.2 * left_of(points[at + 1] - points[at])
    other = Feature("neighbour_wire", LineString(beside), "invented")
    site = replace(evidence.site, features=(*evidence.site.features, other))
    return Spoilt(replace(evidence, site=site))


def bed_in_the_lawn(evidence: Evidence) -> Spoilt | None:
    """Plant a bed in the mown lawn that the plan does not know of."""
    if evidence.site is None:
        return None
    part = evidence.plan.rows("mowable")[0].geometry
    inside = shapely.buffer(part, -1.5)
    if inside.is_empty:
        return None
    bed = shapely.point_on_surface(inside).buffer(0.6)
    site = replace(
        evidence.site,
        features=(*evidence.site.features, Feature("flower_bed", bed, "invented")),
    )
    return Spoilt(replace(evidence, site=site), bed.centroid)


def station_shifted(evidence: Evidence) -> Spoilt:
    loop = evidence.loops[0]
    ahead = loop.ahead
    moved = affinity.translate(loop.station, *(0.4 * np.array([-ahead[1], ahead[0]])))
    return with_plan(evidence, changed(evidence.plan, "station", 0, moved), moved)


def station_turned(evidence: Evidence) -> Spoilt:
    told = (evidence.plan.rows("station")[0].number("bearing_deg") + 15) % 360
    plan = changed(evidence.plan, "station", 0, bearing_deg=told)
    return with_plan(evidence, plan, evidence.loops[0].station)


def station_tilt_told_too_low(evidence: Evidence) -> Spoilt | None:
    """Tilt the ground under the station by a tenth; the plan tells what it told."""
    terrain = evidence.terrain
    if terrain is None or first(evidence.plan, "advisories", rule="station_tilt") is not None:
        return None
    x, _ = np.meshgrid(*terrain.grid.centres())
    tilted = replace(
        terrain,
        elevation_m=terrain.elevation_m + 0.15 * (x - x.min()),
        dz_dx=terrain.dz_dx + 0.15,
    )
    return Spoilt(replace(evidence, terrain=tilted), evidence.loops[0].station)


def wire_bent_by_the_station(evidence: Evidence) -> Spoilt | None:
    """Draw a place half a metre along the wire 20 cm in."""
    if first(evidence.plan, "advisories", rule="station_straight_wire") is not None:
        return None
    points = points_of(evidence.plan, WIRE)
    wire = evidence.loops[0].wire
    at_m = chainages(points)
    here = np.array(wire.interpolate(0.6).coords[0])
    run = here - points[0]
    bent = here - 0.2 * left_of(run)
    new = np.vstack([points[at_m < 0.5], bent, points[at_m > 0.7]])
    return with_plan(evidence, redrawn(evidence.plan, WIRE, new), Point(bent))


def thing_before_the_station(evidence: Evidence) -> Spoilt | None:
    """Stand a planter in the front."""
    if evidence.site is None:
        return None
    loop = evidence.loops[0]
    at = np.array(loop.station.coords[0]) + 1.2 * loop.ahead
    kind = next(k for k, r in evidence.rules.kinds.items() if r.treatment is Treatment.KEEP_OFF)
    other = Feature(kind, Point(at).buffer(0.2), "invented")
    site = replace(evidence.site, features=(*evidence.site.features, other))
    return Spoilt(replace(evidence, site=site), Point(at))


def layer_dropped(evidence: Evidence) -> Spoilt:
    layers = {name: rows for name, rows in evidence.plan.layers.items() if name != "pegs"}
    return with_plan(evidence, replace(evidence.plan, layers=layers))


def cable_over_the_lawn(evidence: Evidence) -> Spoilt | None:
    if not evidence.plan.rows("cable_route"):
        return None
    middle = evidence.plan.rows("mowable")[0].geometry.representative_point().coords[0]
    points = points_of(evidence.plan, "cable_route")
    new = np.insert(points, 1, middle, axis=0)
    return with_plan(evidence, redrawn(evidence.plan, "cable_route", new))


OF_WIRES: tuple[tuple[Way, str], ...] = (
    (vertex_toward_a_wall, "setback"),
    (wire_drawn_in, "mown_outside"),
    (wire_off_the_property, "outside"),
    (wire_crossing_itself, "conductor"),
    (wire_backwards, "conductor"),
    (wire_begins_late, "conductor"),
    (wire_by_an_open_edge, "open_edge"),
    (loop_drawn_to(-0.5), "loops_apart"),
    (loop_drawn_to(0.3), "loops_apart"),
    (ground_falls_outside, "cross_fall"),
    (pair_swapped, "pair_sides"),
    (pair_spread, "pair_spacing"),
    (section_shifted, "sections"),
    (section_dropped, "sections"),
    (setback_told_wider, "sections"),
    (fall_told_gentler, "sections"),
    (machine_takes_less_wire, "wire_length"),
    (machine_mows_less, "capacity"),
    (machine_is_wider, "passage"),
    (passage_told_wider, "passage_verdict"),
    (mown_to_the_wall, "mown_setback"),
    (area_told_wrong("mowable"), "area_column"),
    (area_told_wrong("lawn"), "area_column"),
    (keep_out_dropped, "area_sum"),
    (ground_too_steep, "slope_limit"),
    (neighbour_by_the_wire, "neighbour_wire"),
    (bed_in_the_lawn, "island"),
    (station_shifted, "station_base"),
    (station_turned, "station_front"),
    (station_tilt_told_too_low, "station_tilt"),
    (thing_before_the_station, "station_front"),
    (wire_bent_by_the_station, "straight_wire"),
    (layer_dropped, "layers"),
    (cable_over_the_lawn, "cable_route"),
)
