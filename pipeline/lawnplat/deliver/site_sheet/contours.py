"""Contour lines of the ground, at an interval that suits its relief."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import cast

import numpy as np
import shapely
from contourpy import LineType, contour_generator
from shapely.geometry.base import BaseGeometry

from lawnplat.survey.types import FloatArray
from lawnplat.terrain.types import Terrain

_INTERVALS_M = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
_MOST_LINES = 12
_FIFTH = 5
_BESIDE_M = 1e-7
"""Cells whose height is a contour's own break it into crumbs: lines run a hair beside them."""
_SHORTEST_M = 1.0
"""A shorter piece is a speck on the map."""


@dataclass(frozen=True)
class Contour:
    """All of one height in metres; ``index`` marks every fifth line, drawn heavier."""

    height_m: float
    line: BaseGeometry
    index: bool


@dataclass(frozen=True)
class Contours:
    """The contour lines and their interval; no lines where the ground is nearly level."""

    interval_m: float
    lines: tuple[Contour, ...]


def contours(terrain: Terrain, within: BaseGeometry) -> Contours:
    """Return the contours of the ground inside an area.

    Parameters
    ----------
    terrain : Terrain
        Heights that were not measured but filled in get no contours.
    within : shapely geometry
        Polygon or multipolygon in the terrain's CRS.

    Returns
    -------
    Contours
        At most 12 heights, at a round interval of 0.2 m or more.
    """
    x, y = terrain.grid.centres()
    height = np.where(terrain.known, terrain.elevation_m, np.nan)
    inside = shapely.contains_xy(within, *np.meshgrid(x, y)) & np.isfinite(height)
    if terrain.source == "level" or not inside.any():
        return Contours(_INTERVALS_M[0], ())
    low, high = float(height[inside].min()), float(height[inside].max())
    interval = _interval(high - low)
    generator = contour_generator(x=x, y=y, z=height, line_type=LineType.Separate)
    lines = []
    for step in range(math.ceil(low / interval), math.floor(high / interval) + 1):
        drawn = cast("list[FloatArray]", generator.lines(step * interval + _BESIDE_M))
        line = _clipped([shapely.LineString(each) for each in drawn if len(each) > 1], within)
        if not line.is_empty:
            lines.append(Contour(step * interval, line, step % _FIFTH == 0))
    return Contours(interval, tuple(lines))


def _interval(relief_m: float) -> float:
    fitting = (step for step in _INTERVALS_M if relief_m / step <= _MOST_LINES)
    return next(fitting, _INTERVALS_M[-1])


def _clipped(lines: list[shapely.LineString], within: BaseGeometry) -> BaseGeometry:
    """Return the lines inside an area, in pieces that are long enough to be seen as lines."""
    inside = shapely.intersection(shapely.MultiLineString(lines), within)
    pieces = [each for each in shapely.get_parts(inside) if each.length >= _SHORTEST_M]
    return shapely.MultiLineString(pieces)
