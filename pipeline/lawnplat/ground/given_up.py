"""The account of the lawn: every square metre is mown, or given up to one named cause."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import as_multipolygon, polygons, union
from lawnplat.ground.setbacks import TOO_NARROW, TOO_SMALL
from lawnplat.ground.types import Cause, HandTrim, KeepOut
from lawnplat.settings.types import RuleBook

_SPECK_M2 = 1e-8
"""A tenth of a millimetre squared: less is what arithmetic leaves between two rims that are one."""


def account(
    lawn: MultiPolygon, mown: BaseGeometry, causes: Iterable[Cause], small: BaseGeometry
) -> tuple[KeepOut, ...]:
    """Share out ``lawn`` less ``mown`` among the causes, in their order; the rest is too narrow.

    The keep-outs do not overlap, and with ``mown`` they make up the lawn.
    """
    left = polygons(shapely.difference(lawn, mown))
    found: list[KeepOut] = []
    shares = [(cause.kind, cause.setback_m, cause.reach) for cause in causes]
    for kind, setback_m, area in (*shares, (TOO_SMALL, 0.0, small)):
        # Most causes are an obstacle that has a piece of its own: the others are left alone.
        shapely.prepare(area)
        met = np.asarray(shapely.intersects(area, left), dtype=bool)
        there = [part for part, meets in zip(left, met, strict=True) if meets]
        taken = _without_specks(shapely.intersection(there, area))
        if not taken.is_empty:
            left = [part for part, meets in zip(left, met, strict=True) if not meets]
            left += _polygons_of(shapely.difference(there, area))
            found.append(KeepOut(kind, setback_m, taken))
    narrow = _without_specks(np.asarray(left, dtype=object))
    if not narrow.is_empty:
        found.append(KeepOut(TOO_NARROW, 0.0, narrow))
    return tuple(found)


def _without_specks(areas: NDArray[np.object_]) -> MultiPolygon:
    return MultiPolygon([part for part in _polygons_of(areas) if part.area > _SPECK_M2])


def _polygons_of(areas: NDArray[np.object_]) -> list[Polygon]:
    return [part for area in areas for part in polygons(area)]


def hand_trim(
    keep_outs: Iterable[KeepOut], causes: Iterable[Cause], rules: RuleBook
) -> tuple[HandTrim, ...]:
    """Return the grass among the keep-outs, by what it runs against: no footprint is trimmed."""
    bodies = [
        cause.body
        for cause in causes
        if cause.kind in rules.kinds and not rules.kinds[cause.kind].grass
    ]
    tree = STRtree(bodies)
    strips: dict[str, list[BaseGeometry]] = {}
    for keep_out in keep_outs:
        near = np.sort(tree.query(keep_out.area, predicate="intersects"))
        grass = shapely.difference(keep_out.area, union(bodies[place] for place in near))
        if not grass.is_empty:
            strips.setdefault(keep_out.kind, []).append(grass)
    trimmed = ((against, as_multipolygon(union(areas))) for against, areas in strips.items())
    return tuple(HandTrim(against, area) for against, area in trimmed if not area.is_empty)
