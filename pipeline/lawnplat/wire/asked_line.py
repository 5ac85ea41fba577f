"""A return line to one end, looked for and drawn with less worth of gentle and open ground."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString

from lawnplat.geometry import FloatArray
from lawnplat.wire.corridor import Corridor, Ends, straight_run_m
from lawnplat.wire.other_side import reached
from lawnplat.wire.return_advice import keeps_rules
from lawnplat.wire.return_drawing import MOST_OF_THE_POINT, Drawing, as_found, drawing
from lawnplat.wire.return_search import Searched, search_ends
from lawnplat.wire.scene import Scene


@dataclass(frozen=True)
class AskedLine:
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
        found = search_ends(with_less(self.scene, share), self.near, self.end)
        if found is None or found.ways.limit > self.limit or found.nodes[0] < 0:
            return None
        return found if np.isfinite(found.ways.cost[found.nodes[0]]) else None

    def drawn(self, share: float, searched: Searched) -> LineString:
        """Draw the line along the way found, with a share of what gentle ground is worth."""
        return self.drawing_along(share, searched.way_to_first()).line()

    def drawing_along(
        self, share: float, way: FloatArray, over_share: float = MOST_OF_THE_POINT
    ) -> Drawing:
        """Return what a line along a way is drawn from.

        ``share`` of what gentle ground is worth counts; ``over_share`` is as `drawing` takes it.
        """
        less = with_less(self.scene, share)
        joint, limit = self.end.joint[0], self.limit
        return drawing(less, self.corridor, joint, way, limit, over_share=over_share)

    def straight(self) -> LineString | None:
        """Return the line that goes straight on from its straight run, where it keeps the rules.

        Legs are drawn up to a little less over the limit than a line is let pass.
        """
        turn = self.corridor.first_turn(self.scene.rules)
        return self._kept_as_found(turn[None])

    def kept(self, searched: Searched) -> LineString | None:
        """Return the line along a way that turns gently; None where it breaks a rule.

        It is drawn with bends that follow closer on each other where it would else break one, at
        last as it was found.
        """
        way_drawn = self.drawing_along(0.0, searched.way_to_first())
        for fine in (False, True):
            line = way_drawn.line(fine=fine, gentle=True)
            if keeps_rules(self.scene, line, self.limit):
                return line
        return self._kept_as_found(searched.way_to_first())

    def _kept_as_found(self, way: FloatArray) -> LineString | None:
        line = as_found(self.scene, self.corridor, self.end.joint[0], way)
        kept = line is not None and keeps_rules(self.scene, line, self.limit)
        return line if kept else None


def near_corridor(corridor: Corridor, end: Ends, length_m: float) -> Corridor:
    """Return the corridor as far as ways of ``length_m`` reach."""
    ellipse = reached(corridor.station, end.joint[0], length_m)
    return replace(corridor, free=shapely.intersection(corridor.free, ellipse))


def bare_length_m(scene: Scene, corridor: Corridor, end: Ends) -> float:
    """Return what no line to ``end`` is shorter than: its straight run, then straight on."""
    run_m = straight_run_m(scene.rules)
    turn = corridor.station + corridor.ahead * run_m
    return run_m + float(np.hypot(*(end.joint[0] - turn)))


def with_less(scene: Scene, share: float) -> Scene:
    """Return the scene with a share of what gentle and open ground is worth to a line."""
    line = scene.rules.return_line
    less = replace(
        line,
        score_gradient=share * line.score_gradient,
        score_closeness=share * line.score_closeness,
    )
    return replace(scene, rules=replace(scene.rules, return_line=less))


def way_length_m(way: FloatArray, corridor: Corridor, end: Ends) -> float:
    """Return the length of a way, from the station to the joint."""
    return LineString(np.concatenate([corridor.station[None], way, end.joint])).length
