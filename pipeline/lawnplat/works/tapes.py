"""Two tapes from two fixed points to a mark: which pair, how long, and the mark back from them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, union
from lawnplat.settings.types import RuleBook, SettingOutRules
from lawnplat.survey.types import Site
from lawnplat.works.fixed_points import BUILT, HOUSE, PARCEL, Candidate

TOLD_M = 0.001
"""Tapes are told to the millimetre. Two readings that are each wrong by e put the mark wrong by
e / sin(cut / 2) at most for cuts up to 90 degrees, and e / cos(cut / 2) beyond: at 30 degrees
3.9 e, that is 2 mm for half a millimetre, but 19 mm for half a centimetre."""
_SOLID = ("building", "wall", "fence", "hedge", "water", "tree", "shrub", "rock", "play_equipment")
"""Kinds that no taut tape passes, besides the rule book's barriers."""
_GRAZES_M = 0.005
"""A tape bent by so little round a corner is straight."""
_SHORTEST_M = 0.5
"""A shorter tape is a ruler: its cut says nothing."""


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
    areas = [shapely.buffer(s, -_GRAZES_M) for s in solid if shapely.get_dimensions(s) == 2]  # noqa: PLR2004
    return union([*areas, *(s for s in solid if shapely.get_dimensions(s) == 1)])


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
    return tuple(
        _best(mark, places, ranks, seen, rules) for mark, seen in zip(marks, reach, strict=True)
    )


def _reached(
    marks: FloatArray, places: FloatArray, solid: BaseGeometry, rules: SettingOutRules
) -> NDArray[np.bool_]:
    """Return which mark (row) a tape from which fixed point (column) reaches."""
    run = marks[:, None] - places[None]
    length = np.hypot(run[..., 0], run[..., 1])
    near = (length <= rules.longest_tape_m - TOLD_M) & (length >= _SHORTEST_M)
    if solid.is_empty:
        return near
    rows, columns = np.nonzero(near)
    # The tape is hooked to a corner of something solid, or held over the end of a fence.
    start = places[columns] + run[rows, columns] / length[rows, columns, None] * 2 * _GRAZES_M
    tapes = shapely.linestrings(np.stack([start, marks[rows]], axis=1))
    shapely.prepare(solid)
    near[rows, columns] = ~shapely.intersects(solid, tapes)
    return near


def _best(
    mark: FloatArray,
    places: FloatArray,
    ranks: FloatArray,
    seen: NDArray[np.bool_],
    rules: SettingOutRules,
) -> Tapes | None:
    index = np.flatnonzero(seen)
    run = places[index] - mark
    length = np.hypot(run[:, 0], run[:, 1])
    first, second = np.triu_indices(len(index), k=1)
    cosine = (run[first] * run[second]).sum(axis=1) / (length[first] * length[second])
    cut = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    good = (cut >= rules.smallest_cut_deg) & (cut <= rules.largest_cut_deg)
    if not good.any():
        return None
    worth = ranks[index] + rules.score_tape * length
    cost = np.where(good, np.abs(cut - 90.0) + worth[first] + worth[second], np.inf)
    pair = int(np.argmin(cost))
    a, b = int(first[pair]), int(second[pair])
    cross = run[a, 0] * run[b, 1] - run[a, 1] * run[b, 0]
    return Tapes(
        a=int(index[a]),
        b=int(index[b]),
        dist_a_m=_told(length[a]),
        dist_b_m=_told(length[b]),
        cut_deg=float(cut[pair]),
        side="left" if cross > 0 else "right",
    )


def _told(length_m: float) -> float:
    return round(float(length_m) / TOLD_M) * TOLD_M
