"""Corners that turn into the ground, round paving or steep ground, given the wire's radius.

A wire that goes round an obstacle's corner at a setback smaller than its own radius would kink
there. It cannot cut the corner, so it swings out: a disc of the radius is laid over the corner from
within the obstacle, touching the rim at the corner's middle, and what it covers is given up. That
is the least that covers the corner and bends no tighter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import KDTree
from shapely import LinearRing, Point, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, grow, polygons, union, within_reach

_WINDOW_M = 0.1
"""How far a rim turns is looked at over this length: a peg holds a wire no finer."""
_EVEN_M = 5e-3
"""Where the wire would swing out by less than this, the corner is as good as round."""
_ROUNDS = 3
_HAIR_M = 1e-9

Reshape = Callable[[BaseGeometry], BaseGeometry]


def blunted(
    ground: BaseGeometry, radius_m: float, narrow: Reshape, passable: Reshape, *, near_m: float
) -> BaseGeometry:
    """Return ``ground`` less what a wire of ``radius_m`` swings out at its inward corners.

    Parameters
    ----------
    ground : BaseGeometry
        Polygons that the machine reaches.
    radius_m : float
        Metres.
    narrow, passable : callable
        Return of a ground its narrow places, and what the machine reaches of it.
    near_m : float
        How far round a corner swinging out may change what the machine reaches.

    Returns
    -------
    BaseGeometry
        A corner stays as it is where there is no room: in a narrow place, or where swinging out
        would close a way.
    """
    if radius_m <= 0 or ground.is_empty:
        return ground
    found = [_swung_round(part, radius_m, narrow, passable, near_m) for part in polygons(ground)]
    return shapely.disjoint_subset_union_all(found)


def _swung_round(
    ground: Polygon, radius_m: float, narrow: Reshape, passable: Reshape, near_m: float
) -> BaseGeometry:
    """Return one polygon less what a wire swings out at its inward corners."""
    now: BaseGeometry = ground
    narrow_at = np.empty((0, 2))
    for _ in range(_ROUNDS):
        discs = _elsewhere(_discs(now, radius_m), narrow_at)
        if not discs:
            break
        tight = narrow(now)
        shapely.prepare(tight)
        met = np.asarray(shapely.intersects(tight, discs))
        narrow_at = np.concatenate([narrow_at, _middles(_those(discs, met))])
        free = _those(discs, ~met)
        before, now = now, _without(now, free, passable, near_m)
        if now is before:
            break
    return now


def _middles(discs: list[BaseGeometry]) -> FloatArray:
    return np.asarray(shapely.get_coordinates(shapely.centroid(discs)))


def _elsewhere(discs: list[BaseGeometry], narrow_at: FloatArray) -> list[BaseGeometry]:
    """Return the discs but for those at corners that lay in a narrow place in an earlier round."""
    if not discs or len(narrow_at) == 0:
        return discs
    off_m, _ = KDTree(narrow_at).query(_middles(discs))
    return _those(discs, np.asarray(off_m > _EVEN_M))


def _those(discs: list[BaseGeometry], chosen: NDArray[np.bool_]) -> list[BaseGeometry]:
    return [disc for disc, is_chosen in zip(discs, chosen, strict=True) if is_chosen]


def _without(
    ground: BaseGeometry, discs: list[BaseGeometry], passable: Reshape, near_m: float
) -> BaseGeometry:
    """Return ``ground`` less all of ``discs``, or less those that leave the machine its ways.

    Which do is looked at disc by disc, where ways are closed nearby: all of a large lawn takes too
    long.
    """
    if not discs:
        return ground
    left = passable(shapely.difference(ground, union(discs)))
    if _ways(left) == _ways(ground):
        return left
    at_one = [_same_ways(ground, left, disc, near_m / 2) for disc in discs]
    taken = [disc for disc, harmless in zip(discs, at_one, strict=True) if harmless]
    for disc, harmless in zip(discs, at_one, strict=True):
        if not harmless and _closes_none(ground, disc, taken, passable, near_m):
            taken.append(disc)
    left = passable(shapely.difference(ground, union(taken))) if taken else ground
    return left if _ways(left) == _ways(ground) else _one_by_one(ground, taken, passable)


def _same_ways(
    before: BaseGeometry, after: BaseGeometry, disc: BaseGeometry, near_m: float
) -> bool:
    """Return whether the ways within ``near_m`` of ``disc`` are the same in both."""
    one, other = (_ways(within_reach(each, disc, near_m)) for each in (before, after))
    return one == other


def _closes_none(
    ground: BaseGeometry,
    disc: BaseGeometry,
    taken: list[BaseGeometry],
    passable: Reshape,
    near_m: float,
) -> bool:
    """Return whether ``disc`` closes no way within ``near_m``, beside the discs ``taken``."""
    # Wider than what is looked at: along the window's own edge ways are closed by the edge.
    wide = within_reach(ground, disc, 2 * near_m)
    wide = shapely.difference(wide, union(each for each in taken if each.intersects(wide)))
    before, after = (
        _ways(within_reach(passable(each), disc, near_m))
        for each in (wide, shapely.difference(wide, disc))
    )
    return before == after


def _one_by_one(
    ground: BaseGeometry, discs: list[BaseGeometry], passable: Reshape
) -> BaseGeometry:
    for disc in discs:
        left = passable(shapely.difference(ground, disc))
        if _ways(left) == _ways(ground):
            ground = left
    return ground


def _ways(ground: BaseGeometry) -> tuple[int, int]:
    """Return of how many pieces ``ground`` is and round how many islands it runs."""
    parts = polygons(ground)
    return len(parts), sum(len(part.interiors) for part in parts)


@dataclass(frozen=True)
class _Turns:
    """The vertices of one ring with its ground on the left; arrays of one entry each.

    ``inward_rad`` is the turn, positive where the ground's corner points inward; ``normal`` the
    unit vector away from the ground, times the turn.
    """

    places: FloatArray
    at_m: FloatArray
    length_m: float
    inward_rad: FloatArray
    normal: FloatArray


def _turns_of(ring: LinearRing) -> _Turns:
    corners = shapely.get_coordinates(ring)
    run = np.diff(corners, axis=0)
    length = np.hypot(*run.T)
    kept = length > _HAIR_M
    places, run, length = corners[:-1][kept], run[kept], length[kept]
    unit = run / length[:, None]
    before = np.roll(unit, 1, axis=0)
    cross = before[:, 0] * unit[:, 1] - before[:, 1] * unit[:, 0]
    inward = -np.arctan2(cross, np.sum(before * unit, axis=1))
    both = before + unit
    normal = np.stack([both[:, 1], -both[:, 0]], axis=1)
    normal *= (inward / np.maximum(np.hypot(*normal.T), _HAIR_M))[:, None]
    at = np.concatenate([[0.0], np.cumsum(length)])
    return _Turns(places, at[:-1], float(at[-1]), inward, normal)


def _discs(ground: BaseGeometry, radius_m: float) -> list[BaseGeometry]:
    """Return a disc for each inward corner of ``ground`` that is tighter than ``radius_m``."""
    found: list[BaseGeometry] = []
    for part in polygons(ground):
        turned = shapely.orient_polygons(part, exterior_cw=False)
        for ring in (turned.exterior, *turned.interiors):
            turns = _turns_of(ring)
            runs = _tight_runs(turns, radius_m)
            if not runs:
                continue
            circle = shapely.minimum_bounding_circle(ring)
            if ring is not turned.exterior and circle.area < np.pi * radius_m**2:
                found.append(grow(shapely.centroid(circle), radius_m))
            else:
                found.extend(_over(turns, runs, radius_m))
    return [disc for disc in found if _swings_out(disc, ground)]


def _swings_out(disc: BaseGeometry, ground: BaseGeometry) -> bool:
    bulge = shapely.intersection(disc, ground)
    return not shapely.is_empty(grow(bulge, -_EVEN_M / 2))


def _tight_runs(turns: _Turns, radius_m: float) -> list[NDArray[np.intp]]:
    """Return the vertices of each stretch that turns inward tighter than ``radius_m``."""
    size = len(turns.places)
    span = np.concatenate([turns.at_m - turns.length_m, turns.at_m, turns.at_m + turns.length_m])
    sums = np.concatenate([[0.0], np.cumsum(np.tile(turns.inward_rad, 3))])
    first = np.searchsorted(span, turns.at_m - _WINDOW_M / 2)
    last = np.searchsorted(span, turns.at_m + _WINDOW_M / 2, side="right")
    tight = (sums[last] - sums[first]) * radius_m > _WINDOW_M
    held = np.flatnonzero(tight & (turns.inward_rad > 0))
    if len(held) == 0:
        return []
    gaps = np.diff(turns.at_m[held], append=turns.at_m[held[0]] + turns.length_m)
    widest = int(np.argmax(gaps))
    held, gaps = np.roll(held, -widest - 1), np.roll(gaps, -widest - 1)
    runs = np.split(held, np.flatnonzero(gaps[:-1] > _WINDOW_M) + 1)
    return [np.mod(run[0] + np.arange((run[-1] - run[0]) % size + 1), size) for run in runs]


def _over(turns: _Turns, runs: list[NDArray[np.intp]], radius_m: float) -> Iterator[BaseGeometry]:
    """Yield a disc over each corner, one for two neighbours where that covers both."""
    size = len(turns.places)
    run = runs[0]
    for after in (*runs[1:], None):
        if after is not None:
            both = np.mod(run[0] + np.arange((after[-1] - run[0]) % size + 1), size)
            far_m = np.hypot(*(turns.places[both] - _centre(turns, both, radius_m)).T).max()
            if far_m <= radius_m + _EVEN_M:
                run = both
                continue
        yield grow(Point(_centre(turns, run, radius_m)), radius_m)
        if after is not None:
            run = after


def _centre(turns: _Turns, run: NDArray[np.intp], radius_m: float) -> FloatArray:
    """Return the middle of the disc that touches the corner from within the obstacle.

    It lies behind the corner, along the mean of the corner's normals; the disc touches whatever of
    the corner lies farthest out along these.
    """
    ahead = turns.normal[run].sum(axis=0)
    ahead /= max(float(np.hypot(*ahead)), _HAIR_M)
    places = turns.places[run]
    middle = places.mean(axis=0)
    out = (places - middle) @ -ahead
    tip = places[out >= out.max() - _EVEN_M / 2].mean(axis=0)
    tip -= ahead * (out.max() + (tip - middle) @ ahead)
    return np.asarray(tip + radius_m * ahead)
