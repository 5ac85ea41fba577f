"""Ground held to the setbacks of what stands beside it, where drawing let it out beyond them.

What a disc reaches inside ground lies inside it: but arcs are drawn as chords, and each chord lets
a parallel curve run a hair inside of where it belongs. One opening is off by less than anybody
measures. Mouths, corners and waists are opened anew where something is given up, and at an obstacle
that most of them touch the hairs add up.
"""

from __future__ import annotations

from collections.abc import Iterable

import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import polygons, union
from lawnplat.ground.types import Cause

_OFF_M = 1.8e-3
"""A rim may be off by as much, in proportion for setbacks over 1 m: a crew measures no finer than
2 mm. The chords of a setback of 1 m take 1.2 mm of it, and one opening half a millimetre."""


def held_off(reach: BaseGeometry, causes: Iterable[Cause]) -> BaseGeometry:
    """Return ``reach`` less what of it lies within a setback, where its rim is off by too much.

    Parameters
    ----------
    reach : BaseGeometry
        Polygons, drawn by opening the ground that ``causes`` leave.
    causes : iterable of Cause
        Those without a setback take their ground as it is surveyed: they are left alone.

    Returns
    -------
    BaseGeometry
        Polygons. The rim stays as it was, to the last digit, wherever it is near enough to its
        place.
    """
    over = [segment for cause in causes for segment in _within(reach, cause)]
    return shapely.difference(reach, union(over)) if over else reach


def _within(reach: BaseGeometry, cause: Cause) -> list[BaseGeometry]:
    """Return the places of ``reach`` within a cause's setback that hold one too near to it."""
    least_m = cause.setback_m - _OFF_M * max(1.0, cause.setback_m)
    if least_m <= 0 or not shapely.dwithin(reach, cause.body, least_m):
        return []
    places = polygons(shapely.intersection(reach, cause.reach))
    return [place for place in places if shapely.dwithin(place, cause.body, least_m)]
