"""Check of the ground's fall across the wire, outward: where it is steep, a machine slides over."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely import Point

from lawnplat.proving.breach import breach
from lawnplat.proving.catalogue import NEAR_M
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.heights import heights_m
from lawnplat.proving.laid_wires import FloatArray, LaidWire, perimeters, whole_number
from lawnplat.proving.recorded import Row
from lawnplat.survey.types import Finding
from lawnplat.terrain.types import Terrain

_RULE = "cross_fall"
_SAID = "edge_cross_fall"
_STEP_M = 0.1
_BASE_M = 0.5
"""The fall is that between the ground a quarter of a metre inside the wire and as far outside: two
cells of the ground's grid, and about the width of a machine."""
_CHORD_M = 0.2
"""The wire's direction is that of a chord of this length, so that arcs make no noise."""
_OVER_PCT = 1.0
"""A fall this much over the limit is worth a word: less is within what heights can tell."""
_TOLD_SHARE = 0.75
"""The steepest place told may be this much gentler than found: other places, other heights."""
_ABOUT_M = NEAR_M
"""An advisory this near to a stretch of wire is about it."""


_TOLD_PCT = 2.0
_LEAST_M = 1.0
"""A shorter section is a corner or two, across which no two ways of measuring agree."""


@dataclass(frozen=True)
class _Stretch:
    """Wire over which the ground falls outward too steeply, place by place along the wire."""

    places: FloatArray
    fall_pct: FloatArray

    @property
    def worst(self) -> int:
        """Return which place is the steepest."""
        return int(np.argmax(self.fall_pct))


def cross_fall(evidence: Evidence) -> Iterator[Finding]:
    """Yield stretches of wire outside which the ground falls away over the machine's edge limit.

    Stretches shorter than the rule book's ``ground.edge_stretch_m`` do not count, nor do pairs.
    """
    terrain = evidence.terrain
    if terrain is None:
        return
    limit_pct = evidence.machine.slope_edge_pct
    for wire in perimeters(evidence.plan):
        for stretch in _stretches(evidence, wire, terrain):
            found_pct = float(stretch.fall_pct[stretch.worst])
            text = (
                f"along {len(stretch.places) * _STEP_M:.1f} m of {wire.words} the ground falls "
                f"away outside it by up to {found_pct:.1f} % over {_BASE_M} m, a "
                f"{evidence.machine.name} machine holds {limit_pct:.0f} %: set a barrier "
                "outside the wire, or move the wire to gentler ground"
            )
            place = _advised(evidence, stretch) or Point(stretch.places[stretch.worst])
            yield breach(evidence, _RULE, text, place, measured=found_pct, limit=limit_pct)


def fall_told_too_low(evidence: Evidence, wire: LaidWire, rows: Sequence[Row]) -> Iterator[Finding]:
    """Yield sections that tell of less fall across them than half their length has.

    What a section tells is its steepest place: never gentler than its median, by however other a
    way that is measured.

    Parameters
    ----------
    evidence : Evidence
        Without terrain nothing is yielded.
    wire : LaidWire
    rows : sequence of Row
        The wire's sections.
    """
    terrain = evidence.terrain
    if terrain is None:
        return
    for row in rows:
        from_m, to_m = row.number("from_m"), row.number("to_m")
        if row.text("section").startswith("lead") or not to_m - from_m >= _LEAST_M:
            continue
        at_m = np.arange(from_m, to_m, _STEP_M / 2)
        fall_pct = _outward_fall_pct(wire, at_m, terrain)
        half_pct, told_pct = float(np.median(fall_pct)), row.number("cross_fall_pct")
        if not told_pct >= half_pct - _TOLD_PCT:
            text = (
                f"the section of {wire.words} from {from_m:.2f} m tells of {told_pct:.1f} % of "
                f"fall across it at most, half of it falls by {half_pct:.1f} % or more"
            )
            place = wire.place(float(at_m[int(np.argmax(fall_pct))]))
            yield breach(evidence, "sections", text, place, measured=told_pct, limit=half_pct)


def _stretches(evidence: Evidence, wire: LaidWire, terrain: Terrain) -> Iterator[_Stretch]:
    rows = evidence.plan.rows("wire_sections")
    mine = [row for row in rows if whole_number(row, "loop", 1) == wire.loop]
    at_m = np.arange(_STEP_M / 2, wire.length_m, _STEP_M)
    if len(at_m) == 0:
        return
    fall_pct = _outward_fall_pct(wire, at_m, terrain)
    limit_pct = evidence.machine.slope_edge_pct
    over = (fall_pct > limit_pct) & ~_on_pairs(mine, at_m)
    if not over.any():
        return
    places, fall_pct = wire.places(at_m)[over], fall_pct[over]
    least_m = evidence.rules.ground.edge_stretch_m
    for group in _groups(places, least_m + 2 * _STEP_M):
        clearly = np.count_nonzero(fall_pct[group] > limit_pct + _OVER_PCT)
        if clearly * _STEP_M >= least_m + 2 * _STEP_M:
            yield _Stretch(places[group], fall_pct[group])


def _outward_fall_pct(wire: LaidWire, at_m: FloatArray, terrain: Terrain) -> FloatArray:
    """Return the fall from inside to outside, percent; the lawn lies on the wire's right."""
    run = wire.places(at_m + _CHORD_M / 2) - wire.places(at_m - _CHORD_M / 2)
    length = np.maximum(np.hypot(*run.T), np.finfo(float).tiny)
    left = np.stack([-run[:, 1], run[:, 0]], axis=1) / length[:, None]
    places = wire.places(at_m)
    inside, outside = (
        heights_m(terrain, places + side * _BASE_M / 2 * left) for side in (-1.0, 1.0)
    )
    return np.asarray(100.0 * (inside - outside) / _BASE_M)


def _on_pairs(rows: list[Row], at_m: FloatArray) -> NDArray[np.bool_]:
    """Return which chainages lie on wire pairs, over which no machine is turned."""
    on = np.zeros(len(at_m), dtype=bool)
    for row in rows:
        if row.text("section").startswith("lead"):
            on |= (at_m >= row.number("from_m")) & (at_m <= row.number("to_m"))
    return on


def _groups(places: FloatArray, within_m: float) -> Iterator[NDArray[np.intp]]:
    """Yield which places belong together: each that near to another of its group.

    A stretch that a wire pair or a step of gentle ground parts is one to whoever walks along it.
    """
    pairs = cKDTree(places).query_pairs(within_m, output_type="ndarray").T
    size = len(places)
    near = coo_matrix((np.ones(len(pairs[0])), (pairs[0], pairs[1])), shape=(size, size))
    count, group = connected_components(near, directed=False)
    for number in range(count):
        yield np.flatnonzero(group == number)


def _advised(evidence: Evidence, stretch: _Stretch) -> Point | None:
    """Return where the plan's advisory on this stretch stands, if it tells of about as much."""
    least_pct = float(stretch.fall_pct[stretch.worst]) * _TOLD_SHARE
    for row in evidence.plan.rows("advisories"):
        if row.text("rule") != _SAID or row.point is None:
            continue
        here = np.array([row.point.x, row.point.y])
        near = np.hypot(*(stretch.places - here).T).min() <= _ABOUT_M
        if near and row.number("measured") >= least_pct:
            return row.point
    return None
