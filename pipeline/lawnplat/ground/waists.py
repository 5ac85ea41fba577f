"""Waists that no disc passes, where ground only hangs together by discs from both sides."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, STRtree
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, polygons, union
from lawnplat.ground.opening import opened, shrunk

_SPECK_M2 = 1e-4
_CUT_M = 0.05
"""Half the distance kept between the wires on both sides of a waist that was cut."""
_EVEN_M = 5e-3
"""Arcs are chords: a waist this much too narrow is taken as just wide enough."""
_MOST_ROUNDS = 5


def without_waists(reach: BaseGeometry, radius_m: float) -> BaseGeometry:
    """Part ground that only hangs together because discs from both sides of a waist overlap.

    The disc itself does not pass there: islands that near to each other, or to the edge, are one.
    """
    for _ in range(_MOST_ROUNDS):
        waists = [*_between_rings(reach, radius_m), *_between_bodies(reach, radius_m)]
        if not waists:
            break
        cut = union(grow(waist, _CUT_M) for waist in waists)
        reach = opened(shapely.difference(reach, cut), radius_m)
    return reach


def _between_rings(reach: BaseGeometry, radius_m: float) -> list[BaseGeometry]:
    """Return the shortest lines between two rings of one polygon that are too near together."""
    near_m = 2 * radius_m - _EVEN_M
    found: list[BaseGeometry] = []
    for part in polygons(reach):
        rings = [LineString(ring.coords) for ring in (part.exterior, *part.interiors)]
        if len(rings) == 1:
            continue
        one, other = STRtree(rings).query(rings, predicate="dwithin", distance=near_m)
        pairs = zip(one[one < other], other[one < other], strict=True)
        found.extend(shapely.shortest_line(rings[a], rings[b]) for a, b in pairs)
    return found


def _between_bodies(reach: BaseGeometry, radius_m: float) -> list[BaseGeometry]:
    """Return where discs of two places overlap between which no disc passes."""
    found: list[BaseGeometry] = []
    for part in polygons(reach):
        cores = np.array(polygons(shrunk(part, radius_m - _EVEN_M / 2)), dtype=object)
        if len(cores) < 2:  # noqa: PLR2004 - one has no other to overlap
            continue
        one, other = STRtree(cores).query(cores, predicate="dwithin", distance=2 * radius_m)
        one, other = one[one < other], other[one < other]
        bodies = {at: grow(cores[at], radius_m) for at in np.union1d(one, other)}
        shared = (
            shapely.intersection(bodies[a], bodies[b]) for a, b in zip(one, other, strict=True)
        )
        found.extend(lens for lens in shared if lens.area > _SPECK_M2)
    return found
