"""The low-voltage cable: from an outlet to the station, round the lawn and not across it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, polygons, union
from lawnplat.survey.types import Feature
from lawnplat.wire.places import Places
from lawnplat.wire.scene import Scene
from lawnplat.wire.taut_ways import TautWays, taut_ways, without_repeats

OUTLET = "power_outlet"
_SNAP_M = 1.0
"""An outlet drawn this far inside its wall still stands on it."""
_SIMPLER = 0.4
"""Share of the clearance by which the edge of the cable's ground is drawn more simply."""
_SAME_M = 1e-6


@dataclass(frozen=True)
class CableRoute:
    """The cable's way from an outlet to the back of the station's base."""

    line: LineString
    outlet: Feature


@dataclass(frozen=True)
class _Start:
    """Where a cable leaves an outlet: ``face`` on its wall, ``foot`` on the cable's ground."""

    face: FloatArray
    foot: FloatArray
    outlet: Feature

    @property
    def leg_m(self) -> float:
        return float(np.hypot(*(self.foot - self.face)))


@dataclass(frozen=True)
class CableWays:
    """Every shortest way of a cable on one site; ``ways`` is None where no cable can start."""

    ways: TautWays | None
    starts: tuple[_Start, ...]
    behind_m: float
    """How far behind the wire the base, and with it the cable, ends."""
    reach_m: float
    """How far from the cable's ground a base may end."""

    def lengths_m(self, places: Places) -> FloatArray:
        """Return the length of cable to each place, metres; NaN where no way leads there."""
        if self.ways is None:
            return np.full(len(places.point), np.nan)
        ends = places.point - places.ahead * self.behind_m
        feet, leg_m = _feet(self.ways.ground, ends)
        length_m = np.full(len(ends), np.nan)
        near = leg_m <= self.reach_m
        length_m[near] = self.ways.lengths_m(feet[near]) + leg_m[near]
        return length_m

    def route_to(self, point: FloatArray, ahead: FloatArray) -> CableRoute | None:
        """Return the way to the base at ``point`` that faces along the unit vector ``ahead``."""
        return self.routes_to(point[None], ahead[None])[0]

    def routes_to(self, points: FloatArray, aheads: FloatArray) -> list[CableRoute | None]:
        """Return what `route_to` does for each of several places. Shapes (n, 2)."""
        if self.ways is None:
            return [None] * len(points)
        ends = points - aheads * self.behind_m
        feet, leg_m = _feet(self.ways.ground, ends)
        ways = self.ways.ways_to(feet)
        return [
            None if way is None or far_m > self.reach_m else self._route(way, end)
            for way, far_m, end in zip(ways, leg_m, ends, strict=True)
        ]

    def _route(self, found: tuple[FloatArray, int], end: FloatArray) -> CableRoute:
        way, number = found
        start = self.starts[number]
        points = np.concatenate([start.face[None], way, end[None]])
        return CableRoute(LineString(without_repeats(points)), start.outlet)


def cable_ways(scene: Scene) -> CableWays:
    """Return the ways of a cable from the site's outlets.

    The cable stays on the property, off the ground inside the wire and off barriers (a house,
    water, a fall), each by the rule book's ``cable_clear_m``.
    """
    behind_m = scene.machine.base_behind_wire_m
    reach_m = 2 * scene.rules.station.cable_clear_m
    outlets = [feature for feature in scene.site.features if feature.kind == OUTLET]
    ground = _cable_ground(scene) if outlets else Polygon()
    starts = tuple(_starts(scene, outlets, ground)) if not ground.is_empty else ()
    if not starts:
        return CableWays(None, (), behind_m, reach_m)
    feet = np.array([start.foot for start in starts])
    # Most gardens have islands of such ground inside the lawn, which no outlet's cable comes to.
    joined = [part for part in polygons(ground) if _any_near(part, feet)]
    gone_m = np.array([start.leg_m for start in starts])
    return CableWays(taut_ways(union(joined), feet, gone_m), starts, behind_m, reach_m)


def _any_near(part: Polygon, places: FloatArray) -> bool:
    return bool(shapely.dwithin(part, shapely.points(places), _SAME_M).any())


def _wired(scene: Scene) -> BaseGeometry:
    """Return the ground inside this loop's wire and those of all others."""
    wired = scene.ground.wire_ground
    return union([*wired.pieces, wired.others])


def _cable_ground(scene: Scene) -> BaseGeometry:
    clear_m = scene.rules.station.cable_clear_m
    barred = union([_wired(scene), scene.barriers(), scene.line_barriers()])
    kept_off = shapely.buffer(barred, clear_m, join_style="mitre", mitre_limit=2.0)
    ground = shapely.difference(scene.site.parcel, kept_off)
    simpler = shapely.simplify(ground, _SIMPLER * clear_m)
    # Towards wires and walls the clearance leaves room for that; the boundary leaves none.
    return shapely.intersection(simpler, scene.site.parcel)


def _starts(scene: Scene, outlets: list[Feature], ground: BaseGeometry) -> Iterator[_Start]:
    """Yield where the cable of each outlet starts: at its wall's face if it was drawn inside.

    An outlet that stands in the mown lawn itself has no such start.
    """
    walls, wired = scene.line_barriers(), _wired(scene)
    barriers = union([scene.barriers(), walls])
    for outlet in outlets:
        for leg in _legs(shapely.centroid(outlet.geometry), walls, ground):
            if leg.length > _SNAP_M or shapely.dwithin(leg, wired, _SAME_M):
                continue
            foot = shapely.get_coordinates(leg)[-1]
            outside = shapely.get_coordinates(shapely.difference(leg, barriers))
            yield _Start(outside[-2] if len(outside) > 1 else foot, foot, outlet)


def _legs(place: Point, walls: BaseGeometry, ground: BaseGeometry) -> list[LineString]:
    """Return the way from an outlet to the cable's ground.

    An outlet on a wall that was drawn as a line may be on either face: it has a way on each.
    """
    leg = shapely.shortest_line(place, ground)
    if not shapely.intersects(walls, place):
        return [leg]
    ends = shapely.get_coordinates(leg)
    across, _ = _feet(ground, (2 * ends[0] - ends[1])[None])
    return [leg, LineString([ends[0], across[0]])]


def _feet(ground: BaseGeometry, places: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the point of the ground nearest to each place, and how far it is off."""
    legs = shapely.shortest_line(ground, shapely.points(places))
    return shapely.get_coordinates(legs)[::2], np.asarray(shapely.length(legs))
