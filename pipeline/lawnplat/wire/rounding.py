"""Round the bends of a line into arcs, as wide as the rules ask and the ground allows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from lawnplat.geometry import FloatArray
from lawnplat.wire.leg_cost import turn_between

Admits = Callable[[FloatArray], bool]
"""Whether a line through points of shape (n, 2) may be laid."""
_Fits = Callable[[FloatArray, FloatArray, FloatArray], bool]
"""Whether, between the points before and the corners after it, an arc may be laid."""

_ARC_STEP_DEG = 8.0
_SHRINK = 0.7
_SMALLEST_RADIUS_M = 0.1
_STRAIGHT_DEG = 1.0
_HAIR_M, _HAIR_DEG = 1e-6, 1e-6


@dataclass(frozen=True)
class MostTurn:
    """How far a line may turn, ``largest_deg`` within ``within_m``, corners and arcs alike."""

    largest_deg: float
    within_m: float


def rounded_gently(
    corners: FloatArray,
    radius_m: float,
    admits: Admits,
    most: MostTurn,
    keep_first_m: float = 0.0,
) -> FloatArray:
    """Return the line as `rounded` does, but with no bend that arcs make sharper than is allowed.

    An arc begins before its corner and ends after it: a line whose corners are just far enough
    apart would turn too far from one into the arc of the next. There arcs are made smaller, at last
    left corners.

    Parameters
    ----------
    corners : array of shape (n, 2)
    radius_m : float
    admits : callable
    most : MostTurn
        Where the corners alone turn farther, arcs turn no farther than these.
    keep_first_m : float
    """
    line = rounded(corners, radius_m, admits, keep_first_m)
    if _turn_deg(line, most) <= most.largest_deg + _HAIR_DEG:
        return line
    allowed_deg = max(most.largest_deg, _turn_deg(corners, most)) + _HAIR_DEG

    def fits(before: FloatArray, after: FloatArray, arc: FloatArray) -> bool:
        whole = np.concatenate([before, arc, after])
        return _turn_deg(whole, most) <= allowed_deg and admits(arc)

    return _rounded(corners, radius_m, fits, keep_first_m)


def _turn_deg(line: FloatArray, most: MostTurn) -> float:
    return sharpest_turn(line, most.within_m)[0]


def rounded(
    corners: FloatArray, radius_m: float, admits: Admits, keep_first_m: float = 0.0
) -> FloatArray:
    """Return the line through ``corners`` with every bend drawn as an arc that ``admits`` allows.

    Parameters
    ----------
    corners : array of shape (n, 2)
        One at the place of the one before is no bend and is left out.
    radius_m : float
        Radius wanted; made smaller until the arc fits its legs and is admitted.
    admits : callable
        Told the points of an arc; a bend of which no arc is admitted stays a corner.
    keep_first_m : float
        Length of the first leg that stays straight.
    """
    return _rounded(corners, radius_m, lambda _before, _after, arc: admits(arc), keep_first_m)


def _rounded(corners: FloatArray, radius_m: float, fits: _Fits, keep_first_m: float) -> FloatArray:
    apart = np.hypot(*np.diff(corners, axis=0).T) > _HAIR_M
    corners = corners[np.concatenate([[True], apart])]
    runs = np.hypot(*np.diff(corners, axis=0).T)
    # Each bend may use up half of a leg that it shares with another bend.
    share = np.full(len(runs), 0.5)
    share[-1] = 1.0
    room_before = runs * share
    room_after = runs * share
    room_before[0] = max(runs[0] - keep_first_m, 0.0)
    out = [corners[:1]]
    for place in range(1, len(corners) - 1):
        room = float(min(room_before[place - 1], room_after[place]))
        admits = partial(fits, np.concatenate(out), corners[place + 1 :])
        out.append(_bend(corners[place - 1 : place + 2], radius_m, room, admits))
    out.append(corners[-1:])
    return np.concatenate(out)


def _bend(three: FloatArray, radius_m: float, room_m: float, admits: Admits) -> FloatArray:
    before, corner, after = three
    into = (corner - before) / np.hypot(*(corner - before))
    out = (after - corner) / np.hypot(*(after - corner))
    turn = float(np.arctan2(into[0] * out[1] - into[1] * out[0], into @ out))
    if abs(turn) < np.radians(_STRAIGHT_DEG) or abs(turn) > np.radians(175):
        return three[1:2]
    reach = np.tan(abs(turn) / 2)
    radius = min(radius_m, 0.98 * room_m / reach)
    while radius >= _SMALLEST_RADIUS_M:
        arc = _arc(corner, into, turn, radius, reach * radius)
        if admits(arc):
            return arc
        radius *= _SHRINK
    return three[1:2]


def _arc(
    corner: FloatArray, into: FloatArray, turn: float, radius: float, tangent: float
) -> FloatArray:
    side = np.sign(turn)
    start = corner - into * tangent
    normal = np.array([-into[1], into[0]]) * side
    centre = start + normal * radius
    count = max(int(np.ceil(abs(np.degrees(turn)) / _ARC_STEP_DEG)), 2)
    angle = np.linspace(0.0, turn, count + 1)
    spoke = -normal * radius
    x = spoke[0] * np.cos(angle) - spoke[1] * np.sin(angle)
    y = spoke[0] * np.sin(angle) + spoke[1] * np.cos(angle)
    return np.asarray(centre + np.stack([x, y], axis=1))


def bends_deg(line: FloatArray) -> FloatArray:
    """Return the change of direction at each inner point of a line, in degrees, 0 to 180."""
    run = np.diff(line, axis=0)
    return turn_between(run[:-1], run[1:])


def sharpest_turn(line: FloatArray, within_m: float) -> tuple[float, FloatArray]:
    """Return the most by which a line turns within a length, degrees, and the place of it.

    A bend drawn as an arc, or as several corners close to each other, is as sharp as a single
    corner to a machine that is longer than it.

    Parameters
    ----------
    line : array of shape (n, 2)
    within_m : float
        0 looks at each corner alone.
    """
    run = np.diff(line, axis=0)
    length_m = np.hypot(run[:, 0], run[:, 1])
    run, length_m = run[length_m > 0], length_m[length_m > 0]
    heading = np.degrees(np.unwrap(np.arctan2(run[:, 1], run[:, 0])))
    begin = np.cumsum(length_m) - length_m
    apart_m = begin[None] - (begin + length_m)[:, None]
    near = np.triu(apart_m <= within_m + _HAIR_M, k=1)
    turn = np.where(near, np.abs(heading[None] - heading[:, None]), 0.0)
    if turn.size == 0:
        return 0.0, np.asarray(line[0])
    first, last = np.unravel_index(int(np.argmax(turn)), turn.shape)
    corners = line[:-1][np.hypot(*np.diff(line, axis=0).T) > 0]
    return float(turn[first, last]), np.asarray(corners[(first + 1 + last) // 2])
