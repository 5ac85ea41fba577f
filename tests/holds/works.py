"""Checks of pegs, materials, advisories, the record and the file's own shape."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

import numpy as np
import pandas as pd
import shapely
from shapely import LineString

from holds.given import CM, Case
from holds.plan_file import COLUMNS

PLANNED = {"planned", "planned_with_advisories"}


def layers(case: Case) -> Iterator[str]:
    """Every layer of the contract is there with its columns, every row with its property."""
    ids = set(case.plan["parcel"]["property_id"])
    if len(ids) != 1:
        yield f"layers: parcel is of {sorted(ids)}"
    for name, columns in COLUMNS.items():
        if name not in case.plan.layers:
            yield f"layers: no layer {name}"
            continue
        frame = case.plan[name]
        missing = {"property_id", *columns.split()} - set(frame.columns)
        if missing:
            yield f"layers: {name} lacks {sorted(missing)}"
        elif not set(frame["property_id"]) <= ids:
            yield f"layers: {name} has rows of another property"
    crs = {str(f.crs) for f in case.plan.layers.values() if getattr(f, "crs", None) is not None}
    if len(crs) != 1:
        yield f"layers: several CRSs: {sorted(crs)}"


def run_info(case: Case) -> Iterator[str]:
    facts = case.plan.facts
    for key in ("lawnplat_version", "crs", "machine_class", "grid_cell_m", "rule_book_sha256"):
        if not facts.get(key):
            yield f"run_info: no {key}"
    if not any(key.startswith("input ") for key in facts):
        yield "run_info: no input"


def status(case: Case) -> Iterator[str]:
    """A plan is called what its findings make it."""
    found = set(case.plan["advisories"]["severity"])
    if not found <= {"stop", "warn", "note"}:
        yield f"status: severities {sorted(found)}"
    expected = (
        "not_plannable"
        if "stop" in found
        else "planned_with_advisories"
        if "warn" in found
        else "planned"
    )
    if case.given.status is not None and case.given.status != expected:
        yield f"status: called {case.given.status}, the advisories say {expected}"
    if expected in PLANNED and not case.plan.laid:
        yield "status: planned, but without wire"
    texts = case.plan["advisories"]["text"].fillna("")
    if (texts.str.len() < 10).any():
        yield "status: an advisory says nothing"


def _gaps(chainage: np.ndarray, free: list[tuple[float, float]]) -> np.ndarray:
    """Return what lies between neighbouring pegs, stretches pegged by a pair taken off."""
    gaps = np.diff(chainage)
    for first, last in free:
        low = np.clip(chainage[:-1], first, last)
        high = np.clip(chainage[1:], first, last)
        gaps = gaps - (high - low)
    return gaps


def peg_numbers(case: Case) -> Iterator[str]:
    frame = case.plan["pegs"]
    if sorted(frame["seq"]) != list(range(1, len(frame) + 1)):
        yield "pegs: they are not numbered from 1"


def pegs(case: Case) -> Iterator[str]:
    plan = case.plan
    frame = plan["pegs"]
    if not set(frame["reason"]) <= {"spacing", "bend", "joint", "pair"}:
        yield f"pegs: reasons {sorted(set(frame['reason']))}"
    sections = plan["wire_sections"]
    back = sections[sections["section"] == "lead_back"]
    shared = list(zip(back["from_m"], back["to_m"], strict=True))
    yield from _pegs_on(case, plan.perimeter_name, plan.wire, shared)
    for row in plan["return_lines"].itertuples():
        yield from _pegs_on(case, f"return_{row.line_no}", row.geometry, [])


def _pegs_on(
    case: Case, name: str, wire: LineString, shared: list[tuple[float, float]]
) -> Iterator[str]:
    rules = case.rules.pegs
    mine = case.plan["pegs"][case.plan["pegs"]["on"] == name]
    at = mine["chainage_m"].to_numpy(float)
    if len(at) == 0 or not (np.diff(at) > 0).all():
        yield f"pegs: those on {name} are not in order"
        return
    off = shapely.distance(mine.geometry.to_numpy(), shapely.line_interpolate_point(wire, at))
    if off.max() > CM:
        yield f"pegs: one on {name} is {off.max():.3f} m from its chainage"
    whole = np.concatenate([[0.0], at, [wire.length]])
    widest = _gaps(whole, shared).max()
    if widest > rules.spacing_m + 1e-6:
        yield f"pegs: {widest:.3f} m apart on {name}"
    bends = _bends(wire, rules.bend_deg)
    # One peg holds both wires of a pair (a gap apart) and two vertices within its own thickness.
    reach = 2 * case.rules.wire.pair_gap_m + CM
    all_pegs = shapely.multipoints(mine.geometry.to_numpy())
    bare = shapely.distance(bends, all_pegs) > reach
    if bare.any():
        place = bends[bare][0]
        yield f"pegs: {bare.sum()} bends of {name} without one, at {place.x:.2f} {place.y:.2f}"


def _bends(wire: LineString, least_deg: float) -> np.ndarray:
    points = shapely.get_coordinates(wire)
    run = np.diff(points, axis=0)
    cross = run[:-1, 0] * run[1:, 1] - run[:-1, 1] * run[1:, 0]
    turn = np.degrees(np.abs(np.arctan2(cross, (run[:-1] * run[1:]).sum(axis=1))))
    return shapely.points(points[1:-1][turn >= least_deg + 1e-6])


def materials(case: Case) -> Iterator[str]:
    """The sums in words give the quantities, and start from what was laid."""
    plan, rules = case.plan, case.rules
    if not plan.laid:
        return
    loops = len(plan["perimeter_wire"])
    frame = plan["materials"].set_index("item")
    if frame["quantity"].isna().any():
        yield f"materials: no quantity of {sorted(frame.index[frame['quantity'].isna()])}"
    for item, laid_m in (
        ("perimeter wire", plan["perimeter_wire"].length.sum()),
        ("return line wire", plan["return_lines"].length.sum()),
    ):
        yield from _wire_sum(case, frame, item, float(laid_m))
    wanted = {
        "pegs": math.ceil(round(len(plan["pegs"]) * (1 + rules.pegs.spare_share), 6)),
        "three-way joints": len(plan["return_lines"]),
        "terminal connectors": 2 * loops + len(plan["return_lines"]),
        "wire splices": int((plan["wire_joints"]["joint"] == "splice").sum()),
        "charging station": loops,
    }
    for item, quantity in wanted.items():
        if item not in frame.index:
            yield f"materials: no {item}"
        elif frame.loc[item, "quantity"] != quantity:
            yield f"materials: {frame.loc[item, 'quantity']} {item}, {quantity} counted"
    if (frame["basis"].fillna("").str.len() < 5).any() or (frame["unit"].fillna("") == "").any():
        yield "materials: a line without basis or unit"


def _wire_sum(case: Case, frame: pd.DataFrame, item: str, laid_m: float) -> Iterator[str]:
    if item not in frame.index:
        yield f"materials: no {item}"
        return
    quantity, basis = frame.loc[item, ["quantity", "basis"]]
    words = re.fullmatch(
        r"([\d.]+) m laid \+ (\d+) x ([\d.]+) m spare at the ends \+ ([\d.]+) % waste.*", basis
    )
    if words is None:
        yield f"materials: the basis of {item} cannot be followed: {basis}"
        return
    told_m, ends, spare_m, waste = (float(word) for word in words.groups())
    # The basis is told to a decimetre, and the quantity is rounded up to one.
    if abs(told_m - laid_m) > 0.051 or spare_m < case.rules.wire.spare_end_m or ends < 2:
        yield f"materials: {item}: {basis}, but {laid_m:.2f} m are laid"
    least = (laid_m + ends * spare_m) * (1 + waste / 100)
    if not least - 1e-6 <= quantity <= least + 0.11:
        yield f"materials: {quantity} m of {item}, {least:.2f} m by its basis"
