"""Setting out: every mark worked out again from its tapes, edge and wire."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.heights import heights_m
from lawnplat.proving.laid_wires import FloatArray, LaidWire, laid_wires
from lawnplat.proving.recorded import Row, union
from lawnplat.survey.types import Finding

_CM = 0.01
_HALF_CM = 0.005
_CUT_DEG = 0.2
"""A millimetre in a short tape turns the cut by a tenth of a degree."""
_TOLD_DEG = 0.5
_HEIGHT_M = 0.02
_ARC_M = 0.01
"""A stretch is told as one arc whose offset is measured on the wire as drawn."""
_STEP_M = 0.1
_LEAST_CHORD_M = 0.02
_TWIN = "r"
STATION = "station"
PARCEL = "parcel_boundary"
_BUILDING = "building"


@dataclass(frozen=True)
class _Marks:
    """The marks that have a place, by name, the fixed points, and what no tape passes."""

    rows: dict[str, Row]
    fixed: dict[str, Point]
    houses: BaseGeometry


def setting_out(evidence: Evidence) -> Iterator[Finding]:
    """Yield marks that are off where their tapes, their edge or their wire put them."""
    plan = evidence.plan
    if not plan.loops:
        return
    rows = [row for row in plan.rows("setting_out") if row.point is not None]
    fixed = plan.rows("fixed_points")
    places = {r.text("name"): r.point for r in fixed if r.point is not None}
    marks = {row.text("mark"): row for row in rows}
    if len(places) < len(fixed) or len(marks) < len(rows):
        yield breach(evidence, "setting_out", "a mark or a fixed point has the name of another")
    houses = union(each.geometry for each in evidence.things if each.kind == _BUILDING)
    about = _Marks(marks, places, shapely.buffer(houses, -_CM))
    for row in rows:
        if row.text("from_a") or row.text("from_b"):
            yield from _taped(evidence, row, about)
        yield from _from_edge(evidence, row)
    yield from _heights(evidence, rows)
    yield from _untold(evidence, rows)
    for wire in laid_wires(plan):
        yield from _on_wire(evidence, wire, rows)
        yield from _stretches(evidence, wire, about)
    yield from _joints(evidence, rows)


def _taped(evidence: Evidence, row: Row, about: _Marks) -> Iterator[Finding]:
    name, place = f"mark {row.text('mark')}", Point(shapely.get_coordinates(row.geometry)[0])
    a, b = (about.fixed.get(row.text(column)) for column in ("from_a", "from_b"))
    if a is None or b is None:
        yield breach(
            evidence, "setting_out", f"{name} is taped from a fixed point that is not there", place
        )
        return
    tape_a, tape_b = row.number("dist_a_m"), row.number("dist_b_m")
    longest_m = evidence.rules.setting_out.longest_tape_m
    if not max(tape_a, tape_b) <= longest_m:
        yield breach(
            evidence, "setting_out", f"{name} asks for a tape of {max(tape_a, tape_b):.2f} m",
            place, measured=max(tape_a, tape_b), limit=longest_m,
        )  # fmt: skip
    met = _meet(a, b, tape_a, tape_b, row.text("side"))
    off_m = math.inf if met is None else met.distance(place)
    if off_m > _CM:
        yield breach(
            evidence, "setting_out",
            f"{name} is drawn {off_m:.2f} m from where its tapes of {tape_a:.3f} and "
            f"{tape_b:.3f} m meet", place, measured=off_m, limit=_CM, severity="stop",
        )  # fmt: skip
        return
    yield from _cut(evidence, row, place, a, b)
    for each in (a, b):
        if not about.houses.is_empty and LineString([each, place]).intersects(about.houses):
            yield breach(evidence, "setting_out", f"a tape to {name} runs through a house", place)


def _meet(a: Point, b: Point, tape_a: float, tape_b: float, side: str) -> Point | None:
    """Return where two tapes meet: from ``a``, at the angle to ``b`` of the law of cosines."""
    apart = math.dist((a.x, a.y), (b.x, b.y))
    if side not in ("left", "right") or not apart > 0 or not tape_a > 0:
        return None
    cosine = (tape_a**2 + apart**2 - tape_b**2) / (2 * tape_a * apart)
    if not abs(cosine) <= 1 + _CM:
        return None
    turn = math.acos(max(-1.0, min(1.0, cosine))) * (1 if side == "left" else -1)
    angle = math.atan2(b.y - a.y, b.x - a.x) + turn
    return Point(a.x + tape_a * math.cos(angle), a.y + tape_a * math.sin(angle))


def _cut(evidence: Evidence, row: Row, place: Point, a: Point, b: Point) -> Iterator[Finding]:
    rules = evidence.rules.setting_out
    toward = [math.atan2(each.y - place.y, each.x - place.x) for each in (a, b)]
    cut_deg = abs(math.degrees(math.remainder(toward[0] - toward[1], math.tau)))
    bad = not rules.smallest_cut_deg - _CUT_DEG <= cut_deg <= rules.largest_cut_deg + _CUT_DEG
    if bad or not abs(cut_deg - row.number("angle_deg")) <= _TOLD_DEG:
        yield breach(
            evidence, "setting_out",
            f"the tapes to mark {row.text('mark')} cut at {cut_deg:.1f} degrees, told are "
            f"{row.number('angle_deg'):.1f}; {rules.smallest_cut_deg:.0f} to "
            f"{rules.largest_cut_deg:.0f} fix a mark well", place, measured=cut_deg,
            limit=rules.smallest_cut_deg,
        )  # fmt: skip


def _from_edge(evidence: Evidence, row: Row) -> Iterator[Finding]:
    """Yield a mark that is not as far from the edge named as it is told to be."""
    kind, told_m = row.text("edge"), row.number("edge_offset_m")
    if not kind:
        return
    things = [each.geometry for each in evidence.things if each.kind == kind]
    things += [evidence.parcel] if kind == PARCEL else []
    outlines = [
        shapely.boundary(each) if shapely.get_dimensions(each) > 1 else each for each in things
    ]
    found_m = float(shapely.distance(outlines, row.geometry).min()) if outlines else math.inf
    if not abs(found_m - told_m) <= _HALF_CM:
        yield breach(
            evidence, "setting_out",
            f"mark {row.text('mark')} is told to lie {told_m:.2f} m from the nearest "
            f"{kind.replace('_', ' ')}, it lies {found_m:.2f} m off",
            Point(shapely.get_coordinates(row.geometry)[0]), measured=told_m, limit=found_m,
        )  # fmt: skip


def _heights(evidence: Evidence, rows: list[Row]) -> Iterator[Finding]:
    if evidence.terrain is None or not rows:
        return
    places = shapely.get_coordinates([row.geometry for row in rows])
    told = np.array([row.number("height_m") for row in rows])
    off = np.abs(told - heights_m(evidence.terrain, places))
    off[np.isnan(off)] = 0.0
    worst = int(np.argmax(off))
    if off[worst] > _HEIGHT_M:
        yield breach(
            evidence, "setting_out",
            f"mark {rows[worst].text('mark')} is told {told[worst]:.2f} m high, the ground there "
            f"is {off[worst]:.2f} m off that", Point(places[worst]), measured=float(off[worst]),
            limit=_HEIGHT_M,
        )  # fmt: skip


def _untold(evidence: Evidence, rows: list[Row]) -> Iterator[Finding]:
    """Yield marks without tapes of which no advisory says how they are found."""
    bare = [row for row in rows if not row.text("from_a") and not row.text("mark").endswith(_TWIN)]
    notes = [r for r in evidence.plan.rows("advisories") if r.text("rule") == "setting_out"]
    told = sum(row.number("count") for row in notes)
    if told != len(bare):
        place = Point(shapely.get_coordinates(bare[0].geometry)[0]) if bare else None
        yield breach(
            evidence, "setting_out",
            f"{len(bare)} marks have no tapes, of {told:g} the plan says how they are found", place,
            measured=len(bare), limit=told,
        )  # fmt: skip


def _on_wire(evidence: Evidence, wire: LaidWire, rows: list[Row]) -> Iterator[Finding]:
    mine = [row for row in rows if row.text("on") == wire.name]
    if not mine:
        yield breach(
            evidence, "setting_out", f"{wire.words} has no mark to be set out by", wire.place(0.0)
        )
        return
    at_m = np.array([row.number("chainage_m") for row in mine])
    points = shapely.get_coordinates([row.geometry for row in mine])
    off_m = np.hypot(*(wire.places(at_m) - points).T)
    worst = int(np.argmax(np.nan_to_num(off_m, nan=np.inf)))
    if not off_m[worst] <= _CM:
        yield breach(
            evidence, "setting_out",
            f"mark {mine[worst].text('mark')} is drawn {off_m[worst]:.2f} m from "
            f"{at_m[worst]:.2f} m of {wire.words}, where it is told to be", Point(points[worst]),
            measured=float(off_m[worst]), limit=_CM,
        )  # fmt: skip


def _stretches(evidence: Evidence, wire: LaidWire, about: _Marks) -> Iterator[Finding]:
    """Yield the stretch between two marks where the wire leaves the straight or arc told most."""
    limit_m = evidence.rules.setting_out.curve_offset_m + _ARC_M
    worst: tuple[float, Row, Point] | None = None
    for row in about.rows.values():
        to = about.rows.get(row.text("to_mark"))
        if row.text("on") != wire.name or not row.text("to_mark"):
            continue
        if to is None:
            place = Point(shapely.get_coordinates(row.geometry)[0])
            text = (
                f"mark {row.text('mark')} leads to mark {row.text('to_mark')}, which is not there"
            )
            yield breach(evidence, "setting_out", text, place)
            continue
        found = _leaves(wire, row, to)
        if found is not None and (worst is None or found[0] > worst[0]):
            worst = (found[0], row, found[1])
    if worst is not None and worst[0] > limit_m:
        yield breach(
            evidence, "setting_out",
            f"from mark {worst[1].text('mark')} to mark {worst[1].text('to_mark')} {wire.words} "
            f"leaves the straight or arc told by {worst[0]:.2f} m", worst[2], measured=worst[0],
            limit=limit_m,
        )  # fmt: skip


def _leaves(wire: LaidWire, row: Row, to: Row) -> tuple[float, Point] | None:
    """Return by how much the wire leaves the stretch between two marks at most, and where."""
    ends = shapely.get_coordinates([row.geometry, to.geometry])
    from_m = row.number("chainage_m")
    to_m = to.number("chainage_m") if to.text("on") == wire.name else wire.length_m
    offset_m, chord_m = row.number("to_next_offset_m"), float(np.hypot(*(ends[1] - ends[0])))
    if not from_m < to_m or math.isnan(offset_m) or chord_m < _LEAST_CHORD_M:
        return None
    inner = wire.chainage_m[(wire.chainage_m > from_m) & (wire.chainage_m < to_m)]
    at_m = np.union1d(inner, np.linspace(from_m, to_m, int((to_m - from_m) / _STEP_M) + 3))
    away_m = _off_arc(wire.places(at_m), ends, offset_m)
    worst = int(np.argmax(away_m))
    return float(away_m[worst]), wire.place(float(at_m[worst]))


def _off_arc(points: FloatArray, ends: FloatArray, offset_m: float) -> FloatArray:
    """Return how far points lie from the circle through a chord's ends with that middle offset."""
    start, run = ends[0], ends[1] - ends[0]
    chord_m = float(np.hypot(*run))
    left = np.array([-run[1], run[0]]) / chord_m
    if abs(offset_m) < _HALF_CM:
        return np.asarray(np.abs((points - start) @ left), dtype=float)
    radius_m = (chord_m**2 / 4 + offset_m**2) / (2 * offset_m)
    centre = start + run / 2 + left * (offset_m - radius_m)
    away_m = np.hypot(*(points - centre).T)
    return np.asarray(np.abs(away_m - abs(radius_m)), dtype=float)


def _joints(evidence: Evidence, rows: list[Row]) -> Iterator[Finding]:
    marks = shapely.multipoints(shapely.get_coordinates([row.geometry for row in rows]))
    for row in evidence.plan.rows("wire_joints"):
        if row.point is not None and not row.point.distance(marks) <= _CM:
            yield breach(
                evidence, "setting_out",
                f"the {row.text('joint').replace('_', '-')} joint at {row.number('chainage_m'):.2f}"
                f" m of {row.text('on')} has no mark", row.point,
            )  # fmt: skip
