"""Checks of lawn, zones, keep-outs, mowable ground and hand trim."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from holds.given import CM, MM, Case
from holds.plan_file import GEOMETRY, closed, union
from lawnplat.settings.types import MachineClass, Treatment

SHARE = 1e-3
"""The contract's own: areas balance within 0.1 %."""


def areas(case: Case) -> Iterator[str]:
    """Every area and length column says what its geometry has."""
    for name in GEOMETRY:
        frame = case.plan[name]
        for column, measure in (("area_m2", "area"), ("length_m", "length")):
            if column not in frame or name == "passages" or frame.empty:
                continue
            off = np.abs(frame[column].to_numpy(float) - getattr(frame.geometry, measure))
            if not (off <= MM).all():
                yield f"areas: {name}.{column} is off by {off.max():.4f}"


def valid(case: Case) -> Iterator[str]:
    for name, types in GEOMETRY.items():
        frame = case.plan[name]
        if frame.empty:
            continue
        shapes = frame.geometry
        if shapes.isna().any() or shapes.is_empty.any():
            yield f"valid: {name} has empty geometry"
        elif not shapes.is_valid.all():
            yield f"valid: {name}: {shapely.is_valid_reason(shapes[~shapes.is_valid].iloc[0])}"
        elif not shapes.geom_type.isin(types).all():
            yield f"valid: {name} has {sorted(set(shapes.geom_type))}"


def _tiling(case: Case, what: str, areas: object) -> Iterator[str]:
    lawn = case.plan.all_of("lawn")
    parts = [area for area in areas if area is not None and not area.is_empty]  # type: ignore[attr-defined]
    whole = union(parts)
    overlap = sum(part.area for part in parts) - whole.area
    missing = shapely.difference(lawn, whole).area
    beyond = shapely.difference(whole, lawn).area
    allowed = SHARE * lawn.area + MM
    for word, amount in (("overlap by", overlap), ("leave out", missing), ("stick out", beyond)):
        if amount > allowed:
            yield f"{what}: they {word} {amount:.3f} m2 of {lawn.area:.1f} m2 of lawn"


def lawn_tiles(case: Case) -> Iterator[str]:
    """The lawn is what is mown and what is given up, each square metre once."""
    plan = case.plan
    if plan["lawn"].empty:
        return
    yield from _tiling(case, "tiles", [*plan["mowable"].geometry, *plan["keep_out"].geometry])


def zones_tile(case: Case) -> Iterator[str]:
    plan = case.plan
    if plan["lawn"].empty:
        return
    zones = plan["slope_zones"]
    yield from _tiling(case, "zones", zones.geometry)
    if not set(zones["zone"]) <= {"gentle", "workable", "too_steep"}:
        yield f"zones: names {sorted(set(zones['zone']))}"
    rows = zip(zones["from_pct"], zones["to_pct"], strict=True)
    if any(not (np.isnan(to) or start < to) for start, to in rows):
        yield "zones: a zone ends before it begins"
    steep = union(zones[zones["zone"] == "too_steep"].geometry)
    mown = shapely.intersection(steep, plan.all_of("mowable")).area
    if mown > 2 * CM:
        yield f"zones: {mown:.3f} m2 of ground over the machine's slope limit is mown"


def lawn_is_grass(case: Case) -> Iterator[str]:
    """A derived lawn is the parcel less all that is not grass, to the drawing's tolerance."""
    plan, rules = case.plan, case.rules
    if not case.given.derived_lawn or plan["lawn"].empty:
        return
    grass = shapely.difference(plan.all_of("parcel"), case.bare())
    lawn = plan.all_of("lawn")
    slack = rules.ground.shape_tolerance_m + MM
    extra = shapely.difference(lawn, grass.buffer(slack)).area
    # What is thinner than the tolerance on both sides, or a scrap, is a drawing error.
    lost = shapely.difference(grass.buffer(-slack), lawn)
    scraps = [g.area for g in shapely.get_parts(lost) if g.area > rules.ground.smallest_lawn_m2]
    if extra > MM or scraps:
        yield f"lawn: {extra:.3f} m2 too much, {sum(scraps):.3f} m2 too little"


def hand_trim(case: Case) -> Iterator[str]:
    plan = case.plan
    trimmed = plan.all_of("hand_trim")
    outside = shapely.difference(trimmed, plan.all_of("keep_out").buffer(MM)).area
    if outside > MM:
        yield f"hand_trim: {outside:.3f} m2 are not in any keep-out"
    paved = shapely.intersection(trimmed, case.bare()).area
    if paved > SHARE * max(trimmed.area, 1.0):
        yield f"hand_trim: {paved:.3f} m2 are no grass"


def mowable(case: Case) -> Iterator[str]:
    """Mown ground is lawn, wide enough for the machine, and its parts are named in order."""
    plan = case.plan
    frame = plan["mowable"]
    if frame.empty:
        return
    outside = shapely.difference(plan.all_of("mowable"), plan.all_of("lawn").buffer(MM)).area
    if outside > CM:
        yield f"mowable: {outside:.3f} m2 are no lawn"
    if sorted(frame["part"]) != sorted(set(frame["part"])):
        yield "mowable: two parts have one number"
    if not set(frame["role"]) <= {"main", "linked", "carried"}:
        yield f"mowable: roles {sorted(set(frame['role']))}"
    if plan.laid and list(frame["role"]).count("main") != len(plan.loops):
        yield "mowable: there is not one main part a loop"
    yield from _wide_enough(case)


def _wide_enough(case: Case) -> Iterator[str]:
    # Parts meet at passages: only the whole can be held against the smallest passage. Firm
    # obstacles stand in it without narrowing it, since the machine turns from them.
    whole = closed(union([*case.plan["mowable"].geometry, case.firm]), CM)
    radius = case.given.machine.smallest_passage_m / 2 - 1.5 * CM
    cores = [piece.buffer(-radius, quad_segs=32) for piece in shapely.get_parts(whole)]
    opened = union(core.buffer(radius + CM, quad_segs=32) for core in cores)
    narrow = shapely.difference(case.plan.all_of("mowable"), shapely.union(opened, case.firm))
    worst = max((g.area for g in shapely.get_parts(narrow)), default=0.0)
    if worst > 2 * CM:
        yield f"mowable: {worst:.3f} m2 are narrower than the machine can pass"


def passages(case: Case) -> Iterator[str]:
    """A passage is closed, guided or open by its width, which is measured to a centimetre."""
    machine = case.given.machine
    for row in case.plan["passages"].itertuples():
        widths = (row.width_m - CM, row.width_m + CM)
        fits = {_verdict(width, machine) for width in widths}
        if row.verdict not in fits:
            yield f"passages: {row.width_m:.2f} m wide and {row.verdict}"


def _verdict(width_m: float, machine: MachineClass) -> str:
    if width_m < machine.smallest_passage_m:
        return "closed"
    return "guided" if width_m < machine.comfortable_passage_m else "open"


def enclosure(case: Case) -> Iterator[str]:
    """The wire goes round all that is mown and round nothing else but firm things and strips."""
    plan = case.plan
    inside = plan.enclosed
    mown = plan.all_of("mowable")
    # A lead is a slit one pair wide: it takes its length times the gap off the ground inside.
    slits = plan.leads().length.sum() * case.rules.wire.pair_gap_m
    outside = shapely.difference(mown, inside.buffer(MM)).area
    if outside > slits + CM:
        yield f"enclosure: {outside:.3f} m2 of mowable ground are outside the wire"
    known = union([mown.buffer(CM), case.firm, case.strips().buffer(CM)])
    strange = shapely.difference(inside, known).area
    if strange > slits + CM:
        yield f"enclosure: {strange:.3f} m2 inside the wire are neither mown, firm nor a crossing"
    yield from _holes(case, inside)


def _holes(case: Case, inside: object) -> Iterator[str]:
    firm = case.firm.buffer(CM)
    for part in case.plan["mowable"].geometry:
        for ring in part.interiors:
            hole = shapely.Polygon(ring).buffer(-2 * CM)
            if hole.is_empty or firm.covers(hole):
                continue
            driven = shapely.difference(shapely.intersection(hole, inside), case.strips())
            driven = shapely.difference(driven, union([firm, case.plan.all_of("mowable")]))
            if driven.area > CM:
                at = hole.representative_point()
                yield f"enclosure: no wire round the hole at {at.x:.1f} {at.y:.1f}"


def keep_off_not_mown(case: Case) -> Iterator[str]:
    """No mown ground on or within the setback of what the wire keeps off."""
    mown = case.plan.all_of("mowable")
    for kind, setback_m, _, body in case.grouped(Treatment.KEEP_OFF, Treatment.FLUSH):
        reach = shapely.buffer(body, max(setback_m - 2 * MM, 0.0), quad_segs=32)
        area = shapely.intersection(mown, reach).area
        if area > CM:
            yield f"setback: {area:.3f} m2 within {setback_m} m of {kind} are mown"
