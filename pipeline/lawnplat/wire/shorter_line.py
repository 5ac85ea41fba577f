"""A return line that is hardly longer than the shortest one that keeps the rules.

What gentle and open ground is worth makes lines longer. Where a line is longer by more than the
rules' share, it is looked for and drawn again with less of that, at last with none.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString

from lawnplat.geometry import FloatArray
from lawnplat.wire.corridor import Corridor, Ends, straight_run_m
from lawnplat.wire.other_side import reached
from lawnplat.wire.return_advice import keeps_limit_by_the_metre, keeps_rules
from lawnplat.wire.return_drawing import Drawing, as_found, drawing
from lawnplat.wire.return_search import (
    IN_GENTLER_STEPS,
    IN_LEGS,
    IN_STEPS,
    Searched,
    search_ends,
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
    if line.length <= longer * _bare_m(scene, corridor, end):
        return line
    asked = _Asked(scene, corridor, _near(corridor, end, line.length), end, limit)
    straight = asked.straight()
    if straight is not None:
        return _gentler(asked, longer * straight.length) or straight
    return _no_longer_than(asked, longer, line)


def _no_longer_than(asked: _Asked, longer: float, line: LineString) -> LineString:
    """Return ``line``, or one that is at most ``longer`` times as long as the shortest."""
    scene, limit = asked.scene, asked.limit
    searched = asked.searched(0.0)
    if searched is None:
        return line
    way_m = _length_m(searched.way_to_first(), asked.corridor, asked.end)
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
    if line.length <= longer * _bare_m(scene, corridor, end):
        return line
    bare = replace(scene, terrain=scene.bare, bare=None)
    asked = _Asked(bare, corridor, _near(corridor, end, line.length), end, limit)
    other = _clearly_shorter(asked, longer, line)
    if other is None or not keeps_limit_by_the_metre(bare, other, limit):
        return line
    return other


def _clearly_shorter(asked: _Asked, longer: float, line: LineString) -> LineString | None:
    """Return a line that keeps the rules where ``line`` is over ``longer`` times as long.

    None where there is none. Turning gently makes no line shorter: that is asked for last.
    """
    searched = asked.searched(0.0)
    if searched is None:
        return None
    if line.length <= longer * _length_m(searched.way_to_first(), asked.corridor, asked.end):
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
    asked = _Asked(scene, corridor, corridor, end, limit)
    searched = asked.searched(0.0)
    return None if searched is None else _turning_gently(asked, searched)


@dataclass(frozen=True)
class _Asked:
    """A line to ``end``, looked for in ``near``: what of the ``corridor`` it can lie in."""

    scene: Scene
    corridor: Corridor
    near: Corridor
    end: Ends
    limit: float

    def searched(self, share: float) -> Searched | None:
        """Search the cheapest way over a grid, with a share of what gentle ground is worth.

        None where none keeps the limit.
        """
        found = search_ends(_with_less(self.scene, share), self.near, self.end)
        if found is None or found.ways.limit > self.limit or found.nodes[0] < 0:
            return None
        return found if np.isfinite(found.ways.cost[found.nodes[0]]) else None

    def drawn(self, share: float, searched: Searched) -> LineString:
        """Draw the line along the way found, with a share of what gentle ground is worth."""
        return self._drawing(share, searched).line()

    def _drawing(self, share: float, searched: Searched) -> Drawing:
        less, way = _with_less(self.scene, share), searched.way_to_first()
        return drawing(less, self.corridor, self.end.joint[0], way, self.limit)

    def straight(self) -> LineString | None:
        """Return the line that goes straight on from its straight run, where it keeps the rules.

        Legs are drawn up to a little less over the limit than a line is let pass.
        """
        turn = self.corridor.first_turn(self.scene.rules)
        line = as_found(self.scene, self.corridor, self.end.joint[0], turn[None])
        kept = line is not None and keeps_rules(self.scene, line, self.limit)
        return line if kept else None

    def kept(self, searched: Searched) -> LineString | None:
        """Return the line along a way that turns gently; None where it breaks a rule.

        It is drawn with bends that follow closer on each other where it would else break one, at
        last as it was found.
        """
        way_drawn = self._drawing(0.0, searched)
        for fine in (False, True):
            line = way_drawn.line(fine=fine, gentle=True)
            if keeps_rules(self.scene, line, self.limit):
                return line
        way, joint = searched.way_to_first(), self.end.joint[0]
        found = as_found(self.scene, self.corridor, joint, way)
        kept = found is not None and keeps_rules(self.scene, found, self.limit)
        return found if kept else None


def _gentler(asked: _Asked, most_m: float) -> LineString | None:
    """Return the line with some worth of gentle ground; None where too long or against a rule."""
    searched = asked.searched(_LESS)
    if searched is None:
        return None
    line = asked.drawn(_LESS, searched)
    kept = line.length <= most_m and keeps_rules(asked.scene, line, asked.limit)
    return line if kept else None


def _turning_gently(asked: _Asked, searched: Searched) -> LineString | None:
    """Return the shortest line along ways that turn gently; None where all break a rule.

    Bends follow closer on each other where the line along a way would else break one. Ways in whole
    legs can be much longer than those in steps: they alone do where the line along one is hardly
    longer than the way ``searched``, that turns as it likes.
    """
    found: list[LineString] = []
    ways: list[FloatArray] = []
    plain = _with_less(asked.scene, 0.0)
    enough_m = _drawn_well(asked.scene) * _length_m(
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
        if gently is IN_LEGS and line.length <= enough_m:
            break
    return min(found, key=lambda line: line.length, default=None)


def _drawn_well(scene: Scene) -> float:
    """Return how many times as long as its way a line may be that is not looked for again."""
    return 1.0 + _COARSER * scene.rules.return_line.longer_share


def _near(corridor: Corridor, end: Ends, length_m: float) -> Corridor:
    """Return the corridor as far as ways of ``length_m`` reach."""
    ellipse = reached(corridor.station, end.joint[0], length_m)
    return replace(corridor, free=shapely.intersection(corridor.free, ellipse))


def _bare_m(scene: Scene, corridor: Corridor, end: Ends) -> float:
    """Return what no line to ``end`` is shorter than: its straight run, then straight on."""
    run_m = straight_run_m(scene.rules)
    turn = corridor.station + corridor.ahead * run_m
    return run_m + float(np.hypot(*(end.joint[0] - turn)))


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


def _length_m(way: FloatArray, corridor: Corridor, end: Ends) -> float:
    """Return the length of a way, from the station to the joint."""
    return LineString(np.concatenate([corridor.station[None], way, end.joint])).length
