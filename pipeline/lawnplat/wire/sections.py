"""The conductor's sections: what each stretch of wire runs against, how far off, on what fall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, union
from lawnplat.ground.types import Ground
from lawnplat.terrain.sample import gradient_at
from lawnplat.terrain.types import Terrain
from lawnplat.wire.leads import Lead
from lawnplat.wire.scene import Scene
from lawnplat.wire.types import WireSection

_STEP_M = 0.5
_ON_IT_M = 2e-3
_SHORTEST_M = 0.3
_FAR = 1e9


@dataclass(frozen=True)
class _Stretches:
    """The conductor cut into short straight stretches; arrays of one entry each."""

    points: FloatArray
    """Shape (n + 1, 2)."""
    chainage_m: FloatArray
    """Shape (n + 1,)."""

    @property
    def middle(self) -> FloatArray:
        return (self.points[1:] + self.points[:-1]) / 2


def sections_of(
    scene: Scene, line: LineString, pieces: Sequence[Polygon], leads: Sequence[Lead]
) -> tuple[WireSection, ...]:
    """Cut the conductor where it changes from edge to lead to island, or what it runs against."""
    ground = scene.ground
    cut = _cut(line)
    kind = _kinds(cut, pieces, leads, scene.rules.wire.pair_gap_m)
    against = _against(cut, ground)
    label = _settled([f"{k}|{a}" for k, a in zip(kind, against, strict=True)], cut)
    fall_pct = _outward_fall_pct(cut, scene.terrain)
    bodies = _bodies(ground)
    found = []
    edges = [0, *(i for i in range(1, len(label)) if label[i] != label[i - 1]), len(label)]
    for first, last in pairwise(edges):
        section, body_kind = label[first].split("|")
        points = cut.points[first : last + 1]
        found.append(
            WireSection(
                line=LineString(points),
                section=section,
                against=body_kind,
                setback_m=_measured_setback(points, section, bodies.get(body_kind)),
                from_m=float(cut.chainage_m[first]),
                to_m=float(cut.chainage_m[last]),
                cross_fall_pct=float(fall_pct[first:last].max()),
            )
        )
    return tuple(found)


def _bodies(ground: Ground) -> dict[str, BaseGeometry]:
    """Return what stands there by kind: a kind with several setbacks has a cause for each."""
    kinds = dict.fromkeys(cause.kind for cause in ground.causes)
    bodies = {
        kind: union(cause.body for cause in ground.causes if cause.kind == kind) for kind in kinds
    }
    bodies["crossing"] = union(ground.wire_ground.crossings)
    return bodies


def _measured_setback(points: FloatArray, section: str, body: BaseGeometry | None) -> float:
    if body is None or body.is_empty or section.startswith("lead"):
        return 0.0
    return float(shapely.distance(LineString(points), body))


def _cut(line: LineString) -> _Stretches:
    points = shapely.get_coordinates(shapely.segmentize(line, _STEP_M))
    runs = np.hypot(*np.diff(points, axis=0).T)
    return _Stretches(points, np.concatenate([[0.0], np.cumsum(runs)]))


def _kinds(
    cut: _Stretches, pieces: Sequence[Polygon], leads: Sequence[Lead], gap_m: float
) -> list[str]:
    """Return edge, island, lead_out or lead_back for each stretch."""
    middle = np.asarray(shapely.points(cut.middle))
    islands = union(
        LineString(ring.coords) for piece in pieces for ring in piece.interiors
    )
    shapely.prepare(islands)
    near = shapely.dwithin(islands, middle, _ON_IT_M) if not islands.is_empty else middle == 0
    kind = np.where(near, "island", "edge").astype(object)
    for lead in leads:
        on_lead = np.flatnonzero(shapely.dwithin(middle, lead.line, gap_m / 2 + _ON_IT_M))
        if len(on_lead):
            gaps = np.flatnonzero(np.diff(on_lead) > 1)
            turn = on_lead[gaps[_widest(on_lead, gaps)]] if len(gaps) else on_lead[-1]
            kind[on_lead] = np.where(on_lead <= turn, "lead_out", "lead_back")
    return [str(name) for name in kind]


def _widest(places: NDArray[np.int64], gaps: NDArray[np.int64]) -> int:
    """Return which gap in a run of places is the widest: there the wire goes round its island."""
    return int(np.argmax(places[gaps + 1] - places[gaps]))


def _against(cut: _Stretches, ground: Ground) -> list[str]:
    """Return the cause whose setback line each stretch follows most closely."""
    middle = np.asarray(shapely.points(cut.middle))
    names, excess = [], []
    closest = np.full(len(middle), np.inf)
    for cause in ground.causes:
        names.append(cause.kind)
        # Most causes are far from most of the wire: their bounds tell that much sooner.
        asked = np.flatnonzero(
            _from_bounds_m(cut.middle, cause.body.bounds) - cause.setback_m <= closest
        )
        away = np.full(len(middle), np.inf)
        away[asked] = np.abs(shapely.distance(cause.body, middle[asked]) - cause.setback_m)
        excess.append(away)
        closest = np.minimum(closest, away)
    strips = union(ground.wire_ground.crossings)
    if not strips.is_empty:
        names.append("crossing")
        on_strip = shapely.dwithin(middle, shapely.boundary(strips), _ON_IT_M)
        excess.append(np.where(on_strip, -1.0, _FAR))
    if not names:
        return ["open_edge"] * len(middle)
    nearest = np.argmin(np.stack(excess), axis=0)
    return [names[place] for place in nearest]


def _from_bounds_m(places: FloatArray, bounds: tuple[float, ...]) -> FloatArray:
    """Return how far each place lies outside bounds, 0 within."""
    low, high = np.array(bounds[:2]), np.array(bounds[2:])
    return np.asarray(np.hypot(*np.maximum(np.maximum(low - places, places - high), 0.0).T))


def _settled(label: list[str], cut: _Stretches) -> list[str]:
    """Give stretches shorter than a hand's breadth to the section before them of the same kind."""
    settled = list(label)
    start = 0
    for place in range(1, len(label) + 1):
        if place < len(label) and label[place] == label[start]:
            continue
        length = cut.chainage_m[place] - cut.chainage_m[start]
        before = settled[start - 1] if start else ""
        same_kind = before.split("|")[0] == label[start].split("|")[0]
        if length < _SHORTEST_M and same_kind:
            settled[start:place] = [before] * (place - start)
        start = place
    return settled


def _outward_fall_pct(cut: _Stretches, terrain: Terrain) -> FloatArray:
    """Return the fall across each stretch, outward: positive where the ground falls away outside.

    The lawn lies to the right of the conductor, so outward is to the left.
    """
    run = np.diff(cut.points, axis=0)
    unit = run / np.maximum(np.hypot(run[:, 0], run[:, 1]), 1e-12)[:, None]
    east, north = gradient_at(terrain, cut.middle[:, 0], cut.middle[:, 1])
    rise = east * -unit[:, 1] + north * unit[:, 0]
    return np.asarray(-100.0 * rise)
