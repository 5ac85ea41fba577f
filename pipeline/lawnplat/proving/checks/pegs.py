"""Pegs: on their wires, at every bend and joint, close enough along the wire and on curves."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.laid_wires import FloatArray, LaidWire, laid_wires
from lawnplat.proving.recorded import Row
from lawnplat.survey.types import Finding

_AT_M = 0.01
"""A peg is on its wire, and at its chainage, to a centimetre; so thick is a peg."""
_GAP_M = 1e-6
_HAIR_DEG = 1e-6
_CHORD_M = 0.002
"""Arcs are drawn as chords: vertices shape them to so much."""
_REASONS = ("spacing", "bend", "joint", "pair")


@dataclass(frozen=True)
class _Pegged:
    """A wire with its pegs. ``back`` are its ways back along leads, held by their pairs' pegs."""

    wire: LaidWire
    rows: tuple[Row, ...]
    back: tuple[Row, ...]
    gap_m: float

    @cached_property
    def places(self) -> FloatArray:
        """Coordinates of the pegs. Shape (n, 2)."""
        return np.array([shapely.get_coordinates(row.geometry)[0] for row in self.rows])

    @cached_property
    def own_m(self) -> FloatArray:
        """Chainages of the pegs as told, in order. Shape (n,)."""
        return np.sort([row.number("chainage_m") for row in self.rows])

    @property
    def reach_m(self) -> float:
        """How far off a peg holds a wire: one peg holds both wires of a pair."""
        return 2 * self.gap_m + _AT_M

    @cached_property
    def held_m(self) -> FloatArray:
        """Chainages at which the wire is held: by its own pegs, and by its pairs' on the way back.

        In order.
        """
        found = [self.own_m]
        pegs = np.asarray(shapely.points(self.places), dtype=object)
        for row in self.back:
            if isinstance(row.geometry, LineString):
                near = pegs[shapely.dwithin(row.geometry, pegs, self.reach_m)]
                found.append(row.number("from_m") + shapely.line_locate_point(row.geometry, near))
        return np.sort(np.concatenate(found))

    def is_back(self, at_m: FloatArray) -> NDArray[np.bool_]:
        """Return whether chainages lie on a way back."""
        inside = np.zeros(len(at_m), dtype=bool)
        for row in self.back:
            inside |= (at_m > row.number("from_m") - _AT_M) & (at_m < row.number("to_m") + _AT_M)
        return inside


def peg_on_wire(evidence: Evidence) -> Iterator[Finding]:
    """Yield pegs that stand beside their wire or their chainage, or on no wire."""
    wires = {wire.name: wire for wire in laid_wires(evidence.plan)}
    yield from _on_no_wire(evidence, frozenset(wires))
    for row in evidence.plan.rows("pegs"):
        on, name = row.text("on"), f"peg {row.text('seq')}"
        there = row.point
        if on not in wires:
            continue
        at_m = row.number("chainage_m")
        off_m = np.inf if there is None else there.distance(wires[on].place(at_m))
        if not off_m <= _AT_M or not -_AT_M <= at_m <= wires[on].length_m + _AT_M:
            yield breach(
                evidence, "peg_on_wire",
                f"{name} stands {off_m:.2f} m from {at_m:.2f} m of {wires[on].words}, where it is "
                "told to be", there, measured=off_m, limit=_AT_M,
            )  # fmt: skip
        if row.text("reason") not in _REASONS:
            text = f"{name} has no known reason: '{row.text('reason')}'"
            yield breach(evidence, "peg_on_wire", text, there)


def _on_no_wire(evidence: Evidence, wires: frozenset[str]) -> Iterator[Finding]:
    """Yield one finding for all pegs that are told on one wire that is not there."""
    lost: dict[str, list[Row]] = {}
    for row in evidence.plan.rows("pegs"):
        if row.text("on") not in wires:
            lost.setdefault(row.text("on"), []).append(row)
    for on, rows in lost.items():
        many = "" if len(rows) == 1 else f" and {len(rows) - 1} more"
        text = f"peg {rows[0].text('seq')}{many} told on '{on}', which is not there"
        yield breach(
            evidence, "peg_on_wire", text, rows[0].point, measured=float(len(rows)), limit=0.0
        )


def peg_missing(evidence: Evidence) -> Iterator[Finding]:
    """Yield bends, joints and wires without a peg, and gaps in the pegs' numbers."""
    if not evidence.plan.loops:
        return
    for pegged in _pegged(evidence):
        if not pegged.rows:
            yield breach(
                evidence, "peg_missing", f"{pegged.wire.words} has no peg", pegged.wire.place(0.0)
            )
            continue
        yield from _bare(evidence, pegged)
    yield from _numbers(evidence)


def _bare(evidence: Evidence, pegged: _Pegged) -> Iterator[Finding]:
    """Yield one finding for all bends and joints of a wire that no peg holds."""
    wire = pegged.wire
    sharp = np.abs(wire.turns_deg) >= evidence.rules.pegs.bend_deg + _HAIR_DEG
    must_m = [*wire.chainage_m[1:-1][sharp], 0.0, wire.length_m]
    joints_m = np.array(
        [
            row.number("chainage_m")
            for row in evidence.plan.rows("wire_joints")
            if row.text("on") == wire.name
        ]
    )
    # A splice on the way back along a lead lies between the pegs of its pair, as the wire does.
    must_m += joints_m[~np.isnan(joints_m) & ~pegged.is_back(joints_m)].tolist()
    at_m = np.sort(np.array(must_m, dtype=float))
    pegs = shapely.multipoints(pegged.places)
    away_m = np.asarray(shapely.distance(pegs, shapely.points(wire.places(at_m))), dtype=float)
    bare = np.flatnonzero(away_m > pegged.reach_m)
    if len(bare):
        worst = bare[int(np.argmax(away_m[bare]))]
        yield breach(
            evidence, "peg_missing",
            f"{len(bare)} bend(s) or joint(s) of {wire.words} have no peg, such as the one at "
            f"{at_m[worst]:.2f} m", wire.place(float(at_m[worst])), measured=float(away_m[worst]),
            limit=pegged.reach_m,
        )  # fmt: skip


def _numbers(evidence: Evidence) -> Iterator[Finding]:
    rows = evidence.plan.rows("pegs")
    told = Counter(row.number("seq") for row in rows)
    missing = [number for number in range(1, len(rows) + 1) if number not in told]
    if missing:
        yield breach(
            evidence, "peg_missing",
            f"{len(rows)} pegs are not numbered from 1, each once: there is no peg {missing[0]}",
            _before(rows, missing[0]), measured=len(told), limit=len(rows),
        )  # fmt: skip


def _before(rows: tuple[Row, ...], number: int) -> Point | None:
    """Return where the peg with the next lower number stands."""
    lower = [row for row in rows if row.number("seq") < number and row.point is not None]
    last = max(lower, key=lambda row: row.number("seq"), default=None)
    return None if last is None else Point(shapely.get_coordinates(last.geometry)[0])


def peg_spacing(evidence: Evidence) -> Iterator[Finding]:
    """Yield stretches where pegs stand too far apart, along the wire or for a curve."""
    for pegged in _pegged(evidence):
        if pegged.rows:
            yield from _apart(evidence, pegged)
            yield from _off_chords(evidence, pegged)


def _apart(evidence: Evidence, pegged: _Pegged) -> Iterator[Finding]:
    wire, limit_m = pegged.wire, evidence.rules.pegs.spacing_m
    stops_m = np.concatenate([[0.0], pegged.held_m, [wire.length_m]])
    gaps_m = np.diff(stops_m)
    middle_m = (stops_m[1:] + stops_m[:-1]) / 2
    # Round a bend the outer wire of a pair is longer by a gap and more than the inner one.
    allowed_m = limit_m + _GAP_M + np.where(pegged.is_back(middle_m), pegged.reach_m, 0.0)
    over = np.flatnonzero(gaps_m > allowed_m)
    if len(over):
        worst = over[int(np.argmax(gaps_m[over]))]
        yield breach(
            evidence, "peg_spacing",
            f"pegs of {wire.words} stand {gaps_m[worst]:.2f} m apart from {stops_m[worst]:.2f} m "
            f"on, at most {limit_m:.2f} m are allowed ({len(over)} such gap(s))",
            wire.place(float(middle_m[worst])), measured=float(gaps_m[worst]), limit=limit_m,
        )  # fmt: skip


def _off_chords(evidence: Evidence, pegged: _Pegged) -> Iterator[Finding]:
    """Yield the place where wire pulled taut from peg to peg leaves its line by most."""
    wire, limit_m = pegged.wire, evidence.rules.pegs.curve_offset_m
    inner = wire.chainage_m[1:-1]
    stops_m = np.union1d(pegged.held_m, [0.0, wire.length_m])
    before = np.clip(np.searchsorted(stops_m, inner, side="right") - 1, 0, len(stops_m) - 2)
    ends = wire.places(stops_m) @ np.array([1.0, 1.0j])
    start, run = ends[before], ends[before + 1] - ends[before]
    way = wire.points[1:-1] @ np.array([1.0, 1.0j]) - start
    share = np.clip((way * run.conj()).real / np.maximum(np.abs(run) ** 2, 1e-12), 0.0, 1.0)
    off_m = np.where(pegged.is_back(inner), 0.0, np.abs(way - share * run))
    if len(off_m) and off_m.max() > limit_m + _CHORD_M:
        worst = int(np.argmax(off_m))
        yield breach(
            evidence, "peg_spacing",
            f"wire pulled taut from peg to peg leaves the curve of {wire.words} by "
            f"{off_m[worst]:.2f} m at {inner[worst]:.2f} m, {limit_m:.2f} m are allowed",
            wire.place(float(inner[worst])), measured=float(off_m[worst]), limit=limit_m,
        )  # fmt: skip


def _pegged(evidence: Evidence) -> list[_Pegged]:
    plan = evidence.plan
    pegs: dict[str, list[Row]] = {}
    for row in plan.rows("pegs"):
        if row.point is not None and not np.isnan(row.number("chainage_m")):
            pegs.setdefault(row.text("on"), []).append(row)
    found = []
    for wire in laid_wires(plan):
        mine = () if wire.is_return else plan.of_loop(wire.loop).rows("wire_sections")
        back = tuple(row for row in mine if row.text("section") == "lead_back")
        rows = tuple(pegs.get(wire.name, ()))
        found.append(_Pegged(wire, rows, back, evidence.rules.wire.pair_gap_m))
    return found
