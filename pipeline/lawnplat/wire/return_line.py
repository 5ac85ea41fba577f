"""The return line: straight out of the station, the gentlest way, to a joint in the perimeter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point

from lawnplat.geometry import FloatArray
from lawnplat.survey.types import Finding
from lawnplat.terrain.sample import gradient_at, height_at
from lawnplat.terrain.types import Terrain
from lawnplat.wire.corridor import Corridor, Ends, corridor_of, ends_of
from lawnplat.wire.places import rim_of
from lawnplat.wire.return_drawing import drawn, straight_run_m
from lawnplat.wire.return_search import Searched, search_ends
from lawnplat.wire.rounding import bends_deg
from lawnplat.wire.scene import Scene
from lawnplat.wire.station import Siting
from lawnplat.wire.types import ReturnLine

_MOST_ENDS = 48
_STEP_M = 0.25
_ROOM_TO_TURN_M = 0.5
_HAIR_PCT, _HAIR_DEG = 0.5, 0.5
"""What the drawing of a line may add to its limits without a word."""


@dataclass(frozen=True)
class Routed:
    """The return lines, where each is joined to the perimeter, and what has to be said."""

    lines: tuple[ReturnLine, ...]
    findings: tuple[Finding, ...]


def route(scene: Scene, siting: Siting) -> Routed:
    """Route one return line from the station so that the lawn lies as near to it as can be.

    Of all joints on the perimeter that a way within the machine's gradient limit leads to, the one
    is taken from which the lawn's mean driving distance to the line, and a share of the line's own
    length, is least. Where no way keeps the limit, the way whose steepest metre is least is taken.
    """
    corridor = _leaving(scene, siting)
    spacing_m = max(1.0, rim_of(siting.piece).length / _MOST_ENDS)
    ends = ends_of(corridor, scene.ground, scene.rules, spacing_m)
    searched = search_ends(scene, corridor, ends)
    if searched is None:
        return Routed((), (_no_way(scene, siting),))
    chosen, rough = _best_end(scene, siting, searched, ends)
    limit = max(scene.machine.slope_return_pct / 100.0, searched.ways.limit)
    line = drawn(scene, corridor, ends.joint[chosen], rough, limit)
    measured = _measured(line, scene.terrain)
    return Routed((measured,), _said(scene, measured, over=searched.over))


def _leaving(scene: Scene, siting: Siting) -> Corridor:
    """Return the corridor with the longest straight run that leads onto free ground."""
    least = straight_run_m(scene.rules)
    runs = (
        least + scene.base_ahead_m + _ROOM_TO_TURN_M,
        least + scene.base_ahead_m,
        least + scene.rules.ground.shape_tolerance_m,
    )
    corridor = corridor_of(siting.piece, scene.ground, siting.station, scene.rules, runs[0])
    for run_m in runs[1:]:
        if shapely.dwithin(corridor.free, Point(corridor.start), 1e-3):
            break
        corridor = corridor_of(siting.piece, scene.ground, siting.station, scene.rules, run_m)
    return corridor


def _best_end(
    scene: Scene, siting: Siting, searched: Searched, ends: Ends
) -> tuple[int, FloatArray]:
    """Return the number of the best end and the rough way to it."""
    best, best_score, best_way = -1, np.inf, np.empty((0, 2))
    home = shapely.get_coordinates(siting.station.point)
    for place, node in enumerate(searched.nodes):
        if node < 0 or not np.isfinite(searched.ways.cost[node]):
            continue
        way = searched.ways.to(int(node))
        whole = np.concatenate([home, way, ends.joint[place : place + 1]])
        dense = shapely.segmentize(LineString(whole), siting.network.cell_m)
        near_m = siting.network.ways_to_line_m(shapely.get_coordinates(dense))
        mean_m = float(near_m[np.isfinite(near_m)].mean())
        score = mean_m + scene.rules.return_line.score_length * LineString(whole).length
        if score < best_score - 1e-9:
            best, best_score, best_way = place, score, way
    return best, best_way


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


def _measured(line: LineString, terrain: Terrain) -> ReturnLine:
    profile = _profile(line, terrain)
    ends = shapely.get_coordinates(line)[[0, -1]]
    heights = height_at(terrain, ends[:, 0], ends[:, 1])
    return ReturnLine(
        number=1,
        line=line,
        steepest_pct=float(100 * profile.along.max()),
        mean_pct=float(100 * np.average(profile.along, weights=profile.length_m)),
        climb_m=float(heights[1] - heights[0]),
    )


def _said(scene: Scene, line: ReturnLine, *, over: bool) -> tuple[Finding, ...]:
    """Say where the line as drawn passes what the machine or the rules allow.

    A way within the limits of the search may pass them once its legs are straight and its bends
    round; what is told is what is dug.
    """
    found = []
    if over or line.steepest_pct > scene.machine.slope_return_pct + _HAIR_PCT:
        found.append(_steep(scene, line.line, over=over))
    turn_deg = bends_deg(shapely.get_coordinates(line.line))
    if turn_deg.max(initial=0.0) > scene.rules.return_line.largest_bend_deg + _HAIR_DEG:
        found.append(_sharp(scene, line.line, turn_deg))
    return tuple(found)


def _sharp(scene: Scene, line: LineString, turn_deg: FloatArray) -> Finding:
    """Say where the line has its sharpest bend, over the rule book's."""
    worst = int(np.argmax(turn_deg))
    limit_deg = scene.rules.return_line.largest_bend_deg
    return Finding(
        rule="return_line_bend",
        severity="warn",
        text=(
            f"the return line bends by {turn_deg[worst]:.0f} degrees here, over "
            f"{limit_deg:.0f}: try the line before it is buried"
        ),
        place=Point(shapely.get_coordinates(line)[worst + 1]),
        measured=round(float(turn_deg[worst]), 1),
        limit=limit_deg,
    )


def _steep(scene: Scene, line: LineString, *, over: bool) -> Finding:
    """Say where the line is steepest, over the machine's limit."""
    profile = _profile(line, scene.terrain)
    worst = int(np.argmax(profile.along))
    steepest_pct = 100 * float(profile.along[worst])
    limit_pct = scene.machine.slope_return_pct
    what = "no way home keeps" if over else "the return line does not keep"
    return Finding(
        rule="return_line_gradient",
        severity="warn",
        text=(
            f"{what} within {limit_pct:.0f} %: {steepest_pct:.1f} % here; "
            "try the line before it is buried"
        ),
        place=Point(profile.middle[worst]),
        measured=round(steepest_pct, 1),
        limit=limit_pct,
    )


def _no_way(scene: Scene, siting: Siting) -> Finding:
    corridor_m = scene.rules.return_line.corridor_m
    return Finding(
        rule="return_line_room",
        severity="stop",
        text=(
            "no return line fits: there is no way from the station to the perimeter that keeps "
            f"{corridor_m:.2f} m from every wire"
        ),
        place=siting.station.point,
        limit=corridor_m,
    )
