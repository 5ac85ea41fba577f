"""How near a line comes to a thing: exact distances of its straight pieces, no buffers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, STRtree
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.tolerances import MM


@dataclass(frozen=True)
class TooNear:
    """Where a line comes nearer to a thing than it may. Lengths in metres."""

    nearest_m: float
    place: Point
    """On the line, where it is nearest."""
    length_m: float
    """Of the straight pieces that come too near, as a whole."""


def too_near(
    segments: NDArray[np.object_],
    tree: STRtree,
    thing: BaseGeometry,
    least_m: float,
    exempt: BaseGeometry | None = None,
) -> TooNear | None:
    """Return where a line comes nearer than ``least_m`` to a thing; None where it does not.

    Parameters
    ----------
    segments : array of LineString
        The line's straight pieces.
    tree : shapely.STRtree
        Over ``segments``.
    thing : BaseGeometry
    least_m : float
        Over 0.
    exempt : BaseGeometry, optional
        Ground on which the line may come as near as it likes.
    """
    found = np.sort(tree.query(thing, predicate="dwithin", distance=least_m))
    pieces = segments[found]
    if exempt is not None and not exempt.is_empty and len(pieces):
        pieces = np.asarray(shapely.difference(pieces, exempt), dtype=object)
        pieces = pieces[shapely.length(pieces) > MM]
    if len(pieces) == 0:
        return None
    apart = np.asarray(shapely.distance(pieces, thing))
    near = apart < least_m
    if not near.any():
        return None
    worst = int(np.argmin(apart))
    on_line = shapely.get_coordinates(shapely.shortest_line(pieces[worst], thing))
    return TooNear(
        nearest_m=float(apart[worst]),
        place=Point(on_line[0]),
        length_m=float(shapely.length(pieces[near]).sum()),
    )


def middle_of_longest(line: BaseGeometry) -> Point:
    """Return the middle of the longest piece of a line."""
    longest = max(shapely.get_parts(line), key=lambda part: part.length)
    return LineString(shapely.get_coordinates(longest)).interpolate(0.5, normalized=True)
