"""A return line straight out of the station to the perimeter ahead, for want of other room."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Polygon

from lawnplat.geometry import FloatArray
from lawnplat.wire.corridor import MEETING_DEG, ends_of, open_corridor, way_ground
from lawnplat.wire.scene import Scene
from lawnplat.wire.types import Station

_SPACING_M = 0.1


def ahead_line(
    scene: Scene, piece: Polygon, station: Station, straight_m: float
) -> LineString | None:
    """Return the line of one leg beyond the straight run that turns least; None where none may be.

    It turns within the rules' largest bend, less where the leg is shorter than their smallest, and
    meets the perimeter near square, where a joint may be.

    Parameters
    ----------
    scene : Scene
    piece : Polygon
        The station's piece of ground, inside the wire.
    station : Station
    straight_m : float
        How far the line runs straight out at least.
    """
    corridor = open_corridor(scene, piece, station, straight_m)
    if corridor.free.is_empty:
        return None
    ends = ends_of(scene, corridor, _SPACING_M)
    rules = scene.rules.return_line
    legs = ends.joint - corridor.start
    length_m = np.hypot(legs[:, 0], legs[:, 1])
    turn_deg = _between_deg(legs, corridor.ahead)
    most_deg = rules.largest_bend_deg * np.minimum(length_m / rules.smallest_leg_m, 1.0)
    met = _between_deg(legs, ends.joint - ends.inner) <= MEETING_DEG
    for end in np.argsort(turn_deg, kind="stable"):
        if turn_deg[end] > most_deg[end] or not met[end]:
            continue
        joint = ends.joint[end]
        leg = LineString([corridor.start, joint])
        if shapely.covers(way_ground(corridor, joint, scene.rules), leg):
            return LineString([corridor.station, corridor.start, joint])
    return None


def _between_deg(directions: FloatArray, other: FloatArray) -> FloatArray:
    """Return the angle of each direction to another, or to its own, degrees."""
    cross = directions[:, 0] * other[..., 1] - directions[:, 1] * other[..., 0]
    along = directions[:, 0] * other[..., 0] + directions[:, 1] * other[..., 1]
    return np.asarray(np.abs(np.degrees(np.arctan2(cross, along))))
