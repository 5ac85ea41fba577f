"""Where seams are looked for: all over a piece, where nature made it narrow, round a good one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from lawnplat.geometry import FloatArray
from lawnplat.ground.seams import (
    SeamPrice,
    Seams,
    chords,
    middle_of,
    reach_of,
    scan_lines,
    through,
)
from lawnplat.ground.types import Passage

_BEARINGS = 24
_OFFSETS = 24
_FINER = 7
_ALONG_PASSAGE = (0.15, 0.5, 0.85)
_ON_M = 1e-6


def even(piece: Polygon, price: SeamPrice, shares: Sequence[float]) -> Seams:
    """Return chords evenly over bearings and offsets, and those that leave just ``shares``."""
    bearings, offsets = [], []
    ring = shapely.get_coordinates(piece.exterior) - middle_of(piece)
    for bearing in np.arange(_BEARINGS) * 180.0 / _BEARINGS:
        angle = np.radians(bearing)
        across = ring @ np.array([-np.cos(angle), np.sin(angle)])
        steps = np.linspace(across.min(), across.max(), _OFFSETS + 2)[1:-1]
        offsets.append(np.concatenate([steps, _of_shares(piece, bearing, steps, shares)]))
        bearings.append(np.full(len(offsets[-1]), bearing))
    return chords(piece, price, np.concatenate(bearings), np.concatenate(offsets))


def _of_shares(
    piece: Polygon, bearing: float, steps: FloatArray, shares: Sequence[float]
) -> FloatArray:
    """Return the offsets of the lines that leave about ``shares`` of the piece on either side."""
    lines = scan_lines(piece, np.full(len(steps), bearing), steps)
    width_m = shapely.length(shapely.intersection(piece, lines))
    step_m = steps[1] - steps[0]
    area = step_m * (width_m[0] / 2 + np.concatenate([[0.0], _between(width_m).cumsum()]))
    wanted = np.array([*shares, *(1.0 - share for share in shares)])
    return np.unique(np.interp(wanted * piece.area, area, steps))


def _between(values: FloatArray) -> FloatArray:
    return np.asarray((values[1:] + values[:-1]) / 2)


def natural(
    piece: Polygon, price: SeamPrice, passages: Sequence[Passage], strips: Sequence[Polygon]
) -> Seams:
    """Return the seams across the passages and the crossing strips of a piece."""
    places: list[FloatArray] = []
    bearings: list[float] = []
    for passage in passages:
        ends = shapely.get_coordinates(passage.axis)[[0, -1]]
        along = ends[1] - ends[0]
        places.extend(ends[0] + share * along for share in _ALONG_PASSAGE)
        bearings.extend([_bearing_deg(along) + 90.0] * len(_ALONG_PASSAGE))
    for strip in strips:
        box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(strip))
        middle = shapely.get_coordinates(shapely.centroid(strip))[0]
        places.extend([middle, middle])
        bearings.extend([_bearing_deg(box[1] - box[0]), _bearing_deg(box[2] - box[1])])
    held = np.array([bool(shapely.dwithin(piece, Point(place), _ON_M)) for place in places], bool)
    at = np.array(places).reshape(-1, 2)
    return through(piece, price, at[held], np.array(bearings)[held])


def _bearing_deg(vector: FloatArray) -> float:
    return float(np.degrees(np.arctan2(vector[0], vector[1])))


def around(piece: Polygon, price: SeamPrice, seam: LineString, finer: int) -> Seams:
    """Return chords round about a good one, the closer together the larger ``finer``."""
    ends = shapely.get_coordinates(seam)[[0, -1]]
    turn = 180.0 / _BEARINGS / _FINER**finer
    shift = reach_of(piece) / _OFFSETS / _FINER**finer
    steps = np.linspace(-1.0, 1.0, _FINER)
    turned, moved = (grid.ravel() for grid in np.meshgrid(turn * steps, shift * steps))
    bearing = _bearing_deg(ends[1] - ends[0]) + turned
    angle = np.radians(bearing)
    pivot = np.mean(ends, axis=0) - middle_of(piece)
    offset = moved - pivot[0] * np.cos(angle) + pivot[1] * np.sin(angle)
    return chords(piece, price, bearing, offset)
