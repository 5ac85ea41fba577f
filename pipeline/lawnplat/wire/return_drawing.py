"""Draw a return line: from a rough way over the grid to straight legs and round bends."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, grow, thickened, union
from lawnplat.settings.types import RuleBook
from lawnplat.terrain.sample import gradient_at
from lawnplat.terrain.types import Terrain
from lawnplat.wire.corridor import Corridor, way_ground
from lawnplat.wire.leg_cost import Gradient, LegCost
from lawnplat.wire.other_side import straightened_on_best_side
from lawnplat.wire.return_search import grid_cell_m, line_weights
from lawnplat.wire.rounding import Admits, MostTurn, rounded_gently
from lawnplat.wire.route_grid import RouteGrid, lay_grid
from lawnplat.wire.scene import Scene

_TURNING_STEP_M = 0.2
_HAIR = 1e-3
_THIN_M = 0.005
"""Points that lie this near to a straight between others are not laid."""
_CORNER_M = 0.15
"""A gentle way's own corners are left out where it moves by no more."""
_LITTLE_LONGER = 1.02
MOST_OF_THE_POINT = 0.8
"""Share of what a line may pass the limit by that legs are drawn with: rough ground, that is looked
at here and there, may be steeper between."""
_ROUND_A_CORNER_M = 0.05
"""Points this close keep a way round a corner of the free ground within a millimetre of it."""


@dataclass(frozen=True)
class Drawing:
    """What lines along one rough way are drawn from."""

    corridor: Corridor
    ground: BaseGeometry
    """Where the line may lie after its straight run."""
    way: FloatArray
    cost: LegCost
    rules: RuleBook

    def line(self, *, fine: bool = False, gentle: bool = False) -> LineString:
        """Return the line as it is laid: straight run, straightened way, bends rounded.

        Parameters
        ----------
        fine : bool
            Whether bends may follow closer on each other, at twice the time.
        gentle : bool
            Whether the rough way keeps the rules' bends, so that no detour is too long to keep
            them.
        """
        cost = replace(self.cost, gently=gentle)
        straight = straightened_on_best_side(self.way, cost, self.corridor.ahead, fine=fine)
        corners = _round_corners_of(straight, self.ground)
        whole = np.concatenate([self.corridor.station[None], corners])
        room = thickened(union([self.ground, grow(LineString(whole[:2]), 0.02)]), 1e-3)
        line = self.rules.return_line
        most = MostTurn(line.largest_bend_deg, line.bend_within_m)
        admits = _admitting(room, cost)
        return LineString(
            rounded_gently(whole, line.rounding_m, admits, most, line.straight_run_m)
        )


def drawing(
    scene: Scene,
    corridor: Corridor,
    joint: FloatArray,
    rough: FloatArray,
    limit: float,
    *,
    over_share: float = MOST_OF_THE_POINT,
) -> Drawing:
    """Return what a line along a rough way is drawn from, in one way or more.

    Parameters
    ----------
    scene : Scene
    corridor : Corridor
    joint : array of shape (2,)
        Where the line meets the perimeter.
    rough : array of shape (n, 2)
        The way found on the grid, from the end of the straight run to just before the joint.
    limit : float
        Gradient limit in metres a metre.
    over_share : float
        Share of what a line may pass the limit by that its legs may.
    """
    rules = scene.rules
    over_limit = over_share * rules.return_line.over_limit_pct / 100
    ground = way_ground(corridor, joint, rules)
    turning = _turning_points(corridor, rules, rough[0])
    way = np.concatenate([turning, _drawn_onto(rough[1:], ground), joint[None]])
    cost = replace(_leg_cost(scene, corridor, ground, limit), over_limit=over_limit)
    return Drawing(corridor, ground, way, cost, rules)


def as_found(
    scene: Scene, corridor: Corridor, joint: FloatArray, way: FloatArray
) -> LineString | None:
    """Return the line along a way as it was found, but for small corners; None off free ground.

    Parameters
    ----------
    scene : Scene
    corridor : Corridor
    joint : array of shape (2,)
        Where the line meets the perimeter.
    way : array of shape (n, 2)
        A way that turns gently, from the straight run to just before the joint.
    """
    # A grid's cell lies aside of the straight run by up to half its size, or more beside a wire.
    along_m = float((way[0] - corridor.station) @ corridor.ahead)
    turn = corridor.station + corridor.ahead * along_m
    onward = shapely.simplify(LineString([turn, *way[1:], joint]), _CORNER_M)
    line = LineString([corridor.station, *onward.coords])
    run = grow(LineString([corridor.station, turn]), 0.02)
    room = thickened(union([way_ground(corridor, joint, scene.rules), run]), 1e-3)
    return line if shapely.covers(room, line) else None


def _admitting(room: BaseGeometry, cost: LegCost) -> Admits:
    """Admit arcs that stay in ``room`` and are no steeper than the limit.

    A switchback's arc would run straight up the bank: such a bend is left a corner.
    """
    shapely.prepare(room)

    def admits(arc: FloatArray) -> bool:
        steep = cost.steepest(arc[:-1], arc[1:]) > cost.limit * (1 + _HAIR)
        return not steep.any() and bool(shapely.covers(room, LineString(arc)))

    return admits


def _turning_points(corridor: Corridor, rules: RuleBook, begin: FloatArray) -> FloatArray:
    """Return places on the straight run where the line may turn, up to where a way begins."""
    first_m, begin_m = (
        float((place - corridor.station) @ corridor.ahead)
        for place in (corridor.first_turn(rules), begin)
    )
    longest_m = min(max(first_m, begin_m), float(np.hypot(*(corridor.start - corridor.station))))
    count = max(int((longest_m - first_m) / _TURNING_STEP_M), 1) + 1
    along_m = np.unique(np.linspace(first_m, longest_m, count))
    return np.asarray(corridor.station + corridor.ahead * along_m[:, None])


def _drawn_onto(points: FloatArray, ground: BaseGeometry) -> FloatArray:
    """Move points that lie beyond ``ground`` to its nearest place."""
    places = shapely.points(points)
    to_ground = shapely.shortest_line(places, ground)
    nearest = shapely.get_coordinates(to_ground)[1::2]
    outside = ~np.asarray(shapely.covers(ground, places))
    return np.where(outside[:, None], nearest, points)


def _round_corners_of(points: FloatArray, ground: BaseGeometry) -> FloatArray:
    """Lay more points on ``ground`` along each leg that cuts a corner of it."""
    legs = np.asarray(shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1)))
    cuts = ~np.asarray(shapely.covers(ground, legs))
    pieces = [points[:1]]
    for leg, end, cut in zip(legs, points[1:], cuts, strict=True):
        if cut:
            dense = shapely.get_coordinates(shapely.segmentize(leg, _ROUND_A_CORNER_M))
            dense[1:-1] = _drawn_onto(dense[1:-1], ground)
            # Where the free ground comes in scraps, a way over all of them would be a zigzag.
            if LineString(dense).length <= _LITTLE_LONGER * leg.length:
                thin = shapely.simplify(LineString(dense), _THIN_M)
                pieces.append(shapely.get_coordinates(thin)[1:-1])
        pieces.append(end[None])
    return np.concatenate(pieces)


def _gradient(terrain: Terrain) -> Gradient:
    """Return the ground's gradient as a function of place; level ground is not looked up."""
    if not (terrain.dz_dx.any() or terrain.dz_dy.any()):
        return lambda x, _: (np.zeros_like(x), np.zeros_like(x))
    return lambda x, y: gradient_at(terrain, x, y)


def inside_grid(room: Polygon) -> RouteGrid:
    """Return the grid on which lines are drawn, over the ground inside the wire."""
    return lay_grid(room, grid_cell_m(room.area))


def _leg_cost(
    scene: Scene, corridor: Corridor, ground: BaseGeometry, limit: float
) -> LegCost:
    weights = line_weights(scene.rules)
    field = scene.inside or inside_grid(corridor.room)
    closeness = weights.closeness(field.clearance_m)
    rules = scene.rules.return_line
    return LegCost(
        gradient=_gradient(scene.terrain),
        closeness=lambda x, y: field.value_at(closeness, x, y),
        free=ground,
        limit=limit,
        per_gradient=weights.per_gradient,
        per_closeness=weights.per_closeness,
        per_bend=rules.score_bend,
        largest_bend_deg=rules.largest_bend_deg,
        smallest_leg_m=rules.smallest_leg_m,
    )
