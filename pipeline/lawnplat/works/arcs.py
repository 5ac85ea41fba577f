"""Cut a wire into the fewest stretches that are each straight or one arc."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString

from lawnplat.geometry import FloatArray
from lawnplat.settings.types import SettingOutRules

_DRAWN_M = 0.002
"""Vertices that the wire leaves by less than this are how its arcs are drawn, not its shape."""
_STEP_M = 0.1
"""How closely a stretch is held against its arc: round an arc of 0.35 m a straight of this length
lies 4 mm further off in its middle than at its ends."""
_STRAIGHT_M = 0.01
"""A wire that leaves its chord by less is straight: no ruler on grass tells the difference."""
_EVEN = 1e-4
"""What the square of an arc's length counts for beside the metres by which the wire leaves it: of
equally few arcs round a circle, even ones."""
_GIVE_UP_AFTER = 12
"""So many longer stretches in a row are tried in vain before the search gives up."""


@dataclass(frozen=True)
class Stretch:
    """Wire from one chainage to another, straight or an arc.

    ``offset_m`` is measured from the middle of the chord square to the arc, positive to the left in
    the wire's direction, 0 for a straight.
    """

    from_m: float
    to_m: float
    offset_m: float


def chainages(points: FloatArray) -> FloatArray:
    """Return the distance along a line through ``points`` of shape (n, 2) to each of them."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])


def stretches(
    line: LineString, stops_m: Sequence[float], rules: SettingOutRules
) -> tuple[Stretch, ...]:
    """Return the fewest stretches from each stop to the next; of equally few the closest ones.

    Parameters
    ----------
    line : LineString
    stops_m : sequence of float
        Chainages in ascending order at which a stretch has to end; the first and the last are where
        the stretches begin and end.
    rules : SettingOutRules
    """
    points = shapely.get_coordinates(line)
    at_m = chainages(points)
    found: list[Stretch] = []
    for first, last in pairwise(stops_m):
        inner = (at_m > first + _DRAWN_M) & (at_m < last - _DRAWN_M)
        ends = shapely.get_coordinates(shapely.line_interpolate_point(line, [first, last]))
        found.extend(
            _fewest(
                np.concatenate([ends[:1], points[inner], ends[1:]]),
                np.concatenate([[first], at_m[inner], [last]]),
                rules,
            )
        )
    return tuple(found)


@dataclass(frozen=True)
class _Run:
    """One wire between two stops: places where it may be cut, and samples between them."""

    corners: FloatArray
    at_m: FloatArray
    samples: FloatArray
    first_sample: FloatArray
    """Index in ``samples`` of each corner."""


def _fewest(points: FloatArray, at_m: FloatArray, rules: SettingOutRules) -> list[Stretch]:
    """Return the best chain of stretches by dynamic programming over the wire's corners."""
    run = _run(points, at_m)
    count = len(run.corners)
    best: list[tuple[int, float]] = [(0, 0.0), *[(count, np.inf)] * (count - 1)]
    came: list[tuple[int, float]] = [(0, 0.0)] * count
    for start in range(count - 1):
        for end, offset_m, off_m in _from(run, start, rules):
            uneven = _EVEN * (run.at_m[end] - run.at_m[start]) ** 2 if offset_m else 0.0
            cost = (best[start][0] + 1, best[start][1] + off_m + uneven)
            if cost < best[end]:
                best[end], came[end] = cost, (start, offset_m)
    chain: list[Stretch] = []
    end = count - 1
    while end > 0:
        start, offset_m = came[end]
        chain.append(Stretch(float(run.at_m[start]), float(run.at_m[end]), offset_m))
        end = start
    return chain[::-1]


def _run(points: FloatArray, at_m: FloatArray) -> _Run:
    kept = _shaping(points)
    corners = points[kept]
    cuts = np.maximum(np.ceil(np.hypot(*np.diff(corners, axis=0).T) / _STEP_M), 1).astype(int)
    first = np.concatenate([[0], np.cumsum(cuts)])
    samples = np.stack(
        [np.interp(np.arange(first[-1] + 1), first, column) for column in corners.T], axis=1
    )
    return _Run(corners, at_m[kept], samples, first)


def _shaping(points: FloatArray) -> list[int]:
    """Return the indices of the vertices that shape the line (Douglas and Peucker)."""
    shape = shapely.get_coordinates(shapely.simplify(LineString(points), _DRAWN_M))
    kept, at = [], 0
    for corner in shape:
        while not (points[at] == corner).all():
            at += 1
        kept.append(at)
        at += 1
    return kept


def _from(run: _Run, start: int, rules: SettingOutRules) -> Iterator[tuple[int, float, float]]:
    """Yield the ends that one stretch reaches, its offset, and how far the wire leaves it."""
    in_vain = 0
    for end in range(start + 1, len(run.corners)):
        part = run.samples[run.first_sample[start] : run.first_sample[end] + 1]
        length_m = float(run.at_m[end] - run.at_m[start])
        offset_m, off_m = _closest(part, length_m, rules)
        if off_m <= rules.curve_offset_m - _DRAWN_M or end == start + 1:
            in_vain = 0
            yield end, offset_m, off_m
        else:
            in_vain += 1
            if in_vain > _GIVE_UP_AFTER:
                return


def _closest(part: FloatArray, length_m: float, rules: SettingOutRules) -> tuple[float, float]:
    """Return the middle offset of the straight or arc nearest to the samples, and how near."""
    chord = part[-1] - part[0]
    chord_m = float(np.hypot(*chord))
    if chord_m < _STRAIGHT_M:
        return 0.0, float(np.hypot(*(part - part[0]).T).max())
    ahead = chord / chord_m
    rest = part - part[0]
    along = rest @ ahead
    left = rest @ np.array([-ahead[1], ahead[0]])
    straight_m = _off_straight(along, left, chord_m)
    if straight_m <= _STRAIGHT_M:
        return 0.0, straight_m
    offset_m = _middle_offset(along, left, chord_m)
    turn_deg = np.degrees(4 * np.arctan2(2 * abs(offset_m), chord_m))
    if abs(offset_m) > rules.curve_offset_m and (
        turn_deg > rules.largest_arc_deg or length_m > rules.longest_arc_m
    ):
        return 0.0, straight_m
    arc_m = _off_arc(along, left, chord_m, offset_m)
    return (offset_m, arc_m) if arc_m < straight_m else (0.0, straight_m)


def _middle_offset(along: FloatArray, left: FloatArray, chord_m: float) -> float:
    """Return how far left the wire is where it first passes the middle of its chord."""
    past = int(np.argmax(along >= chord_m / 2))
    before = max(past - 1, 0)
    return float(np.interp(chord_m / 2, along[before : past + 1], left[before : past + 1]))


def _off_straight(along: FloatArray, left: FloatArray, chord_m: float) -> float:
    beyond = np.maximum(np.maximum(-along, along - chord_m), 0.0)
    return float(np.hypot(beyond, left).max())


def _off_arc(along: FloatArray, left: FloatArray, chord_m: float, offset_m: float) -> float:
    """Return how far the samples lie from the arc over the chord with this middle offset."""
    half = chord_m / 2
    if abs(offset_m) < _DRAWN_M / 4:
        return _off_straight(along, left, chord_m)
    # Sagitta: the radius of an arc of height h over a chord c is c^2 / 8h + h / 2.
    radius = half * half / (2 * offset_m) + offset_m / 2
    x, y = along - half, left - (offset_m - radius)
    off = np.abs(np.hypot(x, y) - abs(radius))
    outside = (np.abs(x) > half) | (y * np.sign(offset_m) < 0)
    ends = np.minimum(np.hypot(along, left), np.hypot(along - chord_m, left))
    return float(np.where(outside, ends, off).max())
