"""Two tapes from two fixed points to a mark: which pair, how long, and the mark back from them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, union
from lawnplat.settings.types import RuleBook, SettingOutRules
from lawnplat.survey.types import Site
from lawnplat.works.fixed_points import BUILT, HOUSE, PARCEL, Candidate

TOLD_DIGITS = 3
"""Tapes are told to the millimetre. Two readings that are each wrong by e put the mark wrong by
e / sin(cut / 2) at most for cuts up to 90 degrees, and e / cos(cut / 2) beyond: at 30 degrees
3.9 e, that is 2 mm for half a millimetre, but 19 mm for half a centimetre."""
_SOLID = ("building", "wall", "fence", "hedge", "water", "tree", "shrub", "rock", "play_equipment")
"""Kinds that no taut tape passes, besides the rule book's barriers."""
_GRAZES_M = 0.005
"""A tape bent by so little round a corner is straight."""
_SHORTEST_M = 0.5
"""A shorter tape is a ruler: its cut says nothing."""

_MOST_PAIRS = 200
"""So many of a mark's pairs, the best, are looked at when fixed points are given up."""


@dataclass(frozen=True)
class Tapes:
    """Two tapes to one mark: indices of their fixed points, lengths in metres, cut in degrees.

    ``side`` is where the mark lies for one who looks from the first point to the second.
    """

    a: int
    b: int
    dist_a_m: float
    dist_b_m: float
    cut_deg: float
    side: str


@dataclass(frozen=True)
class Square:
    """A mark set off square from the line of two fixed points, given by their indices."""

    a: int
    b: int
    along_m: float
    off_m: float
    side: str
    """``left`` or ``right``: the mark's for one who looks from the first point to the second."""


def square_off(
    mark: FloatArray,
    fixed: Sequence[Candidate],
    solid: BaseGeometry,
    rules: SettingOutRules,
) -> Square | None:
    """Return how a mark that no two tapes reach is set off square from a line of two fixed points.

    The line of the best ranks that passes within a ruler, of equal ones the nearest, along which a
    tape runs free; None where none is.
    """
    places = shapely.get_coordinates([each.point for each in fixed])
    lines = []
    for a, b in permutations(range(len(places)), 2):
        along, left = _on_line(mark, places[a], places[b])
        apart = math.dist(places[a], places[b])
        if abs(left) <= rules.ruler_m and _SHORTEST_M <= along <= apart <= rules.longest_tape_m:
            rank = fixed[a].rank + fixed[b].rank
            lines.append((rank, round(abs(left), 2), along, left, a, b))
    for _, _, along, left, a, b in sorted(lines):
        ahead = (places[b] - places[a]) / math.dist(places[a], places[b])
        nudge = ahead * 2 * _GRAZES_M
        ways = [[places[a] + nudge, places[b] - nudge], [places[a] + ahead * along, mark]]
        if not shapely.intersects(solid, shapely.multilinestrings(ways)):
            told = (round(along, TOLD_DIGITS), round(abs(left), TOLD_DIGITS))
            return Square(a, b, *told, "left" if left > 0 else "right")
    return None


def _on_line(mark: FloatArray, a: FloatArray, b: FloatArray) -> tuple[float, float]:
    """Return metres along the line from ``a`` to ``b``, and to its left, at which a mark lies."""
    ahead, rest = (b - a) / math.dist(a, b), mark - a
    return float(rest @ ahead), float(ahead[0] * rest[1] - ahead[1] * rest[0])


def two_tape_point(
    a: tuple[float, float],
    b: tuple[float, float],
    dist_a_m: float,
    dist_b_m: float,
    side: str,
) -> tuple[float, float]:
    """Return where two tapes meet, on the given side of the line from ``a`` to ``b``.

    Distances are horizontal. The triangle's foot on the line lies
    (a^2 - b^2 + c^2) / 2c from ``a`` (law of cosines).

    Raises
    ------
    ValueError
        The tapes do not meet, or ``side`` is neither ``left`` nor ``right``.

    Examples
    --------
    >>> two_tape_point((0.0, 0.0), (5.0, 0.0), 3.0, 4.0, "left")
    (1.8, 2.4)
    """
    if side not in {"left", "right"}:
        raise ValueError(f"side '{side}' must be left or right")
    apart = math.dist(a, b)
    if not 0 < apart <= dist_a_m + dist_b_m or abs(dist_a_m - dist_b_m) > apart:
        raise ValueError(f"tapes of {dist_a_m} m and {dist_b_m} m do not meet over {apart:.3f} m")
    foot = (dist_a_m**2 - dist_b_m**2 + apart**2) / (2 * apart)
    square = math.sqrt(max(dist_a_m**2 - foot**2, 0.0)) * (1 if side == "left" else -1)
    east, north = (b[0] - a[0]) / apart, (b[1] - a[1]) / apart
    return a[0] + foot * east - square * north, a[1] + foot * north + square * east


def solid_ground(site: Site, rules: RuleBook) -> BaseGeometry:
    """Return what no tape passes: buildings, walls, hedges, trees, water and barriers alike."""
    solid = [
        f.geometry for f in site.features if f.kind in _SOLID or rules.kinds[f.kind].barrier
    ]
    # Together first: no tape slips between two houses that touch.
    areas = union(s for s in solid if shapely.get_dimensions(s) == 2)  # noqa: PLR2004
    lines = (s for s in solid if shapely.get_dimensions(s) == 1)
    return union([shapely.buffer(areas, -_GRAZES_M), *lines])


def choose_tapes(
    marks: FloatArray,
    fixed: Sequence[Candidate],
    solid: BaseGeometry,
    rules: SettingOutRules,
) -> tuple[Tapes | None, ...]:
    """Return for each mark the two tapes of the best cut, or None where no two reach it.

    Parameters
    ----------
    marks : array of shape (n, 2)
    fixed : sequence of Candidate
    solid : geometry
        What no tape passes; areas without a rim of half a centimetre.
    rules : SettingOutRules
    """
    if len(fixed) < 2 or not len(marks):  # noqa: PLR2004
        return (None,) * len(marks)
    places = shapely.get_coordinates([each.point for each in fixed])
    reach = _reached(marks, places, solid, rules)
    costs = {HOUSE: 0.0, BUILT: rules.score_built, PARCEL: rules.score_parcel}
    ranks = np.array([costs[each.rank] for each in fixed])
    pairs = [
        _ranked(mark, places, ranks, seen, rules) for mark, seen in zip(marks, reach, strict=True)
    ]
    alive = _fewer(pairs, ranks, rules)
    return tuple(
        _told_pair(mark, places, _first(each, alive))
        for mark, each in zip(marks, pairs, strict=True)
    )


@dataclass(frozen=True)
class _Pairs:
    """The good pairs of fixed points for one mark, the best first."""

    points: NDArray[np.intp]
    """Indices, shape (n, 2)."""
    cost: FloatArray


def _reached(
    marks: FloatArray, places: FloatArray, solid: BaseGeometry, rules: SettingOutRules
) -> NDArray[np.bool_]:
    """Return which mark (row) a tape from which fixed point (column) reaches."""
    run = marks[:, None] - places[None]
    length = np.hypot(run[..., 0], run[..., 1])
    near = (length <= rules.longest_tape_m - _GRAZES_M) & (length >= _SHORTEST_M)
    if solid.is_empty:
        return near
    rows, columns = np.nonzero(near)
    # The tape is hooked to a corner of something solid, or held over the end of a fence.
    start = places[columns] + run[rows, columns] / length[rows, columns, None] * 2 * _GRAZES_M
    tapes = shapely.linestrings(np.stack([start, marks[rows]], axis=1))
    shapely.prepare(solid)
    near[rows, columns] = ~shapely.intersects(solid, tapes)
    return near


def _ranked(
    mark: FloatArray,
    places: FloatArray,
    ranks: FloatArray,
    seen: NDArray[np.bool_],
    rules: SettingOutRules,
) -> _Pairs:
    index = np.flatnonzero(seen)
    run = places[index] - mark
    length = np.hypot(run[:, 0], run[:, 1])
    first, second = np.triu_indices(len(index), k=1)
    cut = _cut_deg(run[first], run[second])
    good = (cut >= rules.smallest_cut_deg) & (cut <= rules.largest_cut_deg)
    worth = ranks[index] + rules.score_tape * length
    cost = np.where(good, np.abs(cut - 90.0) + worth[first] + worth[second], np.inf)
    order = np.argsort(cost, kind="stable")[: min(int(good.sum()), _MOST_PAIRS)]
    pairs = np.stack([index[first[order]], index[second[order]]], axis=1)
    return _Pairs(pairs, cost[order])


def _cut_deg(one: FloatArray, other: FloatArray) -> FloatArray:
    """Return the angle between vectors, arrays of shape (n, 2), 0 to 180 degrees."""
    cross = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    return np.asarray(np.degrees(np.arctan2(np.abs(cross), (one * other).sum(axis=1))))


def _fewer(pairs: Sequence[_Pairs], ranks: FloatArray, rules: SettingOutRules) -> NDArray[np.bool_]:
    """Return which fixed points stay, so that a crew hooks its tapes to few.

    Point after point is given up, the worst ranks and the least used first, as long as no mark's
    pair costs more than ``score_point`` over its best.
    """
    alive = np.ones(len(ranks), dtype=bool)
    near = [_nearly_best(each, rules.score_point) for each in pairs if len(each.points)]
    best = np.array([each[0] for each in near], dtype=np.intp).ravel()
    uses = np.bincount(best, minlength=len(ranks))
    for point in np.lexsort((uses, -ranks)):
        alive[point] = False
        left = (each[alive[each].all(axis=1)] for each in near if (each == point).any())
        alive[point] = not all(len(each) for each in left)
    return alive


def _nearly_best(pairs: _Pairs, most: float) -> NDArray[np.intp]:
    """Return the pairs of one mark that cost at most so much more than its best."""
    return pairs.points[: int(np.searchsorted(pairs.cost, pairs.cost[0] + most, side="right"))]


def _first(pairs: _Pairs, alive: NDArray[np.bool_]) -> NDArray[np.intp] | None:
    left = pairs.points[alive[pairs.points].all(axis=1)]
    return left[0] if len(left) else None


def _told_pair(
    mark: FloatArray, places: FloatArray, pair: NDArray[np.intp] | None
) -> Tapes | None:
    if pair is None:
        return None
    run = places[pair] - mark
    length = np.hypot(run[:, 0], run[:, 1])
    cross = run[0, 0] * run[1, 1] - run[0, 1] * run[1, 0]
    return Tapes(
        a=int(pair[0]),
        b=int(pair[1]),
        dist_a_m=_told(length[0]),
        dist_b_m=_told(length[1]),
        cut_deg=float(_cut_deg(run[:1], run[1:])[0]),
        side="left" if cross > 0 else "right",
    )


def _told(length_m: float) -> float:
    return round(float(length_m), TOLD_DIGITS)
