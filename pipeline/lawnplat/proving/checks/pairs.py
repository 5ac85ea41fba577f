"""Checks of wire pairs: side by side one gap apart, and on one side of each other throughout.

A pair is followed along the way out at small steps. Its partner is looked for among all wire that
is laid after the turn, whatever that is called, so that names in the file decide nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.laid_wires import FloatArray, LaidWire, perimeters, whole_number
from lawnplat.proving.recorded import Row
from lawnplat.proving.tolerances import MM
from lawnplat.survey.types import Finding

_STEP_M = 0.01
"""A pair is looked at every so far: a pair that changes sides does so over centimetres."""
_ENDS_GAPS = 3.0
"""A lead lands at 30 degrees to its rim or squarer: one wire runs on alone for the gap's cotangent,
1.7 gaps, and one gap more for the corner there."""
_BEND_DEG = 3.0
_BEND_GAPS = 3.0
"""Within so many gaps of a bend the outer wire is farther off the inner one, by the corner's
mitre."""
_MITRE_GAPS = 5.0
"""What a mitre may reach in gaps before it is cut off square: the drawing's own limit."""
_SPACING_M = 2 * MM
_SIDE_SHARE = 0.3
"""A partner this share of a gap to the other side has changed sides; nearer, the two touch."""
_APART_GAPS = 50.0
"""A partner farther off is not looked for."""


@dataclass(frozen=True)
class _Pair:
    """One lead along its way out or its way back, and what wire beyond its turn is nearest."""

    wire: LaidWire
    at_m: FloatArray
    """Chainages looked at, ends left out. Shape (n,)."""
    later: bool
    """Whether the partner is laid later: along a way out."""
    from_m: float
    to_m: float
    reach_m: float

    @cached_property
    def _nearest(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return distance, chainage and offset to the left of the nearest partner; shape (n,)."""
        points, ends_m = self.wire.points, self.wire.chainage_m
        here = self.wire.places(self.at_m)
        low, high = here.min(axis=0) - self.reach_m, here.max(axis=0) + self.reach_m
        first, last = points[:-1], points[1:]
        near = (np.minimum(first, last) <= high).all(axis=1)
        near &= (np.maximum(first, last) >= low).all(axis=1)
        near &= ends_m[:-1] >= self.to_m - MM if self.later else ends_m[1:] <= self.from_m + MM
        if not near.any():
            lost = np.full(len(here), np.inf)
            return lost, np.full(len(here), np.nan), lost
        start, run = first[near], (last - first)[near]
        off = here[:, None, :] - start[None]
        share = np.clip((off * run).sum(axis=2) / (run**2).sum(axis=1), 0.0, 1.0)
        off = share[..., None] * run - off
        away = np.hypot(off[..., 0], off[..., 1])
        best = np.argmin(away, axis=1)
        row = np.arange(len(here))
        lengths = np.hypot(*run.T)
        at = ends_m[:-1][near][best] + share[row, best] * lengths[best]
        left = self._lefts()
        return away[row, best], at, (off[row, best] * left).sum(axis=1)

    def _lefts(self) -> FloatArray:
        ahead = self.wire.places(self.at_m + _STEP_M / 2)
        ahead -= self.wire.places(self.at_m - _STEP_M / 2)
        length = np.maximum(np.hypot(*ahead.T), np.finfo(float).tiny)
        return np.asarray(np.stack([-ahead[:, 1], ahead[:, 0]], axis=1) / length[:, None])

    @property
    def apart_m(self) -> FloatArray:
        """Return how far the partner is off at each place."""
        return self._nearest[0]

    @property
    def partner_m(self) -> FloatArray:
        """Return the partner's chainage at each place; NaN where there is none."""
        return self._nearest[1]

    @property
    def left_m(self) -> FloatArray:
        """Return how far to the left the partner lies at each place."""
        return self._nearest[2]


def pair_spacing(evidence: Evidence) -> Iterator[Finding]:
    """Yield leads whose two wires are not the rule book's ``wire.pair_gap_m`` apart throughout."""
    gap_m = evidence.rules.wire.pair_gap_m
    for pair in _pairs(evidence):
        bent = _by_bends(pair.wire, pair.at_m, _BEND_GAPS * gap_m + _STEP_M)
        most_m = np.where(bent, _MITRE_GAPS * gap_m, gap_m + _SPACING_M)
        over_m = np.maximum(pair.apart_m - most_m, gap_m - _SPACING_M - pair.apart_m)
        worst = int(np.argmax(over_m))
        if over_m[worst] <= 0:
            continue
        apart_m = float(pair.apart_m[worst])
        words = f"{100 * apart_m:.1f} cm apart" if np.isfinite(apart_m) else "not side by side"
        text = (
            f"the two wires of a pair are {words} at {pair.at_m[worst]:.2f} m of "
            f"{pair.wire.words}, {100 * gap_m:.1f} cm wanted: apart, they cut the lawn in two"
        )
        yield breach(
            evidence, "pair_spacing", text, pair.wire.place(float(pair.at_m[worst])),
            measured=apart_m, limit=gap_m,
        )  # fmt: skip


def pair_sides(evidence: Evidence) -> Iterator[Finding]:
    """Yield leads whose way back changes sides with the way out, or does not run back along it."""
    gap_m = evidence.rules.wire.pair_gap_m
    for pair in _pairs(evidence):
        beside = pair.apart_m <= _MITRE_GAPS * gap_m
        left_m = np.where(beside, pair.left_m, 0.0)
        # At its ends the rims hold a pair apart: those say which side is right.
        told = left_m[np.abs(left_m) > _SIDE_SHARE * gap_m]
        side = 1.0 if len(told) == 0 or told[0] + told[-1] >= 0 else -1.0
        wrong_m = -side * left_m
        worst = int(np.argmax(wrong_m))
        if wrong_m[worst] > _SIDE_SHARE * gap_m:
            yield _told(evidence, pair, worst, "change sides", float(wrong_m[worst]))
            continue
        partner_m = pair.partner_m[beside]
        if len(partner_m) == 0:
            continue
        # Round a bend the nearest place of the partner may stand still, and go back by a mitre.
        forth_m = partner_m - np.minimum.accumulate(partner_m)
        worst = int(np.argmax(forth_m))
        if forth_m[worst] > 2 * _MITRE_GAPS * gap_m:
            at = int(np.flatnonzero(beside)[worst])
            yield _told(evidence, pair, at, "do not run back as they ran out", forth_m[worst])


def _told(evidence: Evidence, pair: _Pair, at: int, what: str, measured: float) -> Finding:
    text = (
        f"the two wires of a pair {what} at {pair.at_m[at]:.2f} m of {pair.wire.words}: they would "
        "cross, and the lawn beyond lie outside the loop"
    )
    place = pair.wire.place(float(pair.at_m[at]))
    return breach(evidence, "pair_sides", text, place, measured=measured, limit=0.0)


def _pairs(evidence: Evidence) -> tuple[_Pair, ...]:
    """Return the leads of every loop, once along the way out and once along the way back."""
    gap_m = evidence.rules.wire.pair_gap_m
    found = []
    for wire in perimeters(evidence.plan):
        rows = [
            row
            for row in evidence.plan.rows("wire_sections")
            if whole_number(row, "loop", 1) == wire.loop
        ]
        for name in ("lead_out", "lead_back"):
            for from_m, to_m in _spans(rows, name):
                ends_m = _ENDS_GAPS * gap_m
                at_m = np.arange(from_m + ends_m, to_m - ends_m, _STEP_M)
                if len(at_m):
                    found.append(
                        _Pair(wire, at_m, name == "lead_out", from_m, to_m, _APART_GAPS * gap_m)
                    )
    return tuple(found)


def _spans(rows: list[Row], name: str) -> list[tuple[float, float]]:
    """Return from where to where the wire runs as ``name``: sections in a row taken as one."""
    told = sorted(
        (row.number("from_m"), row.number("to_m")) for row in rows if row.text("section") == name
    )
    spans: list[tuple[float, float]] = []
    for from_m, to_m in told:
        if not from_m < to_m:
            continue
        if spans and from_m - spans[-1][1] <= MM:
            spans[-1] = (spans[-1][0], to_m)
        else:
            spans.append((from_m, to_m))
    return spans


def _by_bends(wire: LaidWire, at_m: FloatArray, within_m: float) -> NDArray[np.bool_]:
    """Return which chainages lie by a bend of the wire."""
    bends_m = wire.chainage_m[1:-1][np.abs(wire.turns_deg) > _BEND_DEG]
    if len(bends_m) == 0:
        return np.zeros(len(at_m), dtype=bool)
    after = np.searchsorted(bends_m, at_m)
    padded = np.concatenate([[-np.inf], bends_m, [np.inf]])
    return np.asarray(np.minimum(at_m - padded[after], padded[after + 1] - at_m) <= within_m)
