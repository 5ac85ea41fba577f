"""The account of the lawn: every square metre is mown, or given up to one named cause."""

from __future__ import annotations

from collections.abc import Iterable

import shapely
from shapely import MultiPolygon
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
    left = as_multipolygon(shapely.difference(lawn, mown))
    found: list[KeepOut] = []
    for cause in causes:
        taken = _without_specks(shapely.intersection(left, cause.reach))
        if not taken.is_empty:
            left = as_multipolygon(shapely.difference(left, cause.reach))
            found.append(KeepOut(cause.kind, cause.setback_m, taken))
    for kind, area in ((TOO_SMALL, small), (TOO_NARROW, lawn)):
        taken = _without_specks(shapely.intersection(left, area))
        if not taken.is_empty:
            left = as_multipolygon(shapely.difference(left, area))
            found.append(KeepOut(kind, 0.0, taken))
    return tuple(found)


def _without_specks(area: BaseGeometry) -> MultiPolygon:
    return MultiPolygon([part for part in polygons(area) if part.area > _SPECK_M2])


def hand_trim(
    keep_outs: Iterable[KeepOut], causes: Iterable[Cause], rules: RuleBook
) -> tuple[HandTrim, ...]:
    """Return the grass among the keep-outs, by what it runs against: no footprint is trimmed."""
    bodies = union(
        cause.body
        for cause in causes
        if cause.kind in rules.kinds and not rules.kinds[cause.kind].grass
    )
    strips: dict[str, list[BaseGeometry]] = {}
    for keep_out in keep_outs:
        grass = shapely.difference(keep_out.area, bodies)
        if not grass.is_empty:
            strips.setdefault(keep_out.kind, []).append(grass)
    trimmed = ((against, as_multipolygon(union(areas))) for against, areas in strips.items())
    return tuple(HandTrim(against, area) for against, area in trimmed if not area.is_empty)
