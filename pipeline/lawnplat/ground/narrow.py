"""Narrow places: how wide they are, which of them part the lawn, what the machine makes of them.

A wide piece is what a disc of half the comfortable passage can reach; a narrow place is what is
left between two wide pieces. Its width is twice the largest disc that still comes through.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, opened, polygons, union, within_reach
from lawnplat.ground.types import Passage

_TOUCH_M = 0.02
_WIDTH_STEPS = 12
_BESIDE = 1.5
"""So many times the comfortable passage is looked at beside a neck: a disc of that width stands
within half of it, and of what is looked at the rim falls to half of it too."""


@dataclass(frozen=True)
class Division:
    """One connected piece of ground as parts and the narrow places between them.

    ``links`` holds, for each passage, the numbers of the two parts that it joins.
    """

    parts: tuple[Polygon, ...]
    passages: tuple[Passage, ...]
    links: tuple[tuple[int, int], ...]


def divide(piece: Polygon, comfortable_m: float, smallest_part_m2: float) -> Division:
    """Split ``piece`` at its narrow places.

    Parameters
    ----------
    piece : Polygon
        Connected ground; nothing in it is narrower than the machine.
    comfortable_m : float
        Width from which a place is not narrow.
    smallest_part_m2 : float
        A wide piece smaller than this is a niche, not a part of its own.
    """
    wide = [
        core
        for core in polygons(opened(piece, comfortable_m / 2))
        if core.area >= smallest_part_m2
    ]
    if len(wide) < 2:  # noqa: PLR2004 - one wide piece has nothing to be parted from
        return Division((piece,), (), ())
    necks = polygons(shapely.difference(piece, union(grow(core, _TOUCH_M / 4) for core in wide)))
    return _assembled(piece, wide, necks, comfortable_m)


def _assembled(
    piece: Polygon, wide: list[Polygon], necks: list[Polygon], comfortable_m: float
) -> Division:
    """Give every neck to the wide piece that it leads to, and keep those that part two of them."""
    bodies: list[list[BaseGeometry]] = [[core] for core in wide]
    passages: list[Passage] = []
    links: list[tuple[int, int]] = []
    cores = np.array(wide, dtype=object)
    necks = sorted(necks, key=lambda found: -found.area)
    touched = [np.flatnonzero(shapely.dwithin(cores, neck, _TOUCH_M)) for neck in necks]
    parting = [neck for neck, at in zip(necks, touched, strict=True) if len(at) > 1]
    for neck, touching in zip(necks, touched, strict=True):
        if len(touching) == 0:
            continue
        by_size = sorted(touching.tolist(), key=lambda index: (wide[index].area, index))
        bodies[by_size[0]].append(neck)
        for smaller in by_size[:-1]:
            larger = by_size[-1]
            ground = _without_others(piece, neck, np.array(parting), _BESIDE * comfortable_m)
            passage = measure(ground, neck, wide[smaller], wide[larger], comfortable_m)
            passages.append(passage)
            links.append((smaller, larger))
    parts = [_one_body(piece, members, bodies, place) for place, members in enumerate(bodies)]
    return Division(tuple(parts), tuple(passages), tuple(links))


def _without_others(
    piece: Polygon, neck: Polygon, parting: NDArray[np.object_], reach_m: float
) -> BaseGeometry:
    """Return ``piece`` less the narrow places near ``neck`` that part it as well.

    What passes through one of those, round an island, does not pass through ``neck``.
    """
    near = parting[shapely.dwithin(parting, neck, reach_m)]
    others = [other for other in near if other is not neck]
    if not others:
        return piece
    return shapely.difference(within_reach(piece, neck, reach_m), union(others))


def _one_body(
    piece: Polygon, members: list[BaseGeometry], bodies: list[list[BaseGeometry]], place: int
) -> Polygon:
    """Return the part: its members, less what the parts before it took, within the piece."""
    body = grow(union(members), _TOUCH_M / 2)
    before = [grow(union(other), _TOUCH_M / 2) for other in bodies[:place]]
    ground = shapely.intersection(shapely.difference(body, union(before)), piece)
    return max(polygons(ground), key=lambda found: found.area)


def measure(
    ground: BaseGeometry, neck: Polygon, one: Polygon, other: Polygon, comfortable_m: float
) -> Passage:
    """Measure the narrow place ``neck`` between two wide pieces of ``ground``."""
    ends = [_contact(neck, core) for core in (one, other)]
    axis = LineString([shapely.get_coordinates(shapely.centroid(end))[0] for end in ends])
    sides_m = neck.length - sum(end.length for end in ends)
    width_m = clear_width(ground, neck, one, other, comfortable_m)
    verdict = "guided" if width_m < comfortable_m else "open"
    return Passage(neck, axis, round(width_m, 3), round(max(sides_m / 2, 0.0), 2), verdict)


def _contact(neck: Polygon, core: Polygon) -> BaseGeometry:
    """Return the stretch of the neck's rim that lies on ``core``."""
    shared = shapely.intersection(shapely.boundary(neck), grow(core, _TOUCH_M))
    return shared if not shared.is_empty else shapely.shortest_line(neck, core)


def clear_width(
    ground: BaseGeometry, neck: Polygon, one: Polygon, other: Polygon, widest_m: float
) -> float:
    """Return the diameter of the largest disc that passes through ``neck`` between two pieces.

    Found by bisection to about a four-thousandth of ``widest_m``; 0 where nothing passes.
    """
    reach_m = _BESIDE * widest_m
    near = shapely.intersection(ground, grow(neck, reach_m))
    left, right = (within_reach(piece, neck, 2 * reach_m) for piece in (one, other))
    if _passes(near, left, right, widest_m / 2):
        return widest_m
    low_m, high_m = 0.0, widest_m / 2
    for _ in range(_WIDTH_STEPS):
        middle_m = (low_m + high_m) / 2
        if _passes(near, left, right, middle_m):
            low_m = middle_m
        else:
            high_m = middle_m
    return 2 * low_m


def _passes(
    ground: BaseGeometry, one: BaseGeometry, other: BaseGeometry, radius_m: float
) -> bool:
    """Return whether a disc comes from within one wide piece to within the other.

    That it touches both does not tell: into a short neck it may reach from one side alone.
    """
    sides = [grow(side, -radius_m) for side in (one, other)]
    return any(
        all(shapely.dwithin(left, side, _TOUCH_M) for side in sides)
        for left in polygons(grow(ground, -radius_m))
    )
