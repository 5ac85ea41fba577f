"""From a world to the arrays that the kernels take."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point

from lawnplat.proving.simulation.coverage_kernel import Marks
from lawnplat.proving.simulation.drive_kernel import Pace, Ways
from lawnplat.proving.simulation.pieces import pieces_of
from lawnplat.proving.simulation.turning_kernel import COSINE, UNIFORM
from lawnplat.proving.simulation.types import Departure
from lawnplat.proving.simulation.world import World
from lawnplat.settings.proving_rules import Side, TurningLaw
from lawnplat.settings.types import MachineClass, RuleBook

FloatArray = NDArray[np.float64]

_PAD_M = 1.0
_MIN_S, _H_S = 60.0, 3600.0
_LAWS = {TurningLaw.COSINE: COSINE, TurningLaw.UNIFORM: UNIFORM}


def ways_of(world: World, departures: tuple[Departure, ...], rules: RuleBook) -> Ways:
    """Return the wires of a world, and its places of departure in the order given."""
    west, south, east, north = world.ground.bounds
    bounds = (west - _PAD_M, south - _PAD_M, east + _PAD_M, north + _PAD_M)
    rims = [world.ground.exterior, *world.ground.interiors]
    home = min(rims, key=lambda rim: rim.distance(world.station))
    points = [_from_station(rim, world.station) if rim is home else _of(rim) for rim in rims]
    walls = pieces_of(points, bounds)
    along = np.concatenate([[0.0], np.cumsum(walls.lines[:, 4])[:-1]])
    begins = np.cumsum([0, *(len(each) - 1 for each in points)])
    first = next(i for i, rim in enumerate(rims) if rim is home)
    span = slice(int(begins[first]), int(begins[first + 1]))
    wall_home = np.full((len(walls.lines), 2), -1.0)
    ahead_m = along[span] - along[span.start]
    if rules.simulation.wire_side is Side.RIGHT:
        # Ground to the left of every rim: who drives along it has the wire on the right.
        wall_home[span] = np.column_stack([home.length - ahead_m, np.full(len(ahead_m), -1.0)])
    else:
        wall_home[span] = np.column_stack([ahead_m, np.ones(len(ahead_m))])
    lines = [_of(each.line) for each in world.lines]
    line_home = [_chainages(each) for each in lines]
    return Ways(
        walls=walls,
        wall_home=wall_home,
        lines=pieces_of(lines, bounds),
        line_home_m=np.concatenate(line_home) if line_home else np.empty(0),
        starts=np.array([start_of(world, each) for each in departures]),
    )


def start_of(world: World, departure: Departure) -> tuple[float, float, float]:
    """Return x, y of a place of departure and its way from the station."""
    for each in world.lines:
        if each.number == departure.line_number:
            place = each.line.interpolate(departure.start_distance_m)
            return place.x, place.y, departure.start_distance_m
    return world.ahead.x, world.ahead.y, world.ahead.distance(world.station)


def pace_of(machine: MachineClass, rules: RuleBook) -> Pace:
    """Return how a machine drives.

    Its speed is such that the rate of its class is new ground at the rule book's share: rate x
    ``programme.work_efficiency_share`` / (cutting width x ``simulation.new_ground_share``).
    """
    simulation = rules.simulation
    rate_m2_h = machine.rate_m2_h * rules.programme.work_efficiency_share
    speed_m_h = rate_m2_h / (machine.cutting_width_m * simulation.new_ground_share)
    run_s = machine.run_min * _MIN_S
    return Pace(
        speed_m_s=speed_m_h / _H_S,
        radius_m=0.5 * machine.cutting_width_m,
        run_s=run_s,
        reserve_s=run_s * simulation.reserve_share,
        lines_first_s=simulation.lines_first_min * _MIN_S,
        charge_s=machine.charge_min * _MIN_S,
        law=_LAWS[simulation.turning_law],
    )


def marks_of(world: World, machine: MachineClass, rules: RuleBook) -> Marks:
    """Return the points of the lawn, none of them cut."""
    west, south, east, north = world.lawn.bounds
    side = rules.simulation.cell_share * machine.cutting_width_m
    side = max(
        side, float(np.sqrt((east - west) * (north - south) / rules.simulation.largest_cells))
    )
    shape = (int((north - south) / side) + 1, int((east - west) / side) + 1)
    frame = np.array([west + side / 2, south + side / 2, side])
    x, y = points_of(frame, shape)
    shapely.prepare(world.lawn)
    mown = shapely.contains_xy(world.lawn, x[np.newaxis, :], y[:, np.newaxis])
    return _uncut(mown.astype(np.uint8), frame)


def fresh(marks: Marks) -> Marks:
    """Return the same points, none of them cut."""
    return _uncut(marks.mown, marks.frame)


def _uncut(mown: NDArray[np.uint8], frame: FloatArray) -> Marks:
    last_day = np.full(mown.shape, -1, dtype=np.int32)
    return Marks(mown, np.zeros(mown.shape, dtype=np.int64), last_day, frame)


def points_of(frame: FloatArray, shape: tuple[int, ...]) -> tuple[FloatArray, FloatArray]:
    """Return the x of a raster's columns and the y of its rows."""
    west, south, side = frame
    return west + side * np.arange(shape[1]), south + side * np.arange(shape[0])


def _of(line: LineString) -> FloatArray:
    points: FloatArray = shapely.get_coordinates(line)
    apart = np.any(np.diff(points, axis=0) != 0, axis=1)
    return np.asarray(points[np.concatenate([[True], apart])])


def _chainages(points: FloatArray) -> FloatArray:
    along: FloatArray = np.cumsum(np.hypot(*np.diff(points, axis=0).T))
    return np.concatenate([[0.0], along[:-1]])


def _from_station(rim: LineString, station: Point) -> FloatArray:
    """Return a closed rim's vertices, from the place nearest to the station round to it."""
    points = _of(rim)[:-1]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(_of(rim), axis=0).T))])[:-1]
    at_m = shapely.line_locate_point(rim, station)
    place = shapely.get_coordinates(rim.interpolate(at_m))
    behind, before = points[along > at_m], points[along < at_m]
    return np.concatenate([place, behind, before, place])
