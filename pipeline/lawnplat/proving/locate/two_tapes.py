"""Two tapes to any place from named fixed points, or a square off the line of two of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations, permutations

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from lawnplat.settings.types import RuleBook, SettingOutRules, Treatment

_SOLID = ("building", "wall", "fence", "hedge", "water", "tree", "shrub", "rock", "play_equipment")
"""Kinds that no taut tape passes, besides barriers and firm things."""
_HOOK_M = 0.01
"""A tape is hooked to a corner of something solid: so much of its way is not looked at."""
_SHORTEST_M = 0.5


@dataclass(frozen=True)
class TwoTapes:
    """Horizontal tapes from two fixed points to a place, to the millimetre.

    ``side`` is the place's for one who looks from ``from_a`` to ``from_b``.
    """

    from_a: str
    dist_a_m: float
    from_b: str
    dist_b_m: float
    side: str
    cut_deg: float


@dataclass(frozen=True)
class SquareOff:
    """A place set off square from the line between two fixed points, to the millimetre.

    ``side`` is the place's for one who looks from ``from_a`` to ``to_b``.
    """

    from_a: str
    to_b: str
    along_m: float
    off_m: float
    side: str


def square_off(
    place: Point, fixed: Mapping[str, Point], solid: BaseGeometry, rules: SettingOutRules
) -> SquareOff | None:
    """Return the shortest offset, within a ruler, from a line between two fixed points.

    None where no line along which a tape runs free passes so near.
    """
    found = []
    for (a, at_a), (b, at_b) in permutations(sorted(fixed.items()), 2):
        apart = at_a.distance(at_b)
        if not _SHORTEST_M <= apart <= rules.longest_tape_m:
            continue
        line = LineString([at_a, at_b])
        along = float(shapely.line_locate_point(line, place))
        # Where the foot is an end of the line, the offset is not square to it.
        if not _SHORTEST_M <= along <= apart - _HOOK_M:
            continue
        off = float(shapely.distance(line, place))
        if off <= rules.ruler_m:
            found.append((round(off, 3), round(along, 3), a, b, line))
    for off, along, a, b, line in sorted(found, key=lambda each: each[:4]):
        hooked = shapely.line_interpolate_point(line, [_HOOK_M, line.length - _HOOK_M])
        foot = shapely.line_interpolate_point(line, along)
        if not shapely.intersects(solid, [LineString(hooked), LineString([foot, place])]).any():
            at_a, at_b = fixed[a], fixed[b]
            left = (at_b.x - at_a.x) * (place.y - at_a.y) > (at_b.y - at_a.y) * (place.x - at_a.x)
            return SquareOff(a, b, along, off, "left" if left else "right")
    return None


def two_tapes(
    place: Point, fixed: Mapping[str, Point], solid: BaseGeometry, rules: SettingOutRules
) -> TwoTapes | None:
    """Return the pair of tapes that cut nearest to square, long tapes marked down.

    None where no two that run free are short enough and cut well enough.
    """
    reach = {name: point for name, point in fixed.items() if _free(point, place, solid, rules)}
    pairs = []
    for (a, at_a), (b, at_b) in combinations(sorted(reach.items()), 2):
        cut = _cut_deg(place, at_a, at_b)
        if rules.smallest_cut_deg <= cut <= rules.largest_cut_deg:
            tape = place.distance(at_a) + place.distance(at_b)
            pairs.append((abs(cut - 90.0) + rules.score_tape * tape, a, b, cut))
    if not pairs:
        return None
    _, a, b, cut = min(pairs)
    at_a, at_b = reach[a], reach[b]
    square = (at_b.x - at_a.x) * (place.y - at_a.y) - (at_b.y - at_a.y) * (place.x - at_a.x)
    return TwoTapes(
        a, round(place.distance(at_a), 3), b, round(place.distance(at_b), 3),
        "left" if square > 0 else "right", round(cut, 1),
    )  # fmt: skip


def solid_things(kinds: Mapping[str, list[BaseGeometry]], rules: RuleBook) -> BaseGeometry:
    """Return what no tape passes, of surveyed things by their kind."""
    stops = [
        shape
        for kind, shapes in kinds.items()
        for shape in shapes
        if kind in _SOLID
        or (kind in rules.kinds and rules.kinds[kind].barrier)
        or (kind in rules.kinds and rules.kinds[kind].treatment is Treatment.FIRM)
    ]
    areas = shapely.union_all([each for each in stops if shapely.get_dimensions(each) == 2])  # noqa: PLR2004
    # Without a rim: a tape may run along a wall that it is hooked to.
    return shapely.union_all(
        [shapely.buffer(areas, -_HOOK_M / 2), *(s for s in stops if shapely.get_dimensions(s) < 2)]  # noqa: PLR2004
    )


def _free(point: Point, place: Point, solid: BaseGeometry, rules: SettingOutRules) -> bool:
    far = point.distance(place)
    if not _SHORTEST_M <= far <= rules.longest_tape_m:
        return False
    share = _HOOK_M / far
    start = (point.x + share * (place.x - point.x), point.y + share * (place.y - point.y))
    return not shapely.intersects(solid, LineString([start, (place.x, place.y)]))


def _cut_deg(place: Point, a: Point, b: Point) -> float:
    to_a, to_b = np.array([a.x - place.x, a.y - place.y]), np.array([b.x - place.x, b.y - place.y])
    cross = abs(to_a[0] * to_b[1] - to_a[1] * to_b[0])
    return math.degrees(math.atan2(float(cross), float(to_a @ to_b)))
