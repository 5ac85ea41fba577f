"""A return line that breaks a rule, drawn as near to what the rules let pass as it may go.

Legs are drawn with most of the point by which a line may pass the gradient limit. Where no line
with those keeps the rules, or is as short as the rise asks for, the whole point may bear one.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString

from lawnplat.geometry import FloatArray
from lawnplat.terrain.sample import height_at
from lawnplat.wire.asked_line import AskedLine, bare_length_m
from lawnplat.wire.return_advice import (
    keeps_limit,
    keeps_limit_by_the_metre,
    keeps_rules,
    sharpest_bend,
    turns_within,
)
from lawnplat.wire.return_search import Searched
from lawnplat.wire.rounding import bends_deg

_WHOLE_POINT = 0.999
"""The share of what a line may pass the limit by that its legs may where it breaks a rule."""
_WORTHWHILE = 0.005
"""A line that breaks a rule is not drawn otherwise to save a smaller share of it."""
_DEARER = 3.0
"""How many times as dear a bend, and so a short leg, then is: a shorter leg saves up to twice what
it is short of, and more as the bend beside it turns less."""
_MUCH_LONGER = 1.1
"""A line so many times as long as its rise asks for, and a leg, is long for other reasons."""
_LEG_OF_ITS_OWN = (1.01, 1.05)
"""How many times as long as what counts as one bend a leg has to be, at least: tried in this order,
for one that is drawn a hair shorter than it has to be is not taken."""


def mended(asked: AskedLine, searched: Searched, line: LineString) -> LineString:
    """Return ``line``, that breaks a rule, or a better one with legs up to the whole point over.

    Where that breaks a rule too and is longer by more than the rules' share than the rise asks for,
    it is drawn with legs that are hardly longer than what counts as one bend: such a line has a
    switchback, and the leg beyond it makes the one before longer by nearly twice its length.
    """
    scene, limit = asked.scene, asked.limit
    rules = scene.rules.return_line
    rise_m = _rise_m(asked)
    enough_m = (1.0 + rules.longer_share) * rise_m
    much_m = _MUCH_LONGER * rise_m + rules.smallest_leg_m
    if line.length > much_m or not keeps_limit(scene, line, limit):
        return line
    onward = shapely.get_coordinates(line)[1:-1]
    best = line
    for leg_share in (1.0, *(each * rules.bend_within_share for each in _LEG_OF_ITS_OWN)):
        for way in (searched.way_to_first(), onward) if len(onward) else ():
            other = _drawn(asked, leg_share, way)
            if _saves(asked, other, best) and _bends_no_more(asked, other, line):
                best = other
        if best.length <= enough_m or keeps_rules(scene, best, limit):
            break
    return best


def _drawn(asked: AskedLine, leg_share: float, way: FloatArray) -> LineString:
    """Draw the line along a way with legs over the limit by all that a line is let pass it.

    The smallest leg is such a share of the rules', and a bend dear enough that none is shorter.
    """
    rules = asked.scene.rules
    line = rules.return_line
    legs = replace(
        line,
        smallest_leg_m=leg_share * line.smallest_leg_m,
        score_bend=_DEARER * line.score_bend,
    )
    scene = replace(asked.scene, rules=replace(rules, return_line=legs))
    way_drawn = replace(asked, scene=scene).drawing_along(0.0, way, over_share=_WHOLE_POINT)
    return way_drawn.line(fine=True)


def _saves(asked: AskedLine, other: LineString, line: LineString) -> bool:
    """Return whether ``other`` is nowhere too steep and mends the bends of ``line`` or is shorter.

    To mend them it may be longer by the rules' share.
    """
    scene, limit = asked.scene, asked.limit
    mends = keeps_rules(scene, other, limit) and not keeps_rules(scene, line, limit)
    share = 1.0 + scene.rules.return_line.longer_share if mends else 1.0 - _WORTHWHILE
    return (
        other.length <= share * line.length
        and keeps_limit(scene, other, limit)
        and keeps_limit_by_the_metre(scene, other, limit)
    )


def _bends_no_more(asked: AskedLine, other: LineString, line: LineString) -> bool:
    """Return whether ``other`` bends no more sharply than ``line``, that breaks a rule.

    Nor more often so, and with legs of their own between.
    """
    rules = asked.scene.rules.return_line
    most_deg = max(rules.largest_bend_deg, sharpest_bend(line, asked.scene.rules)[0])
    given_m, legs_m = (
        _legs_beyond_sharp_bends(each, rules.largest_bend_deg) for each in (line, other)
    )
    own = legs_m >= rules.bend_within_m
    return (
        len(legs_m) <= len(given_m)
        and bool(own.all())
        and turns_within(asked.scene, other, most_deg)
    )


def _legs_beyond_sharp_bends(line: LineString, largest_bend_deg: float) -> FloatArray:
    """Return how far it is from each corner sharper than allowed to the next, or to the end."""
    points = shapely.get_coordinates(line)
    along_m = np.cumsum(np.hypot(*np.diff(points, axis=0).T))
    sharp = np.append(bends_deg(points) > largest_bend_deg, True)
    return np.diff(along_m[sharp])


def _rise_m(asked: AskedLine) -> float:
    """Return what no line to the end under the limit is shorter than, the bare length apart.

    A line at the limit all along is as long as its rise over the limit (arithmetic).
    """
    corridor, end = asked.corridor, asked.end
    ends = np.stack([corridor.station, end.joint[0]])
    first, last = height_at(asked.scene.as_it_is, *ends.T)
    return max(abs(float(last - first)) / asked.limit, bare_length_m(asked.scene, corridor, end))
