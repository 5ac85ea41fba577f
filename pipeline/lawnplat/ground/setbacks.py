"""What takes lawn away before any narrowness is looked at: features, open edges, steep ground."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

import shapely
from shapely import MultiLineString, MultiPolygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, lines, opened, union
from lawnplat.ground.types import Cause
from lawnplat.settings.types import RuleBook, Treatment
from lawnplat.survey.types import Feature
from lawnplat.terrain.types import Terrain

OPEN_EDGE = "open_edge"
TOO_STEEP = "too_steep"
TOO_NARROW = "too_narrow"
TOO_SMALL = "too_small"
UNREACHED = "unreached"
LOOP_SEAM = "loop_seam"


def setback_of(feature: Feature, rules: RuleBook) -> float:
    """Return the feature's own setback in metres, or its kind's."""
    if feature.setback_m is not None:
        return feature.setback_m
    return rules.kinds[feature.kind].setback_m


def is_wired(feature: Feature, rules: RuleBook) -> bool:
    """Return whether the wire keeps a setback from ``feature``."""
    return rules.kinds[feature.kind].treatment in (Treatment.KEEP_OFF, Treatment.FLUSH)


def feature_causes(features: Iterable[Feature], rules: RuleBook) -> list[Cause]:
    """Return one cause for each kind and setback, kinds in the rule book's order."""
    groups: dict[tuple[str, float], list[BaseGeometry]] = defaultdict(list)
    for feature in features:
        groups[feature.kind, setback_of(feature, rules)].append(feature.geometry)
    order = {kind: place for place, kind in enumerate(rules.kinds)}
    causes = []
    for kind, setback_m in sorted(groups, key=lambda key: (order[key[0]], key[1])):
        body = union(groups[kind, setback_m])
        causes.append(Cause(kind, setback_m, body, grow(body, setback_m)))
    return causes


def open_edge_cause(
    lawn: MultiPolygon, features: Iterable[Feature], rules: RuleBook
) -> Cause | None:
    """Return the lawn's edges that no feature governs, with the strip that they take.

    A feature governs the edges within the rules' ``edge_match_m`` of it when the wire keeps a
    setback from it, or when it is driven over and lies beyond the edge: stepping stones in the
    grass that end at a boundary say nothing of what is behind it.
    """
    governing = [
        _beyond(feature.geometry, lawn, rules)
        if rules.kinds[feature.kind].treatment is Treatment.DRIVE_OVER
        else feature.geometry
        for feature in features
        if rules.kinds[feature.kind].treatment
        in (Treatment.KEEP_OFF, Treatment.FLUSH, Treatment.DRIVE_OVER)
    ]
    rim: BaseGeometry = shapely.boundary(lawn)
    if governing:
        near = [shapely.buffer(body, rules.ground.edge_match_m, quad_segs=4) for body in governing]
        rim = shapely.difference(rim, union(near))
    found = lines(rim)
    if not found:
        return None
    body = MultiLineString(found)
    setback_m = rules.ground.open_edge_m
    return Cause(OPEN_EDGE, setback_m, body, grow(body, setback_m))


def _beyond(body: BaseGeometry, lawn: MultiPolygon, rules: RuleBook) -> BaseGeometry:
    """Return what of ``body`` lies off the lawn, slivers of the drawing left out."""
    return opened(shapely.difference(body, lawn), 2 * rules.ground.shape_tolerance_m)


def steep_cause(terrain: Terrain) -> Cause | None:
    """Return the ground over the machine's slope limit."""
    body = steep_ground(terrain)
    return None if body.is_empty else Cause(TOO_STEEP, 0.0, body, body)


def steep_ground(terrain: Terrain) -> BaseGeometry:
    """Return where the ground is steeper than the machine can drive; empty for nowhere."""
    return union(zone.area for zone in terrain.zones if zone.zone == TOO_STEEP)
