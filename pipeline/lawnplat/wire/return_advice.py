"""Measure a return line, and say where it is steeper or sharper than the rules ask."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.ops import substring

from lawnplat.geometry import FloatArray
from lawnplat.settings.types import RuleBook
from lawnplat.survey.types import Finding
from lawnplat.terrain.sample import gradient_at, height_at
from lawnplat.terrain.types import Terrain
from lawnplat.wire.rounding import sharpest_turn
from lawnplat.wire.scene import Scene
from lawnplat.wire.types import ReturnLine, Station

SHARP_BEND = "return_line_bend"
"""The rule of the advisory on a bend over the largest allowed."""
_STEP_M = 0.25
_METRE_STEP_M = 0.1
_HAIR_DEG = 0.5
_HAIR_M = 0.01
_TWO = 2


@dataclass(frozen=True)
class _Profile:
    """A line in short straight stretches: middles, lengths, and gradients (m/m) along them."""

    middle: FloatArray
    length_m: FloatArray
    along: FloatArray


def _profile(line: LineString, terrain: Terrain) -> _Profile:
    points = shapely.get_coordinates(shapely.segmentize(line, _STEP_M))
    run = np.diff(points, axis=0)
    length_m = np.maximum(np.hypot(run[:, 0], run[:, 1]), 1e-9)
    middle = (points[1:] + points[:-1]) / 2
    east, north = gradient_at(terrain, middle[:, 0], middle[:, 1])
    along = np.abs(east * run[:, 0] + north * run[:, 1]) / length_m
    return _Profile(middle, length_m, along)


def measured(
    terrain: Terrain, number: int, line: LineString, lawn_mean_m: float, lawn_p95_m: float
) -> ReturnLine:
    """Return the line with its gradients every quarter of a metre and its climb."""
    profile = _profile(line, terrain)
    ends = shapely.get_coordinates(line)[[0, -1]]
    heights = height_at(terrain, ends[:, 0], ends[:, 1])
    return ReturnLine(
        number=number,
        line=line,
        steepest_pct=float(100 * profile.along.max()),
        mean_pct=float(100 * np.average(profile.along, weights=profile.length_m)),
        climb_m=float(heights[1] - heights[0]),
        lawn_mean_m=lawn_mean_m,
        lawn_p95_m=lawn_p95_m,
    )


def advice_on_lines(
    scene: Scene, room: Polygon, line: ReturnLine, *, over: bool
) -> list[Finding]:
    """Say where a line is steeper, bends more sharply or runs nearer to a wire than it should.

    ``room`` is the ground inside the wire; ``over`` tells that no way keeps the gradient limit.
    """
    found = _near_wire(scene, room, line)
    most_pct = scene.machine.slope_return_pct + scene.rules.return_line.over_limit_pct
    if over or line.steepest_pct > most_pct:
        found.append(_steep(scene, line, over=over))
    bend_deg, place = sharpest_bend(line.line, scene.rules)
    limit_deg = scene.rules.return_line.largest_bend_deg
    if bend_deg > limit_deg + _HAIR_DEG:
        found.append(_sharp(line, Point(place), bend_deg, limit_deg))
    return found


def sharpest_bend(line: LineString, rules: RuleBook) -> tuple[float, FloatArray]:
    """Return the sharpest bend of a line, degrees, and its place, arcs and close corners as one."""
    return sharpest_turn(shapely.get_coordinates(line), rules.return_line.bend_within_m)


def keeps_rules(scene: Scene, line: LineString, limit: float) -> bool:
    """Return whether a line bends and climbs no more than is allowed after its straight run.

    ``limit`` is the gradient allowed, m/m; a point more is let pass, on the ground that the scene
    takes for a line and on the ground as it is.
    """
    most_deg = scene.rules.return_line.largest_bend_deg
    return turns_within(scene, line, most_deg) and keeps_limit(scene, line, limit)


def turns_within(scene: Scene, line: LineString, most_deg: float) -> bool:
    """Return whether no bend of a line is sharper than ``most_deg``, but for a hair."""
    return sharpest_bend(line, scene.rules)[0] <= most_deg + _HAIR_DEG


def keeps_limit(scene: Scene, line: LineString, limit: float) -> bool:
    """Return whether a line is nowhere too steep after its straight run, as `keeps_rules` asks."""
    points = shapely.get_coordinates(line)
    onward = LineString(points[1:]) if len(points) > _TWO else line
    grounds = [scene.terrain] if scene.bare is None else [scene.terrain, scene.bare]
    steepest = max(_profile(onward, ground).along.max() for ground in grounds)
    return bool(100 * (steepest - limit) <= scene.rules.return_line.over_limit_pct)


def keeps_limit_by_the_metre(scene: Scene, line: LineString, limit: float) -> bool:
    """Return whether no metre of a line rises or falls by more than ``limit`` and a point.

    Heights of the terrain as it is are compared, not gradients: short steep places count as far as
    a machine feels them. The straight run is left out, as in `keeps_rules`.
    """
    onward_m = float(np.hypot(*np.subtract(line.coords[1], line.coords[0])))
    begins_m = np.arange(onward_m, line.length - 1.0, _METRE_STEP_M)
    first, last = (
        height_at(scene.as_it_is, *shapely.get_coordinates(line.interpolate(begins_m + off)).T)
        for off in (0.0, 1.0)
    )
    steepest = np.abs(last - first).max(initial=0.0)
    return bool(100 * (steepest - limit) <= scene.rules.return_line.over_limit_pct)


def _near_wire(scene: Scene, room: Polygon, line: ReturnLine) -> list[Finding]:
    """Say where the line's corridor falls short, its two ends left out."""
    corridor_m = scene.rules.return_line.corridor_m
    way = line.line
    end = shapely.buffer(Point(way.coords[-1]), 2 * corridor_m)
    inner = shapely.difference(substring(way, corridor_m + _HAIR_M, way.length), end)
    wires = shapely.boundary(room)
    near_m = float(shapely.distance(inner, wires)) if not inner.is_empty else np.inf
    if near_m >= corridor_m - _HAIR_M:
        return []
    return [
        Finding(
            rule="return_line_corridor",
            severity="warn",
            text=(
                f"return line {line.number} comes within {near_m:.2f} m of the perimeter wire "
                f"here, under {corridor_m:.2f} m: the ground leaves no wider way; try it before it "
                "is buried"
            ),
            place=Point(shapely.get_coordinates(shapely.shortest_line(inner, wires))[0]),
            measured=round(near_m, 3),
            limit=corridor_m,
        )
    ]


def _steep(scene: Scene, line: ReturnLine, *, over: bool) -> Finding:
    profile = _profile(line.line, scene.terrain)
    limit_pct = scene.machine.slope_return_pct
    why = (
        f"no way home keeps within {limit_pct:.0f} %: the least steep one has"
        if over
        else f"return line {line.number} is steeper than {limit_pct:.0f} % here:"
    )
    return Finding(
        rule="return_line_gradient",
        severity="warn",
        text=f"{why} {line.steepest_pct:.1f} %; try the line before it is buried",
        place=Point(profile.middle[int(np.argmax(profile.along))]),
        measured=round(line.steepest_pct, 1),
        limit=limit_pct,
    )


def _sharp(line: ReturnLine, place: Point, bend_deg: float, limit_deg: float) -> Finding:
    return Finding(
        rule=SHARP_BEND,
        severity="warn",
        text=(
            f"return line {line.number} turns by {bend_deg:.0f} degrees here, over "
            f"{limit_deg:.0f}: there is no room, or no ground within the gradient limit, for a "
            "wider bend; try it before it is buried"
        ),
        place=place,
        measured=round(bend_deg, 1),
        limit=limit_deg,
    )


def no_way(scene: Scene, station: Station) -> Finding:
    """Say that no return line fits."""
    corridor_m = scene.rules.return_line.corridor_m
    return Finding(
        rule="return_line_room",
        severity="stop",
        text=(
            "no return line fits: there is no way from the station to the perimeter that keeps "
            f"{corridor_m:.2f} m from every wire"
        ),
        place=station.point,
        limit=corridor_m,
    )
