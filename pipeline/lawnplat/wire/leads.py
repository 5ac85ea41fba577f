"""Leads: the wire pairs that join islands and carried lawns to the outer ring, least length in all.

Every rim (the outer ring, each island, each carried lawn's ring) is a node; a lead between two rims
is an edge as long as the shortest line between them that nothing bars. The tree of least total
length is grown by taking the shortest edge that joins two trees (Kruskal 1956). A least tree over
nearest points never runs across a third rim: the edge would be longer than those to that rim.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon, STRtree, box
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, grow, union, within_reach
from lawnplat.wire.detour import way_round
from lawnplat.wire.gentle_leads import Gentleness, gentlest, points_round
from lawnplat.wire.lead_ends import landed

_MOST_TRIES = 4000
_BATCH = 200
_FIRST_REACH_M = 8.0
_BEYOND_M = 1.0
"""What is barred is cut off this far beyond a window, so that no cut is seen in it."""
_TIP_M = 5e-3
"""Half a pair's usual gap: what is barred so near to a lead's end is what its rim runs along."""
_WIDER = 2.0
"""By how much farther a way round is looked for each time; most are not needed by then."""


class UnjoinedIsland(ValueError):
    """An island of the home piece to which no lead can be found."""


@dataclass(frozen=True)
class Lead:
    """A wire pair between two rims, ``line`` from the rim nearer home to the other."""

    line: LineString
    carried: bool
    """Whether it leads outside the lawn to a carried piece."""


@dataclass(frozen=True)
class Rim:
    """One ring that has to be part of the conductor: ``hole`` is None for a piece's outer ring."""

    piece: int
    hole: int | None
    ring: LineString


@dataclass(frozen=True)
class LeadGround:
    """Where leads may run.

    ``barred`` is kept clear where that can be, ``straight`` (the wire past the station) sooner than
    the rest of it, ``walls`` where any way at all leads round them, and ``forbidden`` always;
    ``outside`` is where a lead to a carried piece may run.
    """

    pieces: tuple[Polygon, ...]
    barred: BaseGeometry
    forbidden: BaseGeometry
    outside: BaseGeometry
    longest_outside_m: float
    apart_m: float
    gentle: Gentleness | None = None
    """By what one of several leads of nearly equal length is chosen; None for the shortest."""
    walls: BaseGeometry = field(default_factory=Polygon)
    straight: BaseGeometry = field(default_factory=Polygon)

    def kept_clear(self) -> tuple[BaseGeometry, ...]:
        """Return what is kept clear, most of it first: the next counts where no lead leads on."""
        given = [self.barred, self.forbidden]
        if not self.straight.is_empty:
            given.insert(1, union([self.forbidden, self.straight]))
        if self.walls.is_empty:
            return tuple(given)
        return (*(union([taken, self.walls]) for taken in given), *given)


@dataclass(frozen=True)
class LeadTree:
    """The leads taken, and the pieces that no lead reaches."""

    leads: tuple[Lead, ...]
    unreached: tuple[int, ...]


def rims_of(pieces: Sequence[Polygon]) -> list[Rim]:
    """Return all rims; the home piece's outer ring first."""
    rims = []
    for number, piece in enumerate(pieces):
        rims.append(Rim(number, None, LineString(piece.exterior.coords)))
        rims.extend(
            Rim(number, hole, LineString(ring.coords)) for hole, ring in enumerate(piece.interiors)
        )
    return rims


@dataclass
class _Growth:
    """The forest while it grows: which tree each rim belongs to, and the leads so far."""

    tree: list[int]
    leads: list[Lead] = field(default_factory=list)
    taken: list[BaseGeometry] = field(default_factory=list)
    """What each lead takes from the next ones: itself, as wide as leads lie apart."""

    @property
    def trees(self) -> int:
        return len(self.tree) - len(self.leads)

    def join(self, one: int, other: int, lead: Lead, apart_m: float) -> None:
        kept, gone = self.tree[one], self.tree[other]
        self.tree = [kept if number == gone else number for number in self.tree]
        self.leads.append(lead)
        self.taken.append(grow(lead.line, apart_m))


def least_tree(ground: LeadGround) -> LeadTree:
    """Join all rims by leads of least total length.

    A lead is looked for only when its lower bound, the bare distance, comes up; when something
    bars the shortest line, the next shortest between points of the two rims is taken, and outside
    the lawn a way round obstacles.

    Raises
    ------
    UnjoinedIsland
        Where an island of the first piece cannot be joined to its ring.
    """
    rims = rims_of(ground.pieces)
    growth = _Growth(list(range(len(rims))))
    for barred in ground.kept_clear():
        _grow_forest(growth, rims, ground, barred)
    home = growth.tree[0]
    lost = [rim for rim, tree in zip(rims, growth.tree, strict=True) if tree != home]
    if any(rim.piece == 0 for rim in lost):
        raise UnjoinedIsland("an island in the lawn cannot be joined to the outer ring")
    cut_off = {rim.piece for rim in lost}
    leads = tuple(lead for lead in growth.leads if _serves(lead, ground, cut_off))
    return LeadTree(leads, tuple(sorted(cut_off)))


def _grow_forest(
    growth: _Growth, rims: list[Rim], ground: LeadGround, barred: BaseGeometry
) -> None:
    """Join trees by the shortest leads that ``barred`` leaves, until none is left to join.

    A pair of rims waits under a lower bound of its lead: first the distance of their envelopes,
    then of the rims themselves, at last the length of a line found. Most pairs never get so far.
    """
    rooms = _Rooms(ground, barred)
    pairs = iter(_pairs(growth, rims))
    coming = next(pairs, None)
    queue: list[tuple[float, int, int, LineString | None, int, float]] = []
    while (queue or coming is not None) and growth.trees > 1:
        if coming is not None and (not queue or coming[0] <= queue[0][0]):
            _, one, other = coming
            coming = next(pairs, None)
            if growth.tree[one] != growth.tree[other]:
                bound = float(shapely.distance(rims[one].ring, rims[other].ring))
                heapq.heappush(queue, (bound, one, other, None, 0, 0.0))
            continue
        bound, one, other, line, known, reach_m = heapq.heappop(queue)
        if growth.tree[one] == growth.tree[other]:
            continue
        # A line was found clear of the leads known then: only those since can bar it.
        if line is not None and _clear_of(line, growth.leads[known:], ground):
            lead = Lead(line, rims[one].piece != rims[other].piece)
            growth.join(one, other, lead, ground.apart_m)
            continue
        found = _looked_for(rims[one], rims[other], rooms, growth, reach_m)
        farthest_m = rooms.farthest_m(rims[one], rims[other])
        if found is not None and (found.length <= reach_m or reach_m in {0.0, farthest_m}):
            if not rooms.too_long(rims[one], rims[other], found):
                known = len(growth.leads)
                heapq.heappush(queue, (found.length, one, other, found, known, reach_m))
        elif reach_m < farthest_m:
            # No lead round what bars the straight one is shorter than what was looked at.
            least_m = max(reach_m, bound)
            wider_m = min(max(_WIDER * least_m, _FIRST_REACH_M), farthest_m)
            heapq.heappush(queue, (least_m, one, other, None, 0, wider_m))


def _looked_for(
    one: Rim, other: Rim, rooms: _Rooms, growth: _Growth, reach_m: float
) -> LineString | None:
    """Return a straight lead, or one round what bars it where a reach is given, if there is one."""
    rings = (one.ring, other.ring)
    ways = _Ways(rooms.of(one, other), rooms.barred, STRtree(growth.taken))
    found = _round(rings, ways, reach_m) if reach_m > 0 else None
    if reach_m <= 0:
        found = _straight(rings, ways, rooms.ground.gentle)
    return None if found is None else landed(found, rings, ways.open_but_ends)


def _pairs(growth: _Growth, rims: list[Rim]) -> list[tuple[float, int, int]]:
    """Return the pairs of rims that may be joined, by the distance of their envelopes."""
    one, other = np.triu_indices(len(rims), k=1)
    tree, piece = np.array(growth.tree), np.array([rim.piece for rim in rims])
    outer = np.array([rim.hole is None for rim in rims])
    may_join = (piece[one] == piece[other]) | (outer[one] & outer[other])
    kept = may_join & (tree[one] != tree[other])
    one, other = one[kept], other[kept]
    box = shapely.bounds(np.array([rim.ring for rim in rims]))
    gap = np.maximum(box[one, :2] - box[other, 2:], box[other, :2] - box[one, 2:])
    bound = np.hypot(*np.maximum(gap, 0.0).T)
    order = np.argsort(bound, kind="stable")
    return list(zip(bound[order].tolist(), one[order].tolist(), other[order].tolist(), strict=True))


class _Rooms:
    """Where leads may run, prepared once for all of them."""

    def __init__(self, ground: LeadGround, barred: BaseGeometry) -> None:
        self.ground = ground
        self.barred = barred
        self._inside: dict[int, BaseGeometry] = {}
        shapely.prepare(barred)
        shapely.prepare(ground.outside)

    def farthest_m(self, one: Rim, other: Rim) -> float:
        """Return the reach beyond which no lead between two rims is worth looking for."""
        if one.piece != other.piece:
            return self.ground.longest_outside_m
        west, south, east, north = self.ground.pieces[one.piece].bounds
        return float(east - west + north - south)

    def too_long(self, one: Rim, other: Rim, line: LineString) -> bool:
        """Return whether a lead outside the lawn is longer than the rules allow."""
        return one.piece != other.piece and line.length > self.ground.longest_outside_m

    def of(self, one: Rim, other: Rim) -> BaseGeometry:
        """Return the ground in which a lead between two rims may run."""
        if one.piece != other.piece:
            return self.ground.outside
        if one.piece not in self._inside:
            self._inside[one.piece] = grow(self.ground.pieces[one.piece], 1e-4)
            shapely.prepare(self._inside[one.piece])
        return self._inside[one.piece]


def _serves(lead: Lead, ground: LeadGround, cut_off: set[int]) -> bool:
    return not any(shapely.dwithin(ground.pieces[number], lead.line, 1e-6) for number in cut_off)


def _clear_of(line: LineString, leads: list[Lead], ground: LeadGround) -> bool:
    return not any(shapely.dwithin(line, lead.line, ground.apart_m) for lead in leads)


def _straight(
    rings: tuple[LineString, LineString], ways: _Ways, gentle: Gentleness | None
) -> LineString | None:
    """Return the shortest straight line between two rings that nothing bars, if there is one."""
    nearest = np.array([shapely.shortest_line(*rings)])
    line: LineString | None = nearest[0] if ways.open(nearest)[0] else None
    if line is None:
        line = _next_shortest(*rings, ways)
    if line is not None and gentle is not None:
        line = gentlest(line, rings, ways.open, gentle)
    return line


def _round(
    rings: tuple[LineString, LineString], ways: _Ways, reach_m: float
) -> LineString | None:
    """Return a short way round what bars the straight lines, if one of ``reach_m`` fits.

    No place on such a way is farther than that from either ring.
    """
    west, south, east, north = (
        pick([ring.bounds[side] for ring in rings]) + sign * reach_m
        for side, (pick, sign) in enumerate([(max, -1), (max, -1), (min, 1), (min, 1)])
    )
    window = box(west, south, east, north)
    taken = ways.taken.geometries.take(np.sort(ways.taken.query(window)))
    shut = union([within_reach(ways.barred, window, _BEYOND_M), *taken])
    free = shapely.difference(shapely.intersection(ways.room, window), shut)
    return way_round(*rings, free)


@dataclass(frozen=True)
class _Ways:
    """What a lead between two rims must stay in, and what it must not touch."""

    room: BaseGeometry
    barred: BaseGeometry
    """Prepared, as is ``room``."""
    taken: STRtree

    def open(self, lines: NDArray[np.object_]) -> NDArray[np.bool_]:
        """Return which lines may be laid."""
        return np.asarray(shapely.covers(self.room, lines) & self.clear(lines))

    def open_but_ends(self, lines: NDArray[np.object_]) -> NDArray[np.bool_]:
        """Return which lines may be laid that may end at a tip between what is barred."""
        one, other = shapely.buffer(shapely.get_point(lines, [[0], [-1]]), _TIP_M)
        bare = shapely.difference(shapely.difference(lines, one), other)
        return self.open(bare)

    def clear(self, shapes: NDArray[np.object_]) -> NDArray[np.bool_]:
        """Return which shapes touch neither what is barred nor a lead that is there."""
        clear = ~np.asarray(shapely.intersects(self.barred, shapes))
        clear[self.taken.query(shapes, predicate="intersects")[0]] = False
        return clear


def _next_shortest(one: LineString, other: LineString, ways: _Ways) -> LineString | None:
    """Return the shortest open line between points sampled on two rings."""
    starts, ends = (_sampled(ring, ways) for ring in (one, other))
    if len(starts) == 0 or len(ends) == 0:
        return None
    gap = np.hypot(*(starts[:, None] - ends[None]).transpose(2, 0, 1))
    order = np.argsort(gap, axis=None, kind="stable")[:_MOST_TRIES]
    for batch in np.split(order, range(_BATCH, len(order), _BATCH)):
        first, last = np.unravel_index(batch, gap.shape)
        tried = np.asarray(shapely.linestrings(np.stack([starts[first], ends[last]], axis=1)))
        fits = np.flatnonzero(ways.open(tried))
        if len(fits):
            shortest: LineString = tried[fits[0]]
            return shortest
    return None


def _sampled(ring: LineString, ways: _Ways) -> FloatArray:
    """Return points along a ring, those that are barred left out."""
    points = points_round(ring)
    return shapely.get_coordinates(points[ways.clear(points)])
