"""A return line that is hardly longer than the shortest one that keeps the rules.

What gentle and open ground is worth makes lines longer. Where a line is longer by more than the
rules' share, it is looked for and drawn again with less of that, at last with none. Where it breaks
a rule even so, it may go nearer to what the rules let pass.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from shapely import LineString

from lawnplat.geometry import FloatArray
from lawnplat.wire.asked_line import (
    AskedLine,
    bare_length_m,
    near_corridor,
    way_length_m,
    with_less,
)
from lawnplat.wire.corridor import Corridor, Ends
from lawnplat.wire.mended_line import mended
from lawnplat.wire.return_advice import keeps_limit_by_the_metre, keeps_rules
from lawnplat.wire.return_search import (
    IN_GENTLER_STEPS,
    IN_LEGS,
    IN_STEPS,
    Searched,
    search_smooth_ends,
)
from lawnplat.wire.scene import Scene

_LESS = 0.25
"""Share of what gentle and open ground is worth that is tried before none."""
_COARSER = 0.5
"""Share of the longer share by which a line may be longer than one drawn on a coarser grid."""


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
    if line.length <= longer * bare_length_m(scene, corridor, end):
        return line
    asked = AskedLine(scene, corridor, near_corridor(corridor, end, line.length), end, limit)
    straight = asked.straight()
    if straight is not None:
        return _gentler(asked, longer * straight.length) or straight
    searched = asked.searched(0.0)
    if searched is None:
        return line
    found = _no_longer_than(asked, searched, longer, line)
    return found if keeps_rules(scene, found, limit) else mended(asked, searched, found)


def _no_longer_than(
    asked: AskedLine, searched: Searched, longer: float, line: LineString
) -> LineString:
    """Return ``line``, or one that is at most ``longer`` times as long as the shortest."""
    scene, limit = asked.scene, asked.limit
    way_m = way_length_m(searched.way_to_first(), asked.corridor, asked.end)
    if _all_within(scene, limit) and line.length <= longer * way_m:
        return line
    shortest = asked.drawn(0.0, searched)
    if line.length <= longer * shortest.length:
        return line
    if keeps_rules(scene, line, limit) and not keeps_rules(scene, shortest, limit):
        gentle = _turning_gently(asked, searched)
        # It is itself a little longer than it need be, its steps being those of a coarser grid.
        longer = _drawn_well(scene)
        return line if gentle is None or line.length <= longer * gentle.length else gentle
    return _gentler(asked, longer * shortest.length) or shortest


def shortened_on_bare_ground(
    scene: Scene, corridor: Corridor, end: Ends, limit: float, line: LineString
) -> LineString:
    """Return ``line``, or a line over ground as it is that saves a share and keeps the rules.

    Lines are drawn over ground that is steep a little before it is (`wary_ground`). Where that
    makes one much longer, ground as it is may bear a shorter one: it is taken if each place and
    each metre of it, by the heights, keeps the limit.
    """
    if scene.bare is None or scene.bare is scene.terrain:
        return line
    longer = _drawn_well(scene)
    if line.length <= longer * bare_length_m(scene, corridor, end):
        return line
    bare = replace(scene, terrain=scene.bare, bare=None)
    asked = AskedLine(bare, corridor, near_corridor(corridor, end, line.length), end, limit)
    other = _clearly_shorter(asked, longer, line)
    if other is None or not keeps_limit_by_the_metre(bare, other, limit):
        return line
    return other


def _clearly_shorter(asked: AskedLine, longer: float, line: LineString) -> LineString | None:
    """Return a line that keeps the rules where ``line`` is over ``longer`` times as long.

    None where there is none. Turning gently makes no line shorter: that is asked for last.
    """
    searched = asked.searched(0.0)
    if searched is None:
        return None
    if line.length <= longer * way_length_m(searched.way_to_first(), asked.corridor, asked.end):
        return None
    shortest = asked.drawn(0.0, searched)
    if line.length <= longer * shortest.length:
        return None
    if keeps_rules(asked.scene, shortest, asked.limit):
        return shortest
    gentle = _turning_gently(asked, searched)
    return gentle if gentle is not None and line.length > longer * gentle.length else None


def kept_to(scene: Scene, corridor: Corridor, end: Ends, limit: float) -> LineString | None:
    """Return a line to ``end`` that keeps the rules, gentle ground worth nothing; None without."""
    asked = AskedLine(scene, corridor, corridor, end, limit)
    searched = asked.searched(0.0)
    return None if searched is None else _turning_gently(asked, searched)


def _gentler(asked: AskedLine, most_m: float) -> LineString | None:
    """Return the line with some worth of gentle ground; None where too long or against a rule."""
    searched = asked.searched(_LESS)
    if searched is None:
        return None
    line = asked.drawn(_LESS, searched)
    kept = line.length <= most_m and keeps_rules(asked.scene, line, asked.limit)
    return line if kept else None


def _turning_gently(asked: AskedLine, searched: Searched) -> LineString | None:
    """Return the shortest line along ways that turn gently; None where all break a rule.

    Bends follow closer on each other where the line along a way would else break one. Ways in whole
    legs can be much longer than those in steps: they alone do where the line along one is hardly
    longer than the way ``searched``, that turns as it likes.
    """
    found: list[LineString] = []
    ways: list[FloatArray] = []
    plain = with_less(asked.scene, 0.0)
    enough_m = _drawn_well(asked.scene) * way_length_m(
        searched.way_to_first(), asked.corridor, asked.end
    )
    for gently in (IN_LEGS, IN_STEPS, IN_GENTLER_STEPS):
        smooth = search_smooth_ends(plain, asked.near, asked.end, searched, gently)
        if smooth is None or any(np.array_equal(smooth.way_to_first(), way) for way in ways):
            continue
        ways.append(smooth.way_to_first())
        line = asked.kept(smooth)
        if line is None:
            continue
        found.append(line)
        # Steps under less than the limit are for where those under the limit do not bear a line.
        if gently is IN_STEPS or line.length <= enough_m:
            break
    return min(found, key=lambda line: line.length, default=None)


def _drawn_well(scene: Scene) -> float:
    """Return how many times as long as its way a line may be that is not looked for again."""
    return 1.0 + _COARSER * scene.rules.return_line.longer_share


def _all_within(scene: Scene, limit: float) -> bool:
    """Return whether no ground passes the limit: there drawing hardly shortens a grid's way."""
    return bool(np.hypot(scene.terrain.dz_dx, scene.terrain.dz_dy).max() <= limit)
