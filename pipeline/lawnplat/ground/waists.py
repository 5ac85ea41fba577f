"""Waists that no disc passes, where ground only hangs together by discs from both sides."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, polygons, union, within_reach
from lawnplat.ground.opening import opened, shrunk

_SPECK_M2 = 1e-4
_CUT_M = 0.05
"""Half the distance kept between the wires on both sides of a waist that was cut, or that ground
too narrow for the disc all but closes: wires nearer than that keep no machine out."""
_EVEN_M = 5e-3
"""Arcs are chords: a waist this much too narrow is taken as just wide enough."""
_MOST_ROUNDS = 5
_AROUND = 4.0
"""A disc kept out of a waist leaves nothing farther off than this many radii."""
_HAIR_M = 1e-3


def without_waists(reach: BaseGeometry, radius_m: float) -> BaseGeometry:
    """Part ground that only hangs together because discs from both sides of a waist overlap.

    The disc itself does not pass there: islands that near to each other, or to the edge, are one.
    """
    done: list[Polygon] = []
    parts = polygons(reach)
    for _ in range(_MOST_ROUNDS):
        again: list[Polygon] = []
        for part in parts:
            waists = [*_between_rings(part, radius_m), *_between_bodies(part, radius_m)]
            if waists:
                cut = union(grow(waist, _CUT_M) for waist in waists)
                again.extend(polygons(opened(shapely.difference(part, cut), radius_m)))
            else:
                done.append(_bulges_apart(part, radius_m))
        parts = again
        if not parts:
            break
    return MultiPolygon([*done, *parts])


def _between_rings(part: Polygon, radius_m: float) -> list[BaseGeometry]:
    """Return the shortest lines between two rings of ``part`` that are too near together."""
    near_m = 2 * radius_m - _EVEN_M
    rings = [LineString(ring.coords) for ring in (part.exterior, *part.interiors)]
    if len(rings) == 1:
        return []
    one, other = STRtree(rings).query(rings, predicate="dwithin", distance=near_m)
    pairs = zip(one[one < other], other[one < other], strict=True)
    return [shapely.shortest_line(rings[a], rings[b]) for a, b in pairs]


def _bulges_apart(part: Polygon, radius_m: float) -> Polygon:
    """Return ``part`` with its rims apart where two places of one all but touch round an island.

    Grown until they do, the island has a ring of its own. Where that would part the ground, they
    stay as near as they are.
    """
    wider = polygons(grow(part, _CUT_M - _HAIR_M))
    for waist in (line for whole in wider for line in _between_rings(whole, radius_m)):
        cut = grow(waist, _CUT_M)
        # Only here: laid over, the rim elsewhere would come out other by its chords.
        near = shapely.intersection(part, grow(waist, _AROUND * radius_m))
        left = opened(shapely.difference(near, cut), radius_m)
        lost = polygons(shapely.difference(near, left))
        taken = union(each for each in lost if each.intersects(cut))
        kept = [each for each in polygons(part - taken) if each.area > _SPECK_M2]
        if len(kept) == 1:
            part = kept[0]
    return part


def _between_bodies(part: Polygon, radius_m: float) -> list[BaseGeometry]:
    """Return where discs of two places in ``part`` overlap between which no disc passes."""
    cores = np.array(polygons(shrunk(part, radius_m - _EVEN_M / 2)), dtype=object)
    if len(cores) < 2:  # noqa: PLR2004 - one has no other to overlap
        return []
    one, other = STRtree(cores).query(cores, predicate="dwithin", distance=2 * radius_m)
    one, other = one[one < other], other[one < other]
    lenses = (_lens(cores[a], cores[b], radius_m) for a, b in zip(one, other, strict=True))
    return [lens for lens in lenses if lens.area > _SPECK_M2]


def _lens(one: Polygon, other: Polygon, radius_m: float) -> BaseGeometry:
    """Return what is within ``radius_m`` of both."""
    far_m = 2 * radius_m + _HAIR_M
    side, beyond = within_reach(one, other, far_m), within_reach(other, one, far_m)
    lens: BaseGeometry = shapely.intersection(grow(side, radius_m), grow(beyond, radius_m))
    return lens
