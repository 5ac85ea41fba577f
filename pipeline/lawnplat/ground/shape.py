"""The shape that mowable ground is given: wide enough for the machine, corners round.

Corners that point out of the ground are rounded twice over: a disc of half the smallest passage has
to reach every place, and where the rule book's corner radius is larger, a disc of that radius, as
far as there is room. Corners that point into the ground go round an obstacle at its setback, so
that their radius is the setback itself: rounding them more would give up lawn, less would break it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely import MultiPoint, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, opened, polygons, union
from lawnplat.ground.rim_fall import rims_of
from lawnplat.settings.types import MachineClass, RuleBook

_TOUCH_M = 1e-3
_SPECK_M2 = 1e-4
_FARTHEST_TIP = 2.0
"""A cap reaches at most this many radii beyond its disc, as the tip of a corner of some 40 degrees
does: what reaches farther is an arm of the lawn, worth mowing."""


def shaped(ground: BaseGeometry, machine: MachineClass, rules: RuleBook) -> MultiPolygon:
    """Return the ground that the machine reaches, its outward corners rounded where room allows."""
    radius_m = machine.smallest_passage_m / 2
    reach = rounded(opened(ground, radius_m), rules.wire.corner_radius_m, radius_m)
    return MultiPolygon([_without_specks(part) for part in polygons(reach)])


def _without_specks(part: Polygon) -> Polygon:
    """Close the holes that parallel curves leave where they meet: no wire goes round a hair."""
    if all(Polygon(ring).area >= _SPECK_M2 for ring in part.interiors):
        return part
    holes = [ring for ring in part.interiors if Polygon(ring).area >= _SPECK_M2]
    return Polygon(part.exterior, holes)


def rounded(ground: BaseGeometry, radius_m: float, least_m: float) -> BaseGeometry:
    """Return ``ground`` without the caps of corners that bend tighter than ``radius_m``.

    Parameters
    ----------
    ground : BaseGeometry
        Its outward corners have a radius of ``least_m`` at least.
    radius_m, least_m : float
        Metres. Where the radius wanted is not over the least one the ground is returned as it is.

    Returns
    -------
    BaseGeometry
        Places too narrow for the radius stay: a cap is what lies in an outward corner, hangs on one
        wider place alone, and reaches not far beyond it.
    """
    if radius_m <= least_m or ground.is_empty:
        return ground
    wide = opened(ground, radius_m)
    bodies = np.array(polygons(wide), dtype=object)
    corners = union(_corners(ground, radius_m))
    caps = []
    for cap in polygons(shapely.difference(ground, wide)):
        touched = bodies[shapely.dwithin(bodies, cap, _TOUCH_M)]
        if len(touched) != 1 or not shapely.dwithin(cap, corners, _TOUCH_M):
            continue
        if _is_cap(cap, touched[0], radius_m):
            caps.append(cap)
    if not caps:
        return ground
    # The cut leaves hair-thin spikes where arcs part: the disc of the machine cannot reach them.
    return opened(shapely.difference(ground, union(caps)), least_m)


def _corners(ground: BaseGeometry, radius_m: float) -> Iterator[BaseGeometry]:
    """Yield the places on the rim that lie in an outward corner tighter than ``radius_m``."""
    for rim in rims_of(ground):
        tight = rim.turn_rad * radius_m > rim.step_m
        yield MultiPoint(rim.places[tight])


def _is_cap(cap: BaseGeometry, body: BaseGeometry, radius_m: float) -> bool:
    """Return whether ``cap`` is a corner's tip: one contact with its body, and near to it."""
    contacts = polygons(shapely.intersection(grow(body, _TOUCH_M), grow(cap, _TOUCH_M / 2)))
    near = grow(body, _FARTHEST_TIP * radius_m)
    return len(contacts) == 1 and bool(shapely.covers(near, cap))
