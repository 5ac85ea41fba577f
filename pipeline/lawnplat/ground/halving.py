"""Cut lawn in two along the gentlest and shortest seam that leaves each side its share.

Lawns that hang together only by carrying the machine are told apart first: that takes no seam at
all. Else the seams of all pieces are looked at, cheapest first, until none that is left can be
better than the best one found (branch and bound), so that the seam is the best of those sampled.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.sparse import csgraph
from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import polygons
from lawnplat.ground.seam_samples import around, even, natural
from lawnplat.ground.seams import SeamPrice, Seams, round_islands, together
from lawnplat.ground.types import Passage

_SHAPE_M = 0.02
"""Rims are thinned this much while seams are looked for; the cut itself is made in the true rim."""
_LEAD_ENDS_M = 0.05
"""Rims are thinned this much to measure leads from rim to rim."""
_LEAST_GAP_M = 1e-6
_BESIDE_M = 1.0
"""Ground not mown farther than this from a piece is not in it, however its rim is thinned."""
_BEYOND_M = 0.05
_BLADE_M = 1e-5
_DIRECTIONS = 24
_ROUNDS = 3
_MOST_TRIED = 300
_NATURAL_SLACK = 2.0
"""A seam where nature made it may leave the sides this many times as unequal as another."""

Pieces = tuple[Polygon, ...]


@dataclass(frozen=True)
class SplitTask:
    """What a split is made for.

    ``unmown`` is ground inside the wire that is not mown (crossing strips, firm obstacles);
    ``outlets`` are points; ``passages`` and ``strips`` are where seams lie naturally.
    """

    price: SeamPrice
    unmown: BaseGeometry
    outlets: tuple[BaseGeometry, ...]
    passages: tuple[Passage, ...]
    strips: Pieces

    def mown_m2(self, pieces: Sequence[Polygon]) -> float:
        """Return the lawn in ``pieces`` that the machine mows."""
        whole = sum(piece.area for piece in pieces)
        if self.unmown.is_empty:
            return whole
        return whole - sum(shapely.intersection(piece, self.unmown).area for piece in pieces)

    def near(self, pieces: Sequence[Polygon]) -> SplitTask:
        """Return the task with only as much ground not mown as lies near ``pieces``."""
        parts = np.array(polygons(self.unmown), dtype=np.object_)
        bodies = np.array(pieces, dtype=np.object_)
        kept = shapely.dwithin(parts[:, None], bodies[None], _BESIDE_M).any(axis=1)
        return replace(self, unmown=MultiPolygon(list(parts[kept])))

    def fits(
        self, pieces: Sequence[Polygon], mown_m2: float, loops: int, seam_m: float
    ) -> bool:
        """Return whether ``loops`` machines can do for ``pieces``, as far as can be told yet.

        Beside a seam of ``seam_m`` half of the distance between loops is not mown of ``mown_m2``.
        """
        machine, rules = self.price.machine, self.price.rules
        mown_m2 = mown_m2 - seam_m * rules.wire.loops_apart_m / 2
        if mown_m2 > loops * machine.capacity_m2:
            return False
        return wire_estimate_m(pieces) <= loops * machine.longest_wire_m

    def has_outlet(self, pieces: Sequence[Polygon]) -> bool:
        """Return whether an outlet lies within a cable's reach of ``pieces``.

        The reach is less what the areas are drawn apart, and the straight wire that keeps a station
        off an area's corner.
        """
        rules = self.price.rules
        off_corner_m = rules.wire.loops_apart_m / 2 + rules.station.straight_wire_m
        reach_m = rules.station.cable_reach_m - off_corner_m
        bodies = np.array(pieces, dtype=np.object_)
        near = (shapely.dwithin(bodies, outlet, reach_m) for outlet in self.outlets)
        return any(bool(each.any()) for each in near)


@dataclass(frozen=True)
class Cut:
    """Lawn in two: pieces and number of loops on each side, and the seam if there is one."""

    left: Pieces
    right: Pieces
    loops: tuple[int, int]
    seam: LineString | None


def wire_estimate_m(pieces: Sequence[Polygon]) -> float:
    """Return the wire round ``pieces``: all rims, and a least tree of leads there and back.

    The leads are as the crow flies, so that the wire laid is rarely shorter and mostly a few
    percent longer.
    """
    rims = [
        LineString(ring.coords)
        for piece in pieces
        for ring in (piece.exterior, *piece.interiors)
    ]
    around_m = sum(rim.length for rim in rims)
    if len(rims) == 1:
        return around_m
    thin = np.asarray(shapely.simplify(np.array(rims, dtype=np.object_), _LEAD_ENDS_M))
    one, other = np.triu_indices(len(rims), k=1)
    gap_m = np.zeros((len(rims), len(rims)))
    # A gap of nothing would be no edge at all to the tree.
    gap_m[one, other] = np.maximum(shapely.distance(thin[one], thin[other]), _LEAST_GAP_M)
    return around_m + 2 * float(csgraph.minimum_spanning_tree(gap_m).sum())


def in_two(pieces: Pieces, loops: int, task: SplitTask) -> Cut | None:
    """Cut ``pieces`` for ``loops`` loops in all; None where no seam leaves sides that fit.

    Parameters
    ----------
    pieces : tuple of Polygon
        Ground inside one wire.
    loops : int
        2 or more. Each side takes as near to half of them as can be; where a seam lies naturally,
        in a passage, in a crossing, between two pieces, any number.
    task : SplitTask
    """
    task = task.near(pieces)
    grouped = _apart_already(pieces, loops, task)
    if grouped is not None:
        return grouped
    best: _Found | None = None
    for number, piece in enumerate(pieces):
        best = _best_through(pieces, number, _Search(piece, loops, task), best)
    return None if best is None else best.cut


def _apart_already(pieces: Pieces, loops: int, task: SplitTask) -> Cut | None:
    """Return the best way to share out whole pieces, the one with the least wire in all."""
    best, best_m = None, math.inf
    total_m2 = task.mown_m2(pieces)
    for group in _groups(pieces):
        left = tuple(pieces[number] for number in sorted(group))
        right = tuple(piece for number, piece in enumerate(pieces) if number not in group)
        mown_m2 = task.mown_m2(left), task.mown_m2(right)
        share = mown_m2[0] / total_m2
        for count in range(1, loops):
            if _uneven(share, count, loops) > _NATURAL_SLACK * _tolerance(task):
                continue
            wire_m = wire_estimate_m(left) + wire_estimate_m(right)
            fit = task.fits(left, mown_m2[0], count, 0.0)
            fit = fit and task.fits(right, mown_m2[1], loops - count, 0.0)
            if fit and wire_m < best_m - 1e-9:
                best, best_m = Cut(left, right, (count, loops - count), None), wire_m
    return best


def _groups(pieces: Pieces) -> Iterator[frozenset[int]]:
    """Yield groups of pieces that a straight line tells from the others, each once."""
    middle = shapely.get_coordinates(shapely.centroid(np.array(pieces, dtype=object)))
    seen: set[frozenset[int]] = set()
    for angle in np.arange(_DIRECTIONS) * np.pi / _DIRECTIONS:
        order = np.argsort(middle @ [np.sin(angle), np.cos(angle)], kind="stable")
        for count in range(1, len(pieces)):
            group = frozenset(order[:count].tolist())
            if group not in seen:
                seen.add(group)
                yield group


def _tolerance(task: SplitTask) -> float:
    return task.price.rules.wire.loop_balance_share


def _uneven(share: float, count: int, loops: int) -> float:
    """Return how far a side's share is from that of ``count`` loops, against the smaller side's."""
    return abs(share - count / loops) / (min(count, loops - count) / loops)


@dataclass(frozen=True)
class _Search:
    """One piece in which a seam is looked for."""

    piece: Polygon
    loops: int
    task: SplitTask

    @property
    def thin(self) -> Polygon:
        thinned = shapely.simplify(self.piece, _SHAPE_M)
        return thinned if isinstance(thinned, Polygon) else self.piece


@dataclass(frozen=True)
class _Found:
    cut: Cut
    price_m: float


def _best_through(
    pieces: Pieces, number: int, search: _Search, best: _Found | None
) -> _Found | None:
    """Return the best cut through piece ``number``, or ``best`` where that is better."""
    thin = search.thin
    others = pieces[:number] + pieces[number + 1 :]
    share = search.task.mown_m2([thin]) / search.task.mown_m2(pieces)
    if share * search.loops < 1.0 - _NATURAL_SLACK * _tolerance(search.task):
        return best
    task = search.task
    shares = [count / search.loops for count in _near_half(search.loops)]
    seams = together(
        [
            even(thin, task.price, shares),
            natural(thin, task.price, task.passages, task.strips),
            round_islands(thin, task.price),
        ]
    )
    found = _cheapest(search, others, seams, best)
    if found is best:
        return best
    for finer in range(_ROUNDS):
        if found is not None and found.cut.seam is not None:
            nearby = around(thin, task.price, found.cut.seam, finer)
            found = _cheapest(search, others, nearby, found)
    return found


def _near_half(loops: int) -> tuple[int, ...]:
    return tuple({loops // 2: 0, loops - loops // 2: 0})


def _cheapest(
    search: _Search, others: Pieces, seams: Seams, best: _Found | None
) -> _Found | None:
    """Return the best cut of those sampled, looked at in the order of what each costs at least."""
    task, loops = search.task, search.loops
    mown_m2, elsewhere_m2 = task.mown_m2([search.piece]), task.mown_m2(others)
    total_m2 = mown_m2 + elsewhere_m2
    # Of islands, strips and the other pieces it is not yet known on which side they come to lie.
    low = (seams.left_m2 - (Polygon(search.piece.exterior).area - mown_m2)) / total_m2
    high = (seams.left_m2 + elsewhere_m2) / total_m2
    tolerance = _tolerance(task) * np.where(seams.natural, _NATURAL_SLACK, 1.0)
    queue: list[tuple[float, int, int]] = []
    for count in range(1, loops):
        off = np.maximum(np.maximum(low - count / loops, count / loops - high), 0.0)
        uneven = off / (min(count, loops - count) / loops)
        near_half = count in _near_half(loops)
        kept = np.flatnonzero((uneven <= tolerance) & (near_half | seams.natural))
        least_m = seams.price_m * (1.0 + uneven)
        queue.extend((float(least_m[at]), int(at), count) for at in kept)
    for at_least_m, at, count in sorted(queue)[:_MOST_TRIED]:
        if best is not None and at_least_m >= best.price_m:
            break
        found = _tried(search, others, seams, (at, count), float(tolerance[at]))
        if found is not None and (best is None or found.price_m < best.price_m - 1e-9):
            best = found
    return best


def _tried(
    search: _Search, others: Pieces, seams: Seams, chosen: tuple[int, int], tolerance: float
) -> _Found | None:
    """Return the cut along one seam, or None where a side does not fit."""
    at, count = chosen
    task, loops = search.task, search.loops
    line = seams.line(at)
    halves = halved(search.piece, line, float(seams.left_m2[at]))
    if halves is None:
        return None
    left, right = _with_others(halves, others)
    mown_m2 = task.mown_m2(left), task.mown_m2(right)
    uneven = _uneven(mown_m2[0] / sum(mown_m2), count, loops)
    if uneven > tolerance:
        return None
    seam_m = shapely.intersection(search.piece, line).length
    if not (
        task.fits(left, mown_m2[0], count, seam_m)
        and task.fits(right, mown_m2[1], loops - count, seam_m)
    ):
        return None
    price_m = float(seams.price_m[at]) * (1.0 + uneven)
    if task.has_outlet((*left, *right)):
        bare = (not task.has_outlet(left)) + (not task.has_outlet(right))
        price_m += bare * task.price.rules.wire.score_seam_outlet
    return _Found(Cut(left, right, (count, loops - count), line), price_m)


def halved(piece: Polygon, seam: LineString, left_m2: float) -> tuple[Pieces, Pieces] | None:
    """Return ``piece`` to the left and to the right of ``seam``; None where it does not part it.

    ``left_m2`` is about the area to the left within the outer ring.
    """
    blade = shapely.buffer(_longer(seam), _BLADE_M, cap_style="flat", join_style="mitre")
    parts = polygons(shapely.difference(Polygon(piece.exterior), blade))
    if len(parts) < 2:  # noqa: PLR2004 - two sides
        return None
    one, other = sorted(parts, key=lambda part: -part.area)[:2]
    if abs(one.area - left_m2) > abs(other.area - left_m2):
        one, other = other, one
    left, right = (polygons(shapely.intersection(piece, side)) for side in (one, other))
    return (tuple(left), tuple(right)) if left and right else None


def _longer(seam: LineString) -> LineString:
    """Return the seam a little longer at both ends, so that it parts the true rim too."""
    points = shapely.get_coordinates(seam)
    first, last = points[0] - points[1], points[-1] - points[-2]
    points[0] += first / np.hypot(*first) * _BEYOND_M
    points[-1] += last / np.hypot(*last) * _BEYOND_M
    return LineString(points)


def _with_others(halves: tuple[Pieces, Pieces], others: Pieces) -> tuple[Pieces, Pieces]:
    """Give every other piece to the side that is nearer to it."""
    left, right = halves
    bodies = shapely.union_all(list(left)), shapely.union_all(list(right))
    for piece in others:
        nearer_left = shapely.distance(piece, bodies[0]) <= shapely.distance(piece, bodies[1])
        left, right = ((*left, piece), right) if nearer_left else (left, (*right, piece))
    return left, right
