"""A return line that is hardly longer than the shortest one that keeps the rules.

What gentle and open ground is worth makes lines longer. Where a line is longer by more than the
rules' share, it is looked for and drawn again with less of that, at last with none.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from shapely import LineString

from lawnplat.geometry import FloatArray
from lawnplat.wire.corridor import Corridor, Ends
from lawnplat.wire.return_advice import keeps_rules
from lawnplat.wire.return_drawing import drawn
from lawnplat.wire.return_search import search_ends
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
    plain = _way(_with_less(scene, 0.0), corridor, end, limit)
    if plain is None:
        return line
    if _all_within(scene, limit) and line.length <= longer * _length_m(plain, corridor, end):
        return line
    kept = keeps_rules(scene, line, limit)
    shortest = drawn(_with_less(scene, 0.0), corridor, end.joint[0], plain, limit)
    if line.length <= longer * shortest.length or (
        kept and not keeps_rules(scene, shortest, limit)
    ):
        return line
    less = _with_less(scene, _LESS)
    way = _way(less, corridor, end, limit)
    if way is not None:
        other = drawn(less, corridor, end.joint[0], way, limit)
        if other.length <= longer * shortest.length and keeps_rules(scene, other, limit):
            return other
    return shortest


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


def _way(scene: Scene, corridor: Corridor, end: Ends, limit: float) -> FloatArray | None:
    """Return the cheapest way over a grid to the end; None where none keeps ``limit``."""
    searched = search_ends(scene, corridor, end)
    if searched is None or searched.ways.limit > limit or searched.nodes[0] < 0:
        return None
    node = int(searched.nodes[0])
    return searched.ways.to(node) if np.isfinite(searched.ways.cost[node]) else None


def _length_m(way: FloatArray, corridor: Corridor, end: Ends) -> float:
    """Return the length of a way, from the station to the joint."""
    return LineString(np.concatenate([corridor.station[None], way, end.joint])).length
