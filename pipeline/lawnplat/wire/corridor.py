"""Where a return line may run: mowable ground, clear of every wire and firm obstacle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from lawnplat.geometry import FloatArray, grow, points_along, thickened, union, within_reach
from lawnplat.ground.setbacks import setback_of
from lawnplat.settings.types import RuleBook
from lawnplat.wire.places import rim_of
from lawnplat.wire.scene import Scene
from lawnplat.wire.types import Station

_END_REACH = 1.5
"""A line may come nearer to the perimeter than its corridor only within this many corridors of its
joint: it then meets the wire at 42 degrees or more."""
MEETING_DEG = 48.0
"""The most by which a line may then miss the square of the wire: arc cosine of 1 / 1.5."""

_ASIDE_SHARE = 0.4
"""Of a narrow passage this share of its least width is left free to each side: where it is a fifth
wider than there, that is still the middle third."""

_PARTING_M = 1.5
"""Two lines side by side part within this length after their straight run."""

_ROOM_TO_BEND_M = 0.4
_STRAIGHT_M = 0.25
"""A joint needs this much straight wire to each side: none is made in a bend."""


@dataclass(frozen=True)
class Corridor:
    """Free ground for one return line.

    ``free`` keeps the rule book's corridor from wires and firm obstacles; ``room`` is the ground
    inside the wire itself.
    """

    room: Polygon
    free: BaseGeometry
    start: FloatArray
    """The end of the straight run, shape (2,)."""
    ahead: FloatArray
    station: FloatArray

    def first_turn(self, rules: RuleBook) -> FloatArray:
        """Return the first place on the straight run where the line may turn. Shape (2,).

        It lies past the run's least length by as much as a round bend takes, where the ground
        allows.
        """
        longest_m = float(np.hypot(*(self.start - self.station)))
        return self.station + self.ahead * min(straight_run_m(rules) + _ROOM_TO_BEND_M, longest_m)


@dataclass(frozen=True)
class Ends:
    """Places on the perimeter where a return line could be joined to it.

    ``joint`` lies on the wire, ``inner`` just inside the corridor; arrays of shape (n, 2).
    """

    joint: FloatArray
    inner: FloatArray


@dataclass(frozen=True)
class Leaving:
    """How a line leaves the station: straight for ``straight_m``, ``aside_m`` left of the middle.

    Several lines lie side by side under the same pegs until each goes its own way.
    """

    straight_m: float
    aside_m: float = 0.0


def straight_run_m(rules: RuleBook) -> float:
    """Return the least length of the straight run: the rule's, and the whole clear front."""
    return max(rules.return_line.straight_run_m, rules.station.front_clear_m)


def corridor_of(
    scene: Scene,
    piece: Polygon,
    station: Station,
    leaving: Leaving,
    laid: Sequence[LineString] = (),
) -> Corridor:
    """Return the corridor of a line that leaves ``station`` beside the lines already ``laid``."""
    rules = scene.rules
    firm = _firm_bodies(scene)
    free = grow(piece, -rules.return_line.corridor_m)
    # The line may leave the front's clear ground only at its end, never come back through it.
    kept = union(
        [
            *firm,
            station.front,
            *_sides_of_passages(scene, piece),
            *(_kept_from(line, station, leaving, rules) for line in laid),
        ]
    )
    origin, start = shapely.get_coordinates(straight_run(station, leaving))
    ahead = (start - origin) / leaving.straight_m
    beyond = shapely.difference(free, kept)
    return Corridor(piece, _part_with(beyond, Point(start), rules), start, ahead, origin)


def straight_run(station: Station, leaving: Leaving) -> LineString:
    """Return the line straight out of the station."""
    angle = np.radians(station.bearing_deg)
    ahead = np.array([np.sin(angle), np.cos(angle)])
    left = np.array([-ahead[1], ahead[0]])
    origin = shapely.get_coordinates(station.point)[0] + left * leaving.aside_m
    return LineString([origin, origin + ahead * leaving.straight_m])


def open_corridor(scene: Scene, piece: Polygon, station: Station, straight_m: float) -> Corridor:
    """Return the corridor of a line that only goes ahead: the clear front is free to it as well."""
    angle = np.radians(station.bearing_deg)
    ahead = np.array([np.sin(angle), np.cos(angle)])
    origin = shapely.get_coordinates(station.point)[0]
    open_ground = grow(piece, -scene.rules.return_line.corridor_m)
    free = shapely.difference(open_ground, union(_firm_bodies(scene)))
    return Corridor(piece, free, origin + ahead * straight_m, ahead, origin)


def _firm_bodies(scene: Scene) -> list[BaseGeometry]:
    return [
        grow(feature.geometry, setback_of(feature, scene.rules))
        for feature in scene.ground.wire_ground.firm
    ]


def _sides_of_passages(scene: Scene, piece: Polygon) -> list[BaseGeometry]:
    """Return what a line leaves free of the narrow passages to keep to their middle third."""
    guided = [passage for passage in scene.ground.passages if passage.verdict == "guided"]
    found = []
    for passage in guided:
        if shapely.intersects(passage.area, piece):
            aside_m = _ASIDE_SHARE * passage.width_m
            near = within_reach(piece, passage.area, 2 * aside_m)
            found.append(shapely.difference(passage.area, grow(near, -aside_m)))
    return found


def _kept_from(
    line: LineString, station: Station, leaving: Leaving, rules: RuleBook
) -> BaseGeometry:
    """Return what a laid line takes from the next one: itself, and its corridor further out.

    A lead, that does not come out of the station, takes its corridor from end to end.
    """
    beside = shapely.dwithin(Point(line.coords[0]), station.point, rules.return_line.corridor_m)
    parted_m = leaving.straight_m + _PARTING_M if beside else 0.0
    further = substring(line, parted_m, line.length)
    return union(
        [
            grow(line, rules.wire.pair_gap_m / 2),
            grow(further, rules.return_line.corridor_m),
        ]
    )


def _part_with(free: BaseGeometry, start: Point, rules: RuleBook) -> BaseGeometry:
    """Return the connected part of ``free`` that the straight run leads into."""
    parts = shapely.get_parts(free)
    near = shapely.distance(parts, start) if len(parts) else np.array([])
    if len(near) == 0 or near.min() > rules.return_line.corridor_m:
        return Polygon()
    part: BaseGeometry = parts[int(np.argmin(near))]
    return part


def ends_of(
    scene: Scene, corridor: Corridor, spacing_m: float, joined: Sequence[Point] = ()
) -> Ends:
    """Return places for the joint along the perimeter, about ``spacing_m`` apart.

    None is on a crossing's side, in a passage, or nearer to the station, or to a joint already
    there, than the rules ask.
    """
    ground, rules = scene.ground, scene.rules
    rim: LineString = rim_of(corridor.room)
    count = max(int(np.ceil(rim.length / spacing_m)), 8)
    chainage_m = np.arange(count) * rim.length / count
    joint = points_along(rim, chainage_m)
    before, after = (points_along(rim, chainage_m + step) for step in (-_STRAIGHT_M, _STRAIGHT_M))
    chord = after - before
    bulge_m = np.hypot(*(joint - (before + after) / 2).T)
    unit = chord / np.maximum(np.hypot(chord[:, 0], chord[:, 1]), 1e-9)[:, None]
    inward = np.stack([unit[:, 1], -unit[:, 0]], axis=1)
    inner = joint + inward * (rules.return_line.corridor_m * 1.05)
    home = Point(corridor.station)
    home_m = shapely.line_locate_point(rim, home)
    along_m = np.abs(chainage_m - home_m)
    along_m = np.minimum(along_m, rim.length - along_m) + shapely.distance(rim, home)
    narrow = [passage.area for passage in ground.passages if passage.verdict == "guided"]
    avoided = grow(union([*ground.wire_ground.crossings, *narrow]), 0.05)
    apart_m = rules.return_line.joint_from_station_m
    crowded = shapely.dwithin(union(joined), shapely.points(joint), apart_m)
    kept = (
        ~crowded
        & (bulge_m <= rules.pegs.curve_offset_m)
        & (along_m >= rules.return_line.joint_from_station_m)
        & shapely.dwithin(shapely.points(inner), corridor.free, 1e-3)
        & ~shapely.intersects(avoided, shapely.points(joint))
    )
    return Ends(joint[kept], inner[kept])


def way_ground(corridor: Corridor, joint: FloatArray, rules: RuleBook) -> BaseGeometry:
    """Return where a line from the straight run to ``joint`` may run, the ends let in."""
    end = shapely.intersection(corridor.room, grow(Point(joint), end_reach_m(rules)))
    start = grow(LineString([corridor.station, corridor.start]), 0.02)
    return thickened(union([corridor.free, end, start]), 1e-3)


def end_reach_m(rules: RuleBook) -> float:
    """Return how near to its joint a line may come nearer to the wire than its corridor."""
    return _END_REACH * rules.return_line.corridor_m
