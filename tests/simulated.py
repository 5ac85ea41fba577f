"""Lawns and machines for tests of the simulation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon

from lawnplat.proving.simulation.drive_kernel import Pace
from lawnplat.proving.simulation.random_kernel import next_unit, stream
from lawnplat.proving.simulation.ray_kernel import first_met
from lawnplat.proving.simulation.turning_kernel import turned
from lawnplat.proving.simulation.types import Departure
from lawnplat.proving.simulation.ways import marks_of, pace_of, ways_of
from lawnplat.proving.simulation.world import ReturnLine, World
from lawnplat.settings.load import load_machine, load_rule_book

RULES = load_rule_book()
MACHINE = load_machine("medium")
FROM_FRONT = Departure(0, 0.0, 1.0)


def world(ground: Polygon, *lines: Sequence[tuple[float, float]], station=None) -> World:
    """A lawn whose station stands at the first vertex of its rim, or where it is told."""
    ground = shapely.orient_polygons(ground)
    station = Point(station or ground.exterior.coords[0])
    return World(
        ground=ground,
        lawn=MultiPolygon([ground]),
        wanted_m2=ground.area,
        missed=MultiPolygon(),
        station=station,
        ahead=ground.representative_point(),
        lines=tuple(ReturnLine(i, LineString(line)) for i, line in enumerate(lines, start=1)),
        origin=(0.0, 0.0),
    )


def rules(**changes):
    """The shipped rules with some of the simulation's changed."""
    return replace(RULES, simulation=replace(RULES.simulation, **changes))


def arrays(a_world: World, departures=(FROM_FRONT,), **changes):
    """Ways, pace and points of a world."""
    book = rules(**changes)
    ways, pace = ways_of(a_world, departures, book), pace_of(MACHINE, book)
    return ways, pace, marks_of(a_world, MACHINE, book)


def flights(ground: Polygon, law: int, count: int, seed: int):
    """Wall to wall: start points (n, 2), directions (n, 2), lengths (n,)."""
    walls = ways_of(world(ground), (FROM_FRONT,), RULES).walls
    state = stream(seed)
    place = ground.representative_point()
    x, y, dx, dy, stands = place.x, place.y, 1.0, 0.0, -1
    found = np.empty((count, 5))
    for i in range(count):
        wall, way, _ = first_met(walls, x, y, dx, dy, stands, np.inf)
        assert wall >= 0
        found[i] = x, y, dx, dy, way
        x, y, stands = x + way * dx, y + way * dy, wall
        normal = -walls.lines[wall, 3], walls.lines[wall, 2]
        dx, dy = turned(law, *normal, next_unit(state))
    return found[1:, :2], found[1:, 2:4], found[1:, 4]


def slow_pace(pace: Pace, **changes: float) -> Pace:
    return pace._replace(**changes)
