"""Draw the rim of mowable ground in where the ground falls away outside it too steeply."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import QUARTER_SEGMENTS, FloatArray, grow, polygons, union
from lawnplat.ground.inward import Room, depths_m
from lawnplat.ground.nearby import reshaped
from lawnplat.ground.rim_fall import Rim, long_runs, outward_fall_pct, rims_of
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.terrain.types import Terrain

CROSS_FALL = "cross_fall"

HAIR_PCT = 0.1
"""A rim drawn in lies at the limit itself: a tenth of a percent over it is rounding."""
_PASSES = 4
"""A rim drawn in has new directions, and is looked at again this often at most."""
_HAIR_M = 1e-3
_ON_IT_M = 5e-3
_LEAST_DEPTH_M = 0.02
_SMOOTH_M = 2e-3
_LEAST_CUT_M2 = 0.05
_LEAST_CARVE_M2 = 0.02
_LEFT_SHARE = 0.1
"""A cut is worth keeping when at most this share of its rim's metres over the limit is left."""
_BEYOND_SHARE = 0.25
"""A cut that costs the machine this much more ground than it takes itself closes a way."""


@dataclass(frozen=True)
class Slopes:
    """What the rim is held against."""

    terrain: Terrain
    machine: MachineClass
    rules: RuleBook
    unwired: BaseGeometry
    """Where no wire runs along the rim, as at the mouth of a crossing."""

    @property
    def limit_pct(self) -> float:
        """The machine's limit at an edge."""
        return self.machine.slope_edge_pct

    def over(self, rim: Rim, slack_pct: float = 0.0) -> NDArray[np.bool_]:
        """Return at which places of ``rim`` the ground falls outward over the limit and slack."""
        fall_pct = outward_fall_pct(self.terrain, rim.places, rim.outward)
        over = fall_pct > self.limit_pct + slack_pct
        if over.any() and not self.unwired.is_empty:
            over &= ~shapely.intersects(self.unwired, shapely.points(rim.places))
        return np.asarray(over)

    def runs(self, rim: Rim, over: NDArray[np.bool_]) -> list[NDArray[np.intp]]:
        """Return the stretches of ``rim`` that are over the limit for long enough to count."""
        # Of so many places the first and the last are a stretch apart.
        fewest = math.ceil(self.rules.ground.edge_stretch_m / rim.step_m) + 1
        return long_runs(over, fewest)


def may_slide(terrain: Terrain, machine: MachineClass) -> bool:
    """Return whether any ground of the site is steeper than the machine's limit at an edge."""
    if terrain.source == "level":
        return False
    steepest = float(np.hypot(terrain.dz_dx, terrain.dz_dy).max())
    return 100.0 * steepest > machine.slope_edge_pct


def cut_for_fall(ground: BaseGeometry, slopes: Slopes) -> BaseGeometry:
    """Return what has to be given up of ``ground`` so that the fall across its rim keeps the limit.

    Where the ground falls away outside the rim, over the machine's limit at an edge, the rim is
    drawn in to the nearest line that meets the limit, at most as far as the rule book's
    ``ground.edge_reach_m``. Stretches under ``ground.edge_stretch_m`` do not count. Where no line
    within reach meets the limit, or where drawing in would close a way, the rim stays.

    Parameters
    ----------
    ground : BaseGeometry
        Polygons that the machine reaches (`lawnplat.ground.shape.shaped`).
    slopes : Slopes

    Returns
    -------
    BaseGeometry
        Polygons within ``ground``, empty where nothing has to be drawn in.
    """
    now = ground
    carved: BaseGeometry = Polygon()
    for _ in range(_PASSES):
        more = _carved(now, ground, slopes)
        if shapely.intersection(now, more).area < _LEAST_CARVE_M2:
            break
        more = shapely.simplify(more, _SMOOTH_M)
        carved = union([carved, more])
        now = _smoothed(now, more, ground, carved, slopes)
    if carved.is_empty:
        return Polygon()
    return _worth_it(ground, now, carved, slopes)


def _carved(now: BaseGeometry, first: BaseGeometry, slopes: Slopes) -> BaseGeometry:
    """Return the discs, hung on the rim of ``now``, that reach to where the limit is met."""
    ground_rules = slopes.rules.ground
    room = Room(
        ground=now,
        first=first,
        reach_m=ground_rules.edge_reach_m,
        radius_m=slopes.machine.smallest_passage_m / 2,
        terrain=slopes.terrain,
        limit_pct=slopes.limit_pct,
        stretch_m=ground_rules.edge_stretch_m,
    )
    edge = shapely.boundary(first)
    shapely.prepare(edge)
    bodies: list[BaseGeometry] = []
    for rim in rims_of(now):
        over = slopes.over(rim)
        runs = slopes.runs(rim, over)
        if now is not first:  # what has not moved has been looked at
            runs = [run for run in runs if not _on(edge, rim.places[run]).all()]
        if not runs:
            continue
        counted = np.zeros(len(over), dtype=bool)
        counted[np.concatenate(runs)] = True
        found = depths_m(rim, counted & over, room)
        bodies.extend(_hulls(rim.places, found))
    return union(bodies)


def _on(edge: BaseGeometry, places: FloatArray) -> NDArray[np.bool_]:
    return np.asarray(shapely.dwithin(edge, shapely.points(places), _ON_IT_M))


def _hulls(places: FloatArray, radius_m: FloatArray) -> list[BaseGeometry]:
    """Return the hulls of each two neighbouring discs round a ring, those of no radius left out."""
    after = np.roll(np.arange(len(places)), -1)
    taken = (radius_m > _LEAST_DEPTH_M) | (radius_m[after] > _LEAST_DEPTH_M)
    if not taken.any():
        return []
    angle = np.arange(4 * QUARTER_SEGMENTS) * (np.pi / 2 / QUARTER_SEGMENTS)
    turn = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    reach_m = np.maximum(radius_m, _HAIR_M)
    discs = places[:, None, :] + reach_m[:, None, None] * turn[None]
    pairs = np.stack([discs[taken], discs[after[taken]]], axis=1)
    # Of each disc only what looks away from the other is on the hull, and a step more to each side.
    apart = places[after[taken]] - places[taken]
    apart_m = np.hypot(*apart.T)
    tangent_m = (reach_m[taken] - reach_m[after[taken]])[:, None]
    looks_m, step_m = apart @ turn.T, (apart_m * angle[1])[:, None]
    outer = np.stack([looks_m <= tangent_m + step_m, looks_m >= tangent_m - step_m], axis=1)
    hull = np.nonzero(outer)[0]
    return list(np.asarray(shapely.convex_hull(shapely.linestrings(pairs[outer], indices=hull))))


def _smoothed(
    now: BaseGeometry,
    more: BaseGeometry,
    first: BaseGeometry,
    carved: BaseGeometry,
    slopes: Slopes,
) -> BaseGeometry:
    """Return ``now`` less ``more`` of what was ``carved`` of ``first``, all corners rounded."""
    radius_m = slopes.rules.wire.corner_radius_m

    def closed(window: BaseGeometry) -> BaseGeometry:
        around = shapely.intersection(first, window)
        left = shapely.difference(around, carved)
        # Only what was carved is rounded: the rest of the rim stays as it was to the last digit.
        rounded = grow(grow(left, radius_m), -radius_m)
        return shapely.difference(around, shapely.difference(carved, rounded))

    return reshaped(now, more, closed, slopes.machine, slopes.rules)


def _worth_it(
    first: BaseGeometry, now: BaseGeometry, carved: BaseGeometry, slopes: Slopes
) -> BaseGeometry:
    """Return the cuts that do what they are for, those that leave the rim no better put back."""
    shapely.prepare(carved)
    cuts = [
        cut
        for cut in polygons(shapely.difference(first, now))
        if cut.area > _LEAST_CUT_M2 and shapely.intersects(carved, cut)
    ]
    kept = [cut for cut in cuts if not _takes_more(cut, carved, slopes)]
    kept = _parting_none(kept, first, now, slopes)
    staying = {id(cut) for cut in kept}
    dropped = [cut for cut in cuts if id(cut) not in staying]
    edge = shapely.boundary(first)
    shapely.prepare(edge)
    old = _over_points(first, slopes)
    while kept:
        now = _put_back(now, dropped, first, kept, slopes)
        new = _over_points(now, slopes)
        new = new[~np.asarray(shapely.dwithin(edge, new, _ON_IT_M))]
        mends = _mends(kept, old, new)
        if mends.all():
            return union(kept)
        dropped = [cut for cut, good in zip(kept, mends, strict=True) if not good]
        kept = [cut for cut, good in zip(kept, mends, strict=True) if good]
    return Polygon()


def _put_back(
    now: BaseGeometry,
    dropped: list[Polygon],
    first: BaseGeometry,
    kept: list[Polygon],
    slopes: Slopes,
) -> BaseGeometry:
    """Return ``now`` with the cuts ``dropped`` put back, of which those ``kept`` are not."""
    cut = union(kept)

    def left(window: BaseGeometry) -> BaseGeometry:
        return shapely.difference(shapely.intersection(first, window), cut)

    return reshaped(now, union(dropped), left, slopes.machine, slopes.rules)


def _parting_none(
    cuts: list[Polygon], first: BaseGeometry, now: BaseGeometry, slopes: Slopes
) -> list[Polygon]:
    """Return the ``cuts`` that part none of the lawns in ``first``, nor make one too small.

    They are looked at one by one where all of them together do, as ``now`` shows.
    """
    lawns, left = (np.array(polygons(each), dtype=object) for each in (first, now))
    left = left[shapely.area(left) >= slopes.rules.ground.smallest_part_m2]
    inside = STRtree(lawns).query(shapely.point_on_surface(left), predicate="within")[1]
    changed = np.bincount(inside, minlength=len(lawns)) != _lawns(lawns, slopes)
    kept = []
    for cut in cuts:
        at = int(np.argmin(shapely.distance(lawns, shapely.point_on_surface(cut))))
        if changed[at]:
            pieces = np.array(polygons(shapely.difference(lawns[at], cut)), dtype=object)
            if _lawns(pieces, slopes).sum() != _lawns(lawns[at], slopes):
                continue
        kept.append(cut)
    return kept


def _takes_more(cut: Polygon, carved: BaseGeometry, slopes: Slopes) -> bool:
    """Return whether ``cut`` takes the machine more ground than was carved."""
    taken_m2 = shapely.intersection(cut, carved).area
    return cut.area > (1 + _BEYOND_SHARE) * taken_m2 + slopes.machine.smallest_passage_m**2


def _lawns(pieces: NDArray[np.object_], slopes: Slopes) -> NDArray[np.int_]:
    """Return 1 for each of ``pieces`` that is large enough to be mown, 0 for the others."""
    return np.asarray(shapely.area(pieces) >= slopes.rules.ground.smallest_part_m2, dtype=int)


def _over_points(ground: BaseGeometry, slopes: Slopes) -> NDArray[np.object_]:
    """Return the places of the rim that count as over the limit, a point a step."""
    found = [np.empty((0, 2))]
    for rim in rims_of(ground):
        over = slopes.over(rim, HAIR_PCT)
        found.extend(rim.places[run[over[run]]] for run in slopes.runs(rim, over))
    return np.asarray(shapely.points(np.concatenate(found)), dtype=object)


def _mends(
    cuts: list[Polygon], old: NDArray[np.object_], new: NDArray[np.object_]
) -> NDArray[np.bool_]:
    """Return at which of ``cuts`` next to none of the places over the limit is left."""
    tree = STRtree(cuts)
    near_m = 5 * _ON_IT_M
    before, after = (
        np.bincount(
            tree.query(points, predicate="dwithin", distance=near_m)[1], minlength=len(cuts)
        )
        for points in (old, new)
    )
    return np.asarray(after <= _LEFT_SHARE * before)
