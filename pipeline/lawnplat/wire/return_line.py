"""The return line: straight out of the station, along the gentlest way, to a joint in the perimeter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, grow, union
from lawnplat.ground.types import Ground
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Finding
from lawnplat.terrain.sample import gradient_at, height_at
from lawnplat.terrain.types import Terrain
from lawnplat.wire.corridor import Corridor, Ends, corridor_of, ends_of, way_ground
from lawnplat.wire.places import rim_of
from lawnplat.wire.rounding import rounded
from lawnplat.wire.route_grid import Moves, RouteGrid, lay_grid, moves
from lawnplat.wire.search import Ways, Weights, cheapest, least_limit
from lawnplat.wire.shortcut import LegCost, straightened
from lawnplat.wire.station import Siting
from lawnplat.wire.types import ReturnLine, Station

_CELL_M = 0.25
_MOST_CELLS = 40_000
_FINEST_M = 0.1
_MOST_ENDS = 48
_STEP_M = 0.25
_REACH_NEAR, _REACH_FAR = 4, 3
_MANY_CELLS = 20_000


@dataclass(frozen=True)
class Routed:
    """The return lines, where each is joined to the perimeter, and what has to be said."""

    lines: tuple[ReturnLine, ...]
    joints: tuple[Point, ...]
    findings: tuple[Finding, ...]


def route(
    siting: Siting, ground: Ground, terrain: Terrain, machine: MachineClass, rules: RuleBook
) -> Routed:
    """Route one return line from the station so that the lawn lies as near to it as can be.

    Of all joints on the perimeter that a way within the machine's gradient limit leads to, the one
    is taken from which the lawn's mean driving distance to the line, and a share of the line's own
    length, is least. Where no way keeps the limit, the way whose steepest metre is least is taken.
    """
    corridor = _leaving(siting, ground, machine, rules)
    spacing_m = max(1.0, rim_of(siting.piece).length / _MOST_ENDS)
    ends = ends_of(corridor, ground, rules, spacing_m)
    ways, nodes, over = _searched(corridor, ends, terrain, machine, rules)
    if ways is None:
        return Routed((), (), (_no_way(siting.station, rules),))
    chosen, rough = _best_end(ways, ends, nodes, siting, rules)
    line = _drawn(corridor, ends.joint[chosen], rough, ways, terrain, machine, rules)
    findings = (_steep(line, terrain, machine, rules),) if over else ()
    measured = _measured(line, terrain)
    return Routed((measured,), (Point(ends.joint[chosen]),), findings)


def _leaving(
    siting: Siting, ground: Ground, machine: MachineClass, rules: RuleBook
) -> Corridor:
    """Return the corridor with the longest straight run that leads onto free ground."""
    base_ahead_m = machine.base_length_m - machine.base_behind_wire_m
    shortest = _straight_m(rules)
    options = [
        corridor_of(siting.piece, ground, siting.station, rules, straight_m)
        for straight_m in (shortest + base_ahead_m + 0.5, shortest + base_ahead_m, shortest + 0.02)
    ]
    return next(
        (option for option in options if _is_free(option)),
        options[-1],
    )


def _is_free(corridor: Corridor) -> bool:
    return bool(shapely.dwithin(corridor.free, Point(corridor.start), 1e-3))


def _searched(
    corridor: Corridor, ends: Ends, terrain: Terrain, machine: MachineClass, rules: RuleBook
) -> tuple[Ways | None, FloatArray, bool]:
    """Search ways to all ends, on a finer grid where a coarse one does not connect.

    Returns the ways, the cell of each end (-1 where none), and whether the limit is exceeded.
    """
    if corridor.free.is_empty or len(ends.joint) == 0:
        return None, np.array([]), False
    limit = machine.slope_return_pct / 100.0
    cell_m = max(_CELL_M, float(np.sqrt(corridor.free.area / _MOST_CELLS)))
    while True:
        grid = _grid_over(corridor, cell_m, rules)
        start = int(grid.nearest(corridor.start[None], 3 * cell_m)[0])
        nodes = grid.nearest(ends.inner, 2 * cell_m)
        if start >= 0 and (nodes >= 0).any():
            found = _moves(grid, terrain)
            reached = _reachable(grid, found, start, nodes)
            if reached >= 0.9 * len(nodes) or cell_m <= _FINEST_M:  # noqa: PLR2004
                break
        elif cell_m <= _FINEST_M:
            return None, nodes, False
        cell_m /= 1.6
    weights = _weights(rules)
    ways = cheapest(grid, found, start, limit, weights)
    good = nodes >= 0
    if np.isfinite(ways.cost[nodes[good]]).any():
        return ways, nodes, False
    least = least_limit(found, grid.free.size, start, nodes[good])
    if not np.isfinite(least):
        return None, nodes, False
    return cheapest(grid, found, start, least * (1 + 1e-9), weights), nodes, True


def _grid_over(corridor: Corridor, cell_m: float, rules: RuleBook) -> RouteGrid:
    """Return the grid, its ground half a cell wider than the free ground so that narrow ways join.

    Points beyond the free ground are drawn back onto it before the way is straightened.
    """
    wider = min(0.5 * cell_m, 0.5 * rules.return_line.corridor_m)
    return lay_grid(shapely.intersection(grow(corridor.free, wider), corridor.room), cell_m)


def _moves(grid: RouteGrid, terrain: Terrain) -> Moves:
    rows, columns = grid.free.shape
    x = grid.west_m + np.arange(columns) * grid.cell_m
    y = grid.south_m + np.arange(rows) * grid.cell_m
    east, north = gradient_at(terrain, *np.meshgrid(x, y))
    reach = _REACH_NEAR if grid.free.sum() <= _MANY_CELLS else _REACH_FAR
    return moves(grid, reach, (east, north))


def _reachable(grid: RouteGrid, found: Moves, start: int, nodes: FloatArray) -> int:
    flat = Moves(found.start, found.end, found.length_m, np.zeros_like(found.steepest))
    ways = cheapest(grid, flat, start, np.inf, Weights(0.0, 0.0, 1.0))
    return int((np.isfinite(ways.cost[np.maximum(nodes, 0)]) & (nodes >= 0)).sum())


def _weights(rules: RuleBook) -> Weights:
    line = rules.return_line
    return Weights(line.score_gradient, line.score_closeness, line.comfortable_m)


def _best_end(
    ways: Ways, ends: Ends, nodes: FloatArray, siting: Siting, rules: RuleBook
) -> tuple[int, FloatArray]:
    """Return the number of the best end and the rough way to it."""
    best, best_score, best_way = -1, np.inf, np.empty((0, 2))
    for place, node in enumerate(nodes):
        if node < 0 or not np.isfinite(ways.cost[node]):
            continue
        way = ways.to(int(node))
        home = shapely.get_coordinates(siting.station.point)
        whole = np.concatenate([home, way, ends.joint[place : place + 1]])
        points = _evenly(whole, siting.network.cell_m)
        near_m = siting.network.ways_to_line_m(points)
        near_m = near_m[np.isfinite(near_m)]
        length = LineString(whole).length
        score = float(near_m.mean()) + rules.return_line.score_length * length
        if score < best_score - 1e-9:
            best, best_score, best_way = place, score, way
    return best, best_way


def _evenly(way: FloatArray, spacing_m: float) -> FloatArray:
    line = LineString(way)
    count = max(int(np.ceil(line.length / spacing_m)), 1)
    return shapely.get_coordinates(
        shapely.line_interpolate_point(line, np.linspace(0, line.length, count + 1))
    )


def _drawn(
    corridor: Corridor,
    joint: FloatArray,
    rough: FloatArray,
    ways: Ways,
    terrain: Terrain,
    machine: MachineClass,
    rules: RuleBook,
) -> LineString:
    """Return the line as it is laid: straight run, straightened way, bends rounded."""
    ground = way_ground(corridor, joint, rules)
    inside = _drawn_onto(rough[1:], ground)
    turning = _turning_points(corridor, rules)
    way = np.concatenate([turning, inside, joint[None]])
    limit = max(machine.slope_return_pct / 100.0, ways.limit)
    cost = _leg_cost(ground, corridor, terrain, limit, rules)
    corners = straightened(way, cost, corridor.ahead)
    whole = np.concatenate([corridor.station[None], corners])
    straight_m = rules.return_line.straight_run_m
    return LineString(
        rounded(whole, rules.return_line.rounding_m, _rounding_room(ground, whole), straight_m)
    )


def _turning_points(corridor: Corridor, rules: RuleBook) -> FloatArray:
    """Return places on the straight run, from its least length on, where the line may turn."""
    longest_m = float(np.hypot(*(corridor.start - corridor.station)))
    first_m = min(_straight_m(rules), longest_m)
    along_m = np.linspace(first_m, longest_m, max(int((longest_m - first_m) / 0.2), 1) + 1)
    return corridor.station + corridor.ahead * along_m[:, None]


def _straight_m(rules: RuleBook) -> float:
    return max(rules.return_line.straight_run_m, rules.station.front_clear_m)


def _rounding_room(ground: BaseGeometry, whole: FloatArray) -> BaseGeometry:
    return grow(union([ground, grow(LineString(whole[:2]), 0.02)]), 1e-3)


def _drawn_onto(points: FloatArray, ground: BaseGeometry) -> FloatArray:
    """Move points that lie beyond ``ground`` to its nearest place."""
    places = shapely.points(points)
    nearest = shapely.get_coordinates(
        shapely.line_interpolate_point(shapely.shortest_line(places, ground), 1.0, normalized=True)
    )
    outside = ~shapely.covers(ground, places)
    return np.where(outside[:, None], nearest, points)


def _leg_cost(
    ground: BaseGeometry, corridor: Corridor, terrain: Terrain, limit: float, rules: RuleBook
) -> LegCost:
    wires = shapely.boundary(corridor.room)
    shapely.prepare(wires)
    weights = _weights(rules)
    field = lay_grid(corridor.room, max(_CELL_M, float(np.sqrt(corridor.room.area / _MOST_CELLS))))

    def closeness(x: FloatArray, y: FloatArray) -> FloatArray:
        return weights.closeness(_clearance(field, x, y))

    def gradient(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        return gradient_at(terrain, x, y)

    return LegCost(
        gradient=gradient,
        closeness=closeness,
        free=ground,
        limit=limit,
        per_gradient=weights.per_gradient,
        per_closeness=weights.per_closeness,
        per_bend=rules.return_line.score_bend,
        largest_bend_deg=rules.return_line.largest_bend_deg,
    )


def _clearance(field: RouteGrid, x: FloatArray, y: FloatArray) -> FloatArray:
    """Return the clearance of the nearest cell."""
    rows, columns = field.free.shape
    row = np.clip(np.rint((y - field.south_m) / field.cell_m).astype(int), 0, rows - 1)
    column = np.clip(np.rint((x - field.west_m) / field.cell_m).astype(int), 0, columns - 1)
    return np.asarray(field.clearance_m[row, column])


def _measured(line: LineString, terrain: Terrain) -> ReturnLine:
    """Measure the drawn line: gradients along it every quarter of a metre, and its climb."""
    points = _evenly(shapely.get_coordinates(line), _STEP_M)
    run = np.diff(points, axis=0)
    unit = run / np.maximum(np.hypot(run[:, 0], run[:, 1]), 1e-9)[:, None]
    middle = (points[1:] + points[:-1]) / 2
    east, north = gradient_at(terrain, middle[:, 0], middle[:, 1])
    along = np.abs(east * unit[:, 0] + north * unit[:, 1])
    ends = height_at(terrain, points[[0, -1], 0], points[[0, -1], 1])
    return ReturnLine(
        number=1,
        line=line,
        steepest_pct=float(100 * along.max()),
        mean_pct=float(100 * along.mean()),
        climb_m=float(ends[1] - ends[0]),
    )


def _steep(
    line: LineString, terrain: Terrain, machine: MachineClass, rules: RuleBook
) -> Finding:
    """Say where the line is steepest, over the machine's limit."""
    points = _evenly(shapely.get_coordinates(line), _STEP_M)
    run = np.diff(points, axis=0)
    unit = run / np.maximum(np.hypot(run[:, 0], run[:, 1]), 1e-9)[:, None]
    east, north = gradient_at(terrain, points[1:, 0], points[1:, 1])
    along = 100 * np.abs(east * unit[:, 0] + north * unit[:, 1])
    worst = int(np.argmax(along))
    return Finding(
        rule="return_line_gradient",
        severity="warn",
        text=(
            f"no way home keeps within {machine.slope_return_pct:.0f} %: the least steep one has "
            f"{along[worst]:.1f} % here; try the line before it is buried"
        ),
        place=Point(points[worst + 1]),
        measured=round(float(along[worst]), 1),
        limit=machine.slope_return_pct,
    )


def _no_way(station: Station, rules: RuleBook) -> Finding:
    return Finding(
        rule="return_line_room",
        severity="stop",
        text=(
            f"no return line fits: there is no way from the station to the perimeter that keeps "
            f"{rules.return_line.corridor_m:.2f} m from every wire"
        ),
        place=station.point,
        limit=rules.return_line.corridor_m,
    )
