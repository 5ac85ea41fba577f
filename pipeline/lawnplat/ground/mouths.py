"""Mouths of gaps too narrow to mow: the wire runs nearly straight across them.

The disc of the machine sticks a little way into a gap that it cannot pass, and the rim of what it
reaches would bulge there. A larger disc sticks in less: what it leaves in a mouth is given up.
"""

from __future__ import annotations

from collections.abc import Callable

import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, polygons, union
from lawnplat.ground.opening import opened

_TOUCH_M = 2e-3
_LEAST_M2 = 1e-4
_TIMES = (4.0, 2.0, 1.0)
"""Radii of the larger discs, in widths of the machine's smallest passage; the largest goes first,
and a smaller one is for where that would take too much."""
_MOST = 0.6
"""A mouth's bulge is smaller than this share of a square of that width. Between two walls at right
angles a disc of one width leaves 0.21 of it, one of two widths 0.86."""

Reshape = Callable[[BaseGeometry], BaseGeometry]


def straight_across(
    reach: BaseGeometry, gaps: BaseGeometry, passage_m: float, passable: Reshape
) -> BaseGeometry:
    """Return ``reach`` less its bulges into the mouths of ``gaps``.

    Parameters
    ----------
    reach : BaseGeometry
        Polygons that the machine reaches.
    gaps : BaseGeometry
        Lawn beyond, too narrow for it; corners' tips not among them.
    passage_m : float
        The narrowest that the machine passes, metres.
    passable : callable
        Returns what the machine reaches of a ground.

    Returns
    -------
    BaseGeometry
        A bulge stays where giving it up would part the ground or close a way round an island.
    """
    if gaps.is_empty or reach.is_empty:
        return reach
    mouths = grow(gaps, _TOUCH_M)
    shapely.prepare(mouths)
    for times in _TIMES:
        found = _bulges(reach, mouths, times * passage_m)
        # A larger place is a corner of the lawn beside a gap, or an arm of it.
        small = [part for part in found if _LEAST_M2 < part.area < _MOST * passage_m**2]
        small = [part for part in small if _flares(part, reach, gaps, passage_m)]
        if small:
            reach = _without(reach, small, passage_m, passable)
    return reach


def _without(
    reach: BaseGeometry, bulges: list[Polygon], passage_m: float, passable: Reshape
) -> BaseGeometry:
    """Return ``reach`` less the bulges, but for those whose loss would close a way."""
    windows = polygons(union(grow(bulge, 4 * passage_m).envelope for bulge in bulges))
    kept = []
    for window in windows:
        there = shapely.intersection(reach, window)
        own = [bulge for bulge in bulges if shapely.intersects(bulge, window)]
        # The window's own rim is left alone: the disc is not let in from beyond it.
        inner = grow(window, -2 * passage_m)
        for tried in [own, *([bulge] for bulge in own if len(own) > 1)]:
            left = shapely.difference(there, union(tried))
            now = shapely.intersection(passable(left), inner)
            lost = shapely.difference(shapely.intersection(there, inner), now)
            if _ways(shapely.difference(there, lost)) == _ways(there):
                kept.append(lost)
                break
    return passable(shapely.difference(reach, union(kept))) if kept else reach


def _flares(
    bulge: Polygon, reach: BaseGeometry, gaps: BaseGeometry, passage_m: float
) -> bool:
    """Return whether the gap widens with a corner at ``bulge``: in a plain wedge nothing bulges."""
    near = grow(bulge, passage_m)
    hull = shapely.convex_hull(union([bulge, shapely.intersection(gaps, near)]))
    lawn = [shapely.intersection(area, grow(hull, _TOUCH_M)) for area in (reach, gaps)]
    beyond = shapely.difference(hull, grow(union(lawn), _TOUCH_M))
    return bool(beyond.area > _LEAST_M2)


def _bulges(reach: BaseGeometry, mouths: BaseGeometry, radius_m: float) -> list[Polygon]:
    """Return what a disc of ``radius_m`` does not reach before the mouths."""
    near = union(shapely.box(*gap.bounds) for gap in polygons(grow(mouths, radius_m)))
    around = shapely.intersection(reach, grow(near, 2 * radius_m))
    left = shapely.difference(shapely.intersection(around, near), opened(around, radius_m))
    return [part for part in polygons(left) if shapely.intersects(mouths, part)]


def _ways(ground: BaseGeometry) -> tuple[int, int]:
    """Return of how many pieces ``ground`` is and round how many islands it runs."""
    parts = polygons(ground)
    return len(parts), sum(len(part.interiors) for part in parts)
