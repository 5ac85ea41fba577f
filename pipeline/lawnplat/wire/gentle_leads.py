"""Of leads that are nearly as short as the shortest, the one on the gentlest ground."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, box

from lawnplat.geometry import FloatArray, points_along
from lawnplat.terrain.sample import height_at
from lawnplat.terrain.types import Terrain

_SAMPLE_M = 0.25
_MOST_SAMPLES = 240
_TOUCH_M = 1e-3
"""Rims nearer than this touch: there is no other way between them."""
_BASE_M = 0.5
"""A gradient along a lead is measured over about this length."""
_NOTICED_PCT = 0.5
"""A lead is worth moving for this much less gradient: less cannot be told with a level."""

Openness = Callable[[NDArray[np.object_]], NDArray[np.bool_]]
"""Tells which of some lines may be laid."""


@dataclass(frozen=True)
class Gentleness:
    """What leads are chosen by, besides their length.

    ``longer_share`` is how much longer than the shortest a lead may be, as a share of its length:
    the leads together are then no more than this share longer than the least tree.
    """

    terrain: Terrain
    longer_share: float


def gentlest(
    shortest: LineString,
    rings: tuple[LineString, LineString],
    is_open: Openness,
    by: Gentleness,
) -> LineString:
    """Return the lead between two rings whose steepest stretch is least.

    Looked for among the shortest lines from points along either ring to the other, as far as they
    are nearly as short as ``shortest``. Of leads equally steep the shortest is taken, and
    ``shortest`` itself unless another is noticeably gentler.
    """
    if by.terrain.source == "level" or shortest.length < _TOUCH_M:
        return shortest
    longest_m = (1.0 + by.longer_share) * shortest.length
    across, back = _across(*rings, longest_m), _across(*rings[::-1], longest_m)
    tried = np.concatenate([across, _turned(back)])
    tried = tried[shapely.length(tried) <= longest_m]
    tried = tried[is_open(tried)]
    if len(tried) == 0:
        return shortest
    steps = max(1, round(shortest.length / _BASE_M))
    ours_pct = steepest_pct(by.terrain, np.array([shortest]), steps)[0]
    steep_pct = steepest_pct(by.terrain, tried, steps)
    best = int(np.lexsort((shapely.length(tried), np.round(steep_pct, 1)))[0])
    if steep_pct[best] > ours_pct - _NOTICED_PCT:
        return shortest
    gentle: LineString = tried[best]
    return gentle


def steepest_pct(terrain: Terrain, lines: NDArray[np.object_], steps: int) -> FloatArray:
    """Return the steepest gradient along each straight line cut into equal steps, percent."""
    ends = shapely.get_coordinates(lines).reshape(len(lines), 2, 2)
    share = np.linspace(0.0, 1.0, steps + 1)[None, :, None]
    places = ends[:, :1] * (1.0 - share) + ends[:, 1:] * share
    climb = np.diff(height_at(terrain, places[..., 0], places[..., 1]), axis=1)
    run = np.asarray(shapely.length(lines))[:, None] / steps
    return np.asarray(100.0 * np.abs(climb / run).max(axis=1))


def points_round(ring: LineString) -> NDArray[np.object_]:
    """Return points along a ring from which leads are tried, evenly spaced."""
    count = int(np.clip(np.ceil(ring.length / _SAMPLE_M), 12, _MOST_SAMPLES))
    along_m = np.arange(count) * ring.length / count
    return np.asarray(shapely.points(points_along(ring, along_m)), dtype=object)


def _across(one: LineString, other: LineString, longest_m: float) -> NDArray[np.object_]:
    """Return the shortest lines to ring ``other`` from points along ring ``one``.

    None from points whose distance from the other's envelope is over ``longest_m`` already.
    """
    points = points_round(one)
    points = points[shapely.distance(points, box(*other.bounds)) <= longest_m + _TOUCH_M]
    return np.asarray(shapely.shortest_line(points, other), dtype=object)


def _turned(lines: NDArray[np.object_]) -> NDArray[np.object_]:
    return np.asarray(shapely.reverse(lines), dtype=object)
