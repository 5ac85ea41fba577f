"""The shape that mowable ground is given: wide enough for the machine, corners round.

Corners that point out of the ground are rounded twice over: a disc of half the smallest passage has
to reach every place, and where the rule book's corner radius is larger, a disc of that radius, as
far as there is room. Corners that point into the ground go round an obstacle at its setback, so
that their radius is the setback itself; where that is smaller than the rule book's, the wire swings
out round them (`inward_corners`).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPoint, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, polygons, union, within_reach
from lawnplat.ground.inward_corners import blunted
from lawnplat.ground.mouths import straight_across
from lawnplat.ground.opening import opened, shrunk, swept
from lawnplat.ground.rim_fall import rims_of
from lawnplat.ground.waists import without_waists
from lawnplat.settings.types import MachineClass, RuleBook

_TOUCH_M = 1e-3
_SPECK_M2 = 1e-4
_EVEN_M = 5e-3
_THIN_SHARE = 3e-4
"""Vertices nearer than this share of the radius to the line between others are left out: a quarter
of what a chord of an arc leaves its circle by."""
_HAIR_SHARE = 0.015
"""A hair is thinner than this share of the radius, too: the tips of small corners are none."""
_OF_HAIR = 0.4
"""Bodies wider by this share of a hair leave something of every place that is none."""
_NEAR_M = 0.05
_MANY = 200
"""So many places are cut out all at once sooner than one by one."""
_AROUND = 4.0
"""What is given up at a corner changes what a disc reaches within this many radii of both."""
_FARTHEST_TIP = 2.0
"""A cap reaches at most this many radii beyond its disc, as the tip of a corner of some 40 degrees
does: what reaches farther is an arm of the lawn, worth mowing."""


def shaped(ground: BaseGeometry, machine: MachineClass, rules: RuleBook) -> MultiPolygon:
    """Return the ground that the machine reaches, its corners rounded where room allows."""
    radius_m = machine.smallest_passage_m / 2

    def cut_at_waists(area: BaseGeometry) -> BaseGeometry:
        return _thinned(without_waists(area, radius_m), radius_m)

    def passable(area: BaseGeometry) -> BaseGeometry:
        return cut_at_waists(opened(area, radius_m))

    corner_m = rules.wire.corner_radius_m
    # Where the wire swings out half a radius from both sides, a passage has to stay comfortable.
    comfortable_m = machine.comfortable_passage_m / 2 + corner_m / 2

    def narrow(area: BaseGeometry) -> BaseGeometry:
        return _narrow(area, comfortable_m)

    cores = shrunk(ground, radius_m)
    wide = swept(cores, radius_m)
    reach = cut_at_waists(wide)
    gaps = _beyond(wide, ground, cores, radius_m)
    reach = straight_across(reach, gaps, machine.smallest_passage_m, passable)
    near_m = _AROUND * (radius_m + corner_m)
    reach = blunted(reach, corner_m, narrow, passable, near_m=near_m)
    reach = rounded(reach, corner_m, radius_m)
    return MultiPolygon([without_specks(part) for part in polygons(reach)])


def _thinned(ground: BaseGeometry, radius_m: float) -> BaseGeometry:
    """Return ``ground`` without vertices that say nothing of its shape.

    A parallel curve gives every chord of an arc two more: laid over and over they are thousands.
    """
    return shapely.simplify(ground, _THIN_SHARE * radius_m)


def _narrow(ground: BaseGeometry, radius_m: float) -> BaseGeometry:
    """Return the places that no disc of ``radius_m`` reaches, the tips of corners left out."""
    cores = shrunk(ground, radius_m)
    return _beyond(swept(cores, radius_m), ground, cores, radius_m)


def _beyond(
    wide: BaseGeometry, ground: BaseGeometry, cores: BaseGeometry, radius_m: float
) -> BaseGeometry:
    """Return the places of ``ground`` beyond what a disc reaches, the tips of corners left out.

    Nor hairs, that are there only because arcs are chords. ``wide`` is what it reaches, ``cores``
    where it has its middle.
    """
    bodies = np.array(polygons(wide), dtype=object)
    found = []
    hair_m = min(_EVEN_M, _HAIR_SHARE * radius_m)
    # Two rims that run along each other are slow to overlay, and nearly all of both do. A place
    # wider than a hair reaches out of bodies a little wider: there alone it is cut out.
    wider = swept(cores, radius_m + _OF_HAIR * hair_m)
    signs = polygons(shapely.difference(ground, wider))
    if len(signs) > _MANY:
        found_places = polygons(shapely.difference(ground, wide))
    else:
        found_places = [place for sign in signs for place in _there(sign, ground, bodies)]
    places = np.array(found_places, dtype=object)
    hairs = shapely.is_empty(shapely.buffer(places, -hair_m / 2))
    for place in places[~hairs]:
        touched = bodies[shapely.dwithin(bodies, place, _TOUCH_M)]
        if len(touched) != 1 or not _is_cap(place, touched[0], radius_m):
            found.append(place)
    return union(found)


def _there(
    sign: Polygon, ground: BaseGeometry, bodies: NDArray[np.object_]
) -> list[Polygon]:
    """Return the place beyond the ``bodies`` of which ``sign`` is the middle."""
    near = bodies[shapely.dwithin(bodies, sign, _NEAR_M)]
    window = shapely.union_all([within_reach(body, sign, _NEAR_M) for body in near])
    place = shapely.difference(within_reach(ground, sign, _NEAR_M), window)
    return [part for part in polygons(place) if shapely.intersects(part, sign)]


def without_specks(part: Polygon) -> Polygon:
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
    shapely.prepare(body)
    touched = grow(within_reach(body, cap, 2 * _TOUCH_M), _TOUCH_M)
    contacts = polygons(shapely.intersection(touched, grow(cap, _TOUCH_M / 2)))
    if len(contacts) != 1:
        return False
    rim = shapely.points(shapely.get_coordinates(cap))
    return bool(shapely.dwithin(body, rim, _FARTHEST_TIP * radius_m).all())
