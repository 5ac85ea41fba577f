"""Crossings: strips that the machine drives over from one lawn to another."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, polygons, union
from lawnplat.ground.setbacks import setback_of
from lawnplat.settings.types import MachineClass, RuleBook, Treatment
from lawnplat.survey.types import Feature, Finding

CROSSING = "crossing"


@dataclass(frozen=True)
class Strip:
    """A crossing as it is wired: the strip from one piece of lawn to the other."""

    area: Polygon
    joins: tuple[int, int]


def strips(
    pieces: list[Polygon],
    features: Iterable[Feature],
    machine: MachineClass,
    rules: RuleBook,
) -> tuple[list[Strip], list[Finding]]:
    """Return the strips that join two of ``pieces``, and what was wrong with the others.

    A surveyed crossing is prolonged at both ends over the setback of what it crosses, until it
    reaches the mowable ground. It keeps the setbacks of everything else.
    """
    features = tuple(features)
    found: list[Strip] = []
    findings: list[Finding] = []
    for feature in features:
        if feature.kind != CROSSING:
            continue
        strip = _strip(feature, pieces, features, machine, rules)
        if strip is None:
            findings.append(_useless(feature, machine))
        else:
            found.append(strip)
    return found, findings


def _useless(feature: Feature, machine: MachineClass) -> Finding:
    return Finding(
        rule="crossing",
        severity="warn",
        text=(
            "this crossing joins no two lawns that the machine can mow, or is narrower than "
            f"{machine.smallest_passage_m:.2f} m; it is left out"
        ),
        where=feature.source,
        place=shapely.point_on_surface(feature.geometry),
        limit=machine.smallest_passage_m,
    )


def _strip(
    feature: Feature,
    pieces: list[Polygon],
    features: tuple[Feature, ...],
    machine: MachineClass,
    rules: RuleBook,
) -> Strip | None:
    reach_m = 2 * max(rule.setback_m for rule in rules.kinds.values()) + machine.smallest_passage_m
    kept = _kept_clear(feature, features, rules)
    best: Strip | None = None
    for body in _prolonged(feature.geometry, reach_m):
        way = shapely.difference(body, union([kept, *pieces]))
        for part in polygons(way):
            joined = _joined(part, pieces, machine)
            wanted = joined is not None and shapely.intersects(part, feature.geometry)
            if joined is not None and wanted and (best is None or part.area < best.area.area):
                best = Strip(part, joined)
    return best


def _kept_clear(feature: Feature, features: tuple[Feature, ...], rules: RuleBook) -> BaseGeometry:
    """Return the setbacks of all that the crossing does not itself run over."""
    reaches = []
    for other in features:
        rule = rules.kinds[other.kind]
        if rule.treatment not in (Treatment.KEEP_OFF, Treatment.FLUSH):
            continue
        crossed = not rule.barrier and shapely.intersects(other.geometry, feature.geometry)
        if not crossed:
            reaches.append(shapely.buffer(other.geometry, setback_of(other, rules)))
    return union(reaches)


def _prolonged(geometry: BaseGeometry, reach_m: float) -> list[Polygon]:
    """Return the crossing's rectangle made longer along each of its two directions."""
    box = shapely.minimum_rotated_rectangle(geometry)
    if not isinstance(box, Polygon):
        return []
    corners = shapely.get_coordinates(box)[:4]
    found = []
    for first in (0, 1):
        ring = np.roll(corners, -first, axis=0)
        unit = (ring[1] - ring[0]) / np.hypot(*(ring[1] - ring[0]))
        found.append(Polygon(ring + np.outer([-reach_m, reach_m, reach_m, -reach_m], unit)))
    return found


def _joined(
    strip: Polygon, pieces: list[Polygon], machine: MachineClass
) -> tuple[int, int] | None:
    """Return the two pieces that the strip meets with at least the machine's passage width."""
    if grow(strip, -0.49 * machine.smallest_passage_m).is_empty:
        return None
    bodies = np.array(pieces, dtype=object)
    rim = shapely.boundary(strip)
    shared = shapely.length(shapely.intersection(rim, shapely.buffer(bodies, 0.01)))
    meets = np.flatnonzero(shared >= machine.smallest_passage_m)
    if len(meets) < 2:  # noqa: PLR2004 - a crossing joins two
        return None
    longest = meets[np.argsort(-shared[meets], kind="stable")[:2]]
    one, other = sorted(longest.tolist())
    return one, other
