"""The other side of an obstacle, where a grid's error chose the longer one.

Ways over a grid are up to a percent longer than they need be, and a gap narrower than a cell is not
seen, so the side on which such a way passes an obstacle may be the wrong one; straightening never
changes it. Shortest ways on open ground are exact (`taut_ways`) and cheap where little ground can
matter: a way shorter than the one at hand stays in the ellipse about its ends, and a choice there
is only where that part of the ground has a hole.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, affinity
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, grow, polygons
from lawnplat.wire.leg_cost import LegCost
from lawnplat.wire.shortcut import straightened
from lawnplat.wire.taut_ways import taut_ways

_SHORTER = 0.998
"""Another side is looked at where it saves more than this leaves."""
_ELLIPSE_SEGS = 16
_INSIDE_M = 0.01
"""Taut ways keep at least this far inside the ground, so that they run along no edge of it."""


def straightened_on_best_side(
    way: FloatArray, cost: LegCost, heading: FloatArray | None = None, *, fine: bool = False
) -> FloatArray:
    """Return the cheapest chain of legs along ``way``, or on another side where that is cheaper.

    Parameters
    ----------
    way : array of shape (n, 2)
        Points of an admissible way, from its start to its end.
    cost : LegCost
    heading : array of shape (2,), optional
        Unit vector of the line that leads to the start.
    fine : bool
        As `straightened` takes it.
    """
    best = straightened(way, cost, heading, fine=fine)
    taut = shorter_side(best, cost.free)
    if taut is None:
        return best
    other = straightened(taut, cost, heading, fine=fine)
    return other if cost.chain(other, heading) < cost.chain(best, heading) else best


def shorter_side(way: FloatArray, ground: BaseGeometry) -> FloatArray | None:
    """Return the shortest way between the same ends where it is shorter on another side.

    None where ``way`` passes every hole of the ground on the side of the shortest way.
    """
    line = LineString(way)
    near = _within_reach(ground, way, _SHORTER * line.length)
    if near is None:
        return None
    found = taut_ways(near, way[:1], np.zeros(1)).way_to(way[-1])
    if found is None or LineString(found[0]).length >= _SHORTER * line.length:
        return None
    taut = found[0]
    return taut if _parted(near, way, taut) else None


def _within_reach(ground: BaseGeometry, way: FloatArray, length_m: float) -> Polygon | None:
    """Return the ground that ways of ``length_m`` between the ends reach; None without holes."""
    first, last = way[0], way[-1]
    ellipse = reached(first, last, length_m)
    if ellipse.is_empty:
        return None
    near = shapely.intersection(ground, ellipse)
    if not any(part.interiors for part in polygons(near)):
        return None
    parts = polygons(shapely.simplify(grow(near, -2 * _INSIDE_M), _INSIDE_M))
    ends = shapely.points(np.stack([first, last]))
    for part in parts:
        if shapely.dwithin(part, ends, 4 * _INSIDE_M).all():
            return part if len(part.interiors) else None
    return None


def reached(first: FloatArray, last: FloatArray, length_m: float) -> Polygon:
    """Return the places on some way of ``length_m`` from ``first`` to ``last``: an ellipse.

    Empty where no way between them is so short.
    """
    apart_m = float(np.hypot(*(last - first)))
    if length_m <= apart_m:
        return Polygon()
    half, across = length_m / 2, np.sqrt(length_m**2 - apart_m**2) / 2
    # Slightly out, so that the polygon is never inside the ellipse.
    out = 1 / np.cos(np.pi / (4 * _ELLIPSE_SEGS))
    disc = affinity.scale(
        Point(0, 0).buffer(out, quad_segs=_ELLIPSE_SEGS), half, across, origin=(0, 0)
    )
    angle = float(np.arctan2(*(last - first)[::-1]))
    turned = affinity.rotate(disc, angle, origin=(0, 0), use_radians=True)
    return affinity.translate(turned, *(first + last) / 2)


def _parted(ground: Polygon, one: FloatArray, other: FloatArray) -> bool:
    """Return whether a hole of the ground lies between two ways with the same ends."""
    loop = np.concatenate([one, other[-2::-1]])
    holes = [Polygon(ring) for ring in ground.interiors]
    inside = shapely.get_coordinates(shapely.point_on_surface(holes))
    return bool((_turns_round(loop, inside) != 0).any())


def _turns_round(ring: FloatArray, places: FloatArray) -> FloatArray:
    """Return how many times a closed ring goes round each place."""
    spokes = ring[None] - places[:, None]
    angle = np.arctan2(spokes[..., 1], spokes[..., 0])
    turn = np.diff(angle, axis=1)
    turn = (turn + np.pi) % (2 * np.pi) - np.pi
    return np.asarray(np.rint(turn.sum(axis=1) / (2 * np.pi)))
