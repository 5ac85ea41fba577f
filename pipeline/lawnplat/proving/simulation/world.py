"""The ground that one machine's centre can reach, from a written plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import as_multipolygon, grow, polygons
from lawnplat.proving.recorded import RecordedPlan, Row, union
from lawnplat.settings.types import MachineClass, RuleBook, Treatment

FloatArray = NDArray[np.float64]

_HALF = 0.5
_MOWN_HERE = {"main", "linked"}


@dataclass(frozen=True)
class ReturnLine:
    """A return line: its number, and its way from the station outward."""

    number: int
    line: LineString


@dataclass(frozen=True)
class World:
    """What a machine drives in, moved so that ``origin`` is (0, 0): small numbers keep digits.

    Attributes
    ----------
    ground : Polygon
        Where the machine's centre may be: its rims are where it turns.
    lawn : MultiPolygon
        What is to be mown and the blades can reach.
    wanted_m2 : float
        What is to be mown without carrying the machine, whether the blades can reach it or not.
    missed : MultiPolygon
        What of it lies in pieces of ground to which no way leads.
    station : Point
    ahead : Point
        Where the machine stands once it has left the station.
    lines : tuple of ReturnLine
    origin : tuple of float
    """

    ground: Polygon
    lawn: MultiPolygon
    wanted_m2: float
    missed: MultiPolygon
    station: Point
    ahead: Point
    lines: tuple[ReturnLine, ...]
    origin: tuple[float, float]


def world_of(plan: RecordedPlan, machine: MachineClass, rules: RuleBook) -> World | None:
    """Return the world of one loop's machine; None where the plan lays no wire or no station.

    Parameters
    ----------
    plan : RecordedPlan
        Of one loop (`RecordedPlan.of_loop`).
    machine : MachineClass
    rules : RuleBook

    Notes
    -----
    The machine turns with its centre ``simulation.wire_turn_m`` inside the wire. Two wires side by
    side (a lead) cancel out, and it drives over them. Where there is no wire it turns at firm
    things (treatment ``firm``) with its front: its centre stays half its length away. The
    station's base is not driven on. A part to which the machine is carried is not reached.
    """
    wires, stations = plan.shapes("perimeter_wire"), plan.rows("station")
    if not wires or not stations or stations[0].geometry is None:
        return None
    west, south = (float(np.floor(value)) for value in shapely.bounds(wires[0])[:2])
    station = Point(shapely.get_coordinates(_moved(stations[0].geometry, west, south))[0])
    inside = _inside_the_wire(_moved(wires[0], west, south), rules)
    base = _moved(union(_parts(plan, "base")), west, south)
    firm = _moved(union(_firm(plan, rules)), west, south)
    free = shapely.difference(inside, base)
    if not firm.is_empty:
        free = shapely.difference(free, grow(firm, _HALF * machine.body_length_m))
    pieces = polygons(free)
    if not pieces:
        return None
    ahead = _ahead(_moved(union(_parts(plan, "front")), west, south), station)
    ground = min(pieces, key=lambda piece: (piece.distance(ahead), -piece.area))
    ground = _without_needless_points(ground, rules)
    wanted = shapely.difference(_moved(union(_mown(plan)), west, south), shapely.union(base, firm))
    lawn = as_multipolygon(
        shapely.intersection(wanted, grow(ground, _HALF * machine.cutting_width_m))
    )
    cut_off = shapely.intersection(
        wanted, shapely.difference(inside, grow(ground, machine.body_length_m))
    )
    lines = tuple(
        ReturnLine(
            int(row.number("line_no")),
            LineString(shapely.get_coordinates(_moved(row.geometry, west, south))),
        )
        for row in plan.rows("return_lines")
        if isinstance(row.geometry, LineString)
    )
    return World(
        ground=ground,
        lawn=lawn,
        wanted_m2=float(wanted.area),
        missed=as_multipolygon(cut_off, smallest_m2=rules.ground.smallest_lawn_m2),
        station=station,
        ahead=shapely.shortest_line(ground, ahead).interpolate(0.0),
        lines=lines,
        origin=(west, south),
    )


def _inside_the_wire(wire: BaseGeometry, rules: RuleBook) -> BaseGeometry:
    """Return the ground round which the wire leads, leads closed, strips to carried parts cut."""
    gap_m = 2.0 * rules.wire.pair_gap_m
    whole = shapely.make_valid(Polygon(shapely.get_coordinates(wire)))
    closed = _mitred(_mitred(whole, gap_m), -gap_m)
    return _mitred(_mitred(closed, -gap_m - rules.simulation.wire_turn_m), gap_m)


def _mitred(shape: BaseGeometry, distance_m: float) -> BaseGeometry:
    return shapely.buffer(shape, distance_m, join_style="mitre", mitre_limit=2.0)


def _without_needless_points(ground: Polygon, rules: RuleBook) -> Polygon:
    """Return the ground with fewer vertices: each one costs time, and arcs have thousands."""
    simple = shapely.simplify(ground, rules.ground.shape_tolerance_m)
    largest = max(polygons(simple), key=lambda piece: piece.area, default=ground)
    return shapely.orient_polygons(largest)


def _ahead(front: BaseGeometry, station: Point) -> Point:
    """Return the far middle of the ground kept clear ahead of the station."""
    middle = front.centroid if not front.is_empty else station
    return Point(2.0 * middle.x - station.x, 2.0 * middle.y - station.y)


def _parts(plan: RecordedPlan, part: str) -> list[BaseGeometry]:
    return [
        row.geometry
        for row in plan.rows("station_area")
        if row.text("part") == part and row.geometry is not None
    ]


def _mown(plan: RecordedPlan) -> list[BaseGeometry]:
    return [
        row.geometry
        for row in plan.rows("mowable")
        if row.text("role") in _MOWN_HERE and row.geometry is not None
    ]


def _firm(plan: RecordedPlan, rules: RuleBook) -> list[BaseGeometry]:
    layers = ("feature_areas", "feature_lines", "feature_points")
    rows: list[Row] = [row for layer in layers for row in plan.rows(layer)]
    return [
        row.geometry
        for row in rows
        if row.geometry is not None
        and row.text("kind") in rules.kinds
        and rules.kinds[row.text("kind")].treatment is Treatment.FIRM
    ]


def _moved(shape: BaseGeometry, west: float, south: float) -> BaseGeometry:
    return shapely.transform(shape, lambda points: points - np.array([west, south]))
