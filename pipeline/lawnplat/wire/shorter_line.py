"""A return line that is hardly longer than the shortest one that keeps the rules.

What gentle and open ground is worth makes lines longer. Where a line is longer by more than the
rules' share, it is looked for and drawn again with less of that, at last with none.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString

from lawnplat.geometry import FloatArray
from lawnplat.wire.corridor import Corridor, Ends
from lawnplat.wire.other_side import reached
from lawnplat.wire.return_advice import keeps_rules
from lawnplat.wire.return_drawing import drawn
from lawnplat.wire.return_search import (
    LIMIT_SHARES,
    Searched,
    search_ends,
    search_smooth_ends,
)
from lawnplat.wire.scene import Scene

_LESS = 0.25
"""Share of what gentle and open ground is worth that is tried before none."""


def shortened(
    scene: Scene, corridor: Corridor, end: Ends, limit: float, line: LineString
) -> LineString:
    """Return ``line``, or the gentlest line to the same end that is not too long for the rules.

    Parameters
    ----------
    scene : Scene
    corridor : Corridor
    end : Ends
        The one place where the line is joined to the perimeter.
    limit : float
        Gradient limit, m/m.
    line : LineString
        As it is drawn with the whole worth of gentle and open ground.
    """
    longer = 1.0 + scene.rules.return_line.longer_share
    bare_m = float(np.hypot(*(end.joint[0] - corridor.station)))
    if line.length <= longer * bare_m:
        return line
    plain = _with_less(scene, 0.0)
    near = _near(corridor, end, line.length)
    searched = _searched(plain, near, end, limit)
    if searched is None:
        return line
    way = searched.way_to_first()
    if _all_within(scene, limit) and line.length <= longer * _length_m(way, corridor, end):
        return line
    kept = keeps_rules(scene, line, limit)
    shortest = drawn(plain, corridor, end.joint[0], way, limit)
    if line.length <= longer * shortest.length:
        return line
    if kept and not keeps_rules(scene, shortest, limit):
        gentle = _turning_gently(plain, near, corridor, end, searched, limit)
        too_long = gentle is not None and line.length > longer * gentle.length
        return gentle if gentle is not None and too_long else line
    less = _with_less(scene, _LESS)
    again = _searched(less, near, end, limit)
    if again is not None:
        other = drawn(less, corridor, end.joint[0], again.way_to_first(), limit)
        if other.length <= longer * shortest.length and keeps_rules(scene, other, limit):
            return other
    return shortest


def _near(corridor: Corridor, end: Ends, length_m: float) -> Corridor:
    """Return the corridor as far as ways of ``length_m`` reach."""
    ellipse = reached(corridor.station, end.joint[0], length_m)
    return replace(corridor, free=shapely.intersection(corridor.free, ellipse))


def _turning_gently(
    scene: Scene,
    near: Corridor,
    corridor: Corridor,
    end: Ends,
    searched: Searched,
    limit: float,
) -> LineString | None:
    """Return the line along the cheapest way that turns gently; None where it breaks a rule."""
    for share in LIMIT_SHARES:
        smooth = search_smooth_ends(scene, near, end, searched, share)
        if smooth is not None:
            line = drawn(scene, corridor, end.joint[0], smooth.way_to_first(), limit)
            if keeps_rules(scene, line, limit):
                return line
    return None


def _all_within(scene: Scene, limit: float) -> bool:
    """Return whether no ground passes the limit: there drawing hardly shortens a grid's way."""
    return bool(np.hypot(scene.terrain.dz_dx, scene.terrain.dz_dy).max() <= limit)


def _with_less(scene: Scene, share: float) -> Scene:
    """Return the scene with a share of what gentle and open ground is worth to a line."""
    line = scene.rules.return_line
    less = replace(
        line,
        score_gradient=share * line.score_gradient,
        score_closeness=share * line.score_closeness,
    )
    return replace(scene, rules=replace(scene.rules, return_line=less))


def _searched(scene: Scene, corridor: Corridor, end: Ends, limit: float) -> Searched | None:
    """Search the cheapest way over a grid to the end; None where none keeps ``limit``."""
    found = search_ends(scene, corridor, end)
    if found is None or found.ways.limit > limit or found.nodes[0] < 0:
        return None
    return found if np.isfinite(found.ways.cost[found.nodes[0]]) else None


def _length_m(way: FloatArray, corridor: Corridor, end: Ends) -> float:
    """Return the length of a way, from the station to the joint."""
    return LineString(np.concatenate([corridor.station[None], way, end.joint])).length
