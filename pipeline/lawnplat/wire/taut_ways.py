"""Shortest ways round corners: those that a string would take, drawn tight over open ground.

Such a way is straight but at corners of the ground that stand out into it (reflex ones), and it
touches each of those without cutting it. So it is found over the graph of those corners and the
straight sights between them, exactly, however narrow the ground (Lozano-Perez & Wesley, 1979, from
memory). Sights are looked for only where they could shorten a way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, polygons

_TOUCH_M = 1e-4
"""Sights may leave the ground by this much: they run along its edges."""
_SAME_M = 1e-6


@dataclass(frozen=True)
class TautWays:
    """Shortest ways from some starts to every corner of some ground, and on to any place.

    ``nodes`` has shape (n, 2): the starts first, then the corners. ``length_m`` is the way to each,
    infinite where none leads; ``before`` the node before it, -1 at a start. ``beside`` has shape
    (n, 2, 2): the two neighbours of each corner on its ring, the start itself for a start.
    """

    ground: BaseGeometry
    nodes: FloatArray
    beside: FloatArray
    length_m: FloatArray
    before: NDArray[np.int64]

    def lengths_m(self, places: FloatArray) -> FloatArray:
        """Return the length of the shortest way to each of ``places``; NaN where none leads."""
        return self._last_sights(places)[0]

    def way_to(self, place: FloatArray) -> tuple[FloatArray, int] | None:
        """Return the corners of the shortest way to a place, and the number of its start.

        Shape (corners, 2), the start first; the place itself may be the start.
        """
        return self.ways_to(place[None])[0]

    def ways_to(self, places: FloatArray) -> list[tuple[FloatArray, int] | None]:
        """Return what `way_to` does for each of ``places``."""
        _, last = self._last_sights(places)
        return [
            self._way_by(int(node), place) if node >= 0 else None
            for node, place in zip(last, places, strict=True)
        ]

    def _way_by(self, node: int, place: FloatArray) -> tuple[FloatArray, int]:
        """Return the way to a place that is last seen from a node, and the way's start."""
        chain = [node]
        while self.before[chain[-1]] >= 0:
            chain.append(int(self.before[chain[-1]]))
        return np.concatenate([self.nodes[chain[::-1]], place[None]]), chain[-1]

    def _last_sights(self, places: FloatArray) -> tuple[FloatArray, NDArray[np.int64]]:
        """Return the way's length to each place and the node that it is last seen from."""
        sights = places[:, None] - self.nodes
        bound = self.length_m + np.hypot(sights[..., 0], sights[..., 1])
        bound[~_touches(sights, self.nodes, self.beside)] = np.inf
        order = np.argsort(bound, axis=1, kind="stable")
        length = np.full(len(places), np.nan)
        last: NDArray[np.int64] = np.full(len(places), -1)
        still = np.arange(len(places))
        for turn in range(len(self.nodes)):
            node = order[still, turn]
            open_ = np.isfinite(bound[still, node])
            still, node = still[open_], node[open_]
            if len(still) == 0:
                break
            seen = _seen(self.ground, self.nodes[node], places[still])
            length[still[seen]] = bound[still[seen], node[seen]]
            last[still[seen]] = node[seen]
            still = still[~seen]
        return length, last


def without_repeats(points: FloatArray) -> FloatArray:
    """Return a line's points without those that stand where the one before stands."""
    moved = np.hypot(*np.diff(points, axis=0).T) > _SAME_M
    return np.asarray(points[np.concatenate([[True], moved])])


def taut_ways(ground: BaseGeometry, starts: FloatArray, gone_m: FloatArray) -> TautWays:
    """Return the shortest ways within ``ground`` from ``starts``.

    Parameters
    ----------
    ground : Polygon or MultiPolygon
        Ways may touch its edge.
    starts : array of shape (n, 2)
        Places on the ground, at least one.
    gone_m : array of shape (n,)
        What has been gone before each start.
    """
    corners, beside = _reflex_corners(ground)
    nodes = np.concatenate([starts, corners])
    neighbours = np.concatenate([np.repeat(starts[:, None], 2, axis=1), beside])
    # Mitred: a round edge would put many more corners into every test of sight.
    wider = shapely.buffer(ground, _TOUCH_M, join_style="mitre")
    shapely.prepare(wider)
    length_m = np.full(len(nodes), np.inf)
    length_m[: len(starts)] = gone_m
    before: NDArray[np.int64] = np.full(len(nodes), -1)
    settled = np.zeros(len(nodes), bool)
    for _ in range(len(nodes)):
        node = int(np.argmin(np.where(settled, np.inf, length_m)))
        if settled[node] or not np.isfinite(length_m[node]):
            break
        settled[node] = True
        nearer, reached_m = _nearer_over(node, nodes, neighbours, length_m, settled, wider)
        length_m[nearer], before[nearer] = reached_m, node
    return TautWays(wider, nodes, neighbours, length_m, before)


def _nearer_over(  # noqa: PLR0917 - one step of the search, its state laid open
    node: int,
    nodes: FloatArray,
    beside: FloatArray,
    length_m: FloatArray,
    settled: NDArray[np.bool_],
    ground: BaseGeometry,
) -> tuple[NDArray[np.int64], FloatArray]:
    """Return the nodes that come nearer by a straight sight from ``node``, and how far they are."""
    sights = nodes - nodes[node]
    reach_m = length_m[node] + np.hypot(sights[:, 0], sights[:, 1])
    could = ~settled & (reach_m < length_m - _SAME_M)
    could &= _touches(sights, nodes, beside)
    could &= _touches(sights, nodes[node], beside[node])
    worth = np.flatnonzero(could)
    origin = np.repeat(nodes[node][None], len(worth), axis=0)
    seen = worth[_seen(ground, origin, nodes[worth])]
    return seen, reach_m[seen]


def _touches(sights: FloatArray, corner: FloatArray, beside: FloatArray) -> NDArray[np.bool_]:
    """Return where a sight passes a corner with both neighbours on one side, as a string would.

    A neighbour on the sight itself counts to either side.
    """
    length_m = np.maximum(np.hypot(sights[..., 0], sights[..., 1]), _SAME_M)
    off_m = [
        (
            sights[..., 0] * (beside[..., k, 1] - corner[..., 1])
            - sights[..., 1] * (beside[..., k, 0] - corner[..., 0])
        )
        / length_m
        for k in (0, 1)
    ]
    left = (off_m[0] >= -_SAME_M) & (off_m[1] >= -_SAME_M)
    right = (off_m[0] <= _SAME_M) & (off_m[1] <= _SAME_M)
    return np.asarray(left | right)


def _seen(ground: BaseGeometry, start: FloatArray, end: FloatArray) -> NDArray[np.bool_]:
    if len(start) == 0:
        return np.zeros(0, bool)
    return np.asarray(shapely.covers(ground, shapely.linestrings(np.stack([start, end], axis=1))))


def _reflex_corners(ground: BaseGeometry) -> tuple[FloatArray, FloatArray]:
    """Return the corners that stand out into the ground and their neighbours on the ring."""
    corners, beside = [np.empty((0, 2))], [np.empty((0, 2, 2))]
    for ring in (ring for part in polygons(ground) for ring in _rings(part)):
        points = shapely.get_coordinates(ring)[:-1]
        before, after = np.roll(points, 1, axis=0), np.roll(points, -1, axis=0)
        come, go = points - before, after - points
        # The ground lies on the left hand: where the ring turns right, the corner stands out.
        reflex = come[:, 0] * go[:, 1] - come[:, 1] * go[:, 0] < 0
        corners.append(points[reflex])
        beside.append(np.stack([before, after], axis=1)[reflex])
    return np.concatenate(corners), np.concatenate(beside)


def _rings(part: Polygon) -> list[BaseGeometry]:
    turned = shapely.orient_polygons(part)
    return [turned.exterior, *turned.interiors]
