"""A machine's days on one lawn: it leaves, mows, turns for home, charges, and leaves again."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lawnplat.proving.simulation.coverage_kernel import Marks, cut
from lawnplat.proving.simulation.random_kernel import State, next_unit
from lawnplat.proving.simulation.ray_kernel import Pieces, first_met
from lawnplat.proving.simulation.turning_kernel import turned

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BY_NONE, BY_LINE, BY_PERIMETER = 0, 1, 2
"""How a journey home ended: see `Log.ends`."""


_MOST_SLIPS = 1000
"""More in a row: the machine was set down where no ground is; its journey ends there."""


class Ways(NamedTuple):
    """The ground's wires as the machine meets them, and where they lead.

    Attributes
    ----------
    walls : Pieces
        Where it turns; the ground lies to the left of each piece.
    wall_home : array of shape (n, 2)
        Way home in metres from a piece's start, and by how much it grows with each metre along
        the piece; the first is negative where the piece does not lead home.
    lines : Pieces
        Return lines.
    line_home_m : array of shape (m,)
        Way home from each piece's start; it grows with the way along.
    starts : array of shape (k, 3)
        x, y of each place of departure, and its way from the station in metres.
    """

    walls: Pieces
    wall_home: FloatArray
    lines: Pieces
    line_home_m: FloatArray
    starts: FloatArray


class Pace(NamedTuple):
    """How the machine drives. Times in seconds.

    ``run_s`` is a full battery, of which ``reserve_s`` is left when it turns for home; for
    ``lines_first_s`` it then takes return lines alone. ``charge_s`` fills an empty battery.
    """

    speed_m_s: float
    radius_m: float
    run_s: float
    reserve_s: float
    lines_first_s: float
    charge_s: float
    law: int


class Log(NamedTuple):
    """What a run writes down; arrays that it fills.

    Attributes
    ----------
    today, ever : array of shape (days,) of int64
        Points cut on each day, and those of them for the first time.
    searches_s, homes_s, left_s : array of shape (journeys,)
        From turning for home until home is found; until it is reached; what the battery held then.
    ends : array of shape (journeys,) of int64
        `BY_NONE`, `BY_LINE` or `BY_PERIMETER`.
    sums : array of shape (5,)
        Journeys, legs, metres driven mowing, slips (see `drive`), and the second at which
        ``enough`` points were cut, -1 for never.
    """

    today: IntArray
    ever: IntArray
    searches_s: FloatArray
    homes_s: FloatArray
    left_s: FloatArray
    ends: IntArray
    sums: FloatArray


JOURNEYS, LEGS, METRES, SLIPS, ENOUGH_S = range(5)
"""Places in `Log.sums`."""


@njit(cache=True, nogil=True)
def drive(  # noqa: C901, PLR0912, PLR0915, PLR0917 - compiled whole: one state, no calls
    ways: Ways,
    pace: Pace,
    chances: FloatArray,
    windows_s: FloatArray,
    marks: Marks,
    log: Log,
    state: State,
    enough: int,
) -> None:
    """Let a machine work for some days.

    Parameters
    ----------
    ways : Ways
    pace : Pace
    chances : array of shape (k,)
        Running sums of the departure shares, the last one 1.
    windows_s : array of shape (days,)
        How long it may be out on each day; after that it turns for home.
    marks : Marks
        Points cut; changed.
    log : Log
        Filled.
    state : array of shape (1,)
        Stream of random numbers; moved on.
    enough : int
        Where this many points are cut the run ends; 0 lets it run on.

    Notes
    -----
    It mows also while it looks for home; not on the way along a wire. A way that slips past a
    corner by rounding, so that it meets a wire from outside or none, is taken back: the machine
    goes on from the middle of the leg before, in a fresh direction. ``log.sums`` counts these.
    """
    reach_s = pace.run_s - pace.reserve_s
    elapsed_s, points = 0.0, 0
    log.sums[ENOUGH_S] = -1.0
    for day in range(len(windows_s)):
        clock_s, window_s = 0.0, windows_s[day]
        while clock_s < window_s:
            start = _chosen(chances, next_unit(state))
            x, y = ways.starts[start, 0], ways.starts[start, 1]
            used_s = ways.starts[start, 2] / pace.speed_m_s
            clock_s += used_s
            mow_s = min(max(min(reach_s - used_s, window_s - clock_s), 0.0), pace.run_s)
            dx, dy = _any_way(next_unit(state))
            out_s, search_s, home_m = 0.0, 0.0, 0.0
            end, in_a_row = -1, 0
            middle_x, middle_y, stands = x, y, -1
            while end < 0:
                wall, wall_m, on_m = first_met(ways.walls, x, y, dx, dy, stands, math.inf)
                if wall < 0 or _from_outside(ways.walls, wall, dx, dy):
                    log.sums[SLIPS] += 1
                    in_a_row += 1
                    if in_a_row > _MOST_SLIPS:
                        end, clock_s = BY_NONE, window_s
                    x, y, stands = middle_x, middle_y, -1
                    dx, dy = _any_way(next_unit(state))
                    continue
                leg_m, turns, in_a_row = wall_m, True, 0
                if out_s < mow_s:
                    left_m = (mow_s - out_s) * pace.speed_m_s
                    if left_m < wall_m:
                        leg_m, turns = left_m, False
                    out_s = mow_s if not turns else out_s + leg_m / pace.speed_m_s
                else:
                    line, line_m, line_on_m = first_met(ways.lines, x, y, dx, dy, -1, wall_m)
                    if line >= 0:
                        leg_m, turns, end = line_m, False, BY_LINE
                        home_m = ways.line_home_m[line] + line_on_m
                    search_s += leg_m / pace.speed_m_s
                    if turns and search_s >= pace.lines_first_s and ways.wall_home[wall, 0] >= 0.0:
                        end = BY_PERIMETER
                        home_m = ways.wall_home[wall, 0] + ways.wall_home[wall, 1] * on_m
                    elif end < 0 and search_s > pace.run_s:
                        end = BY_NONE
                today, ever = cut(marks, x, y, dx, dy, leg_m, pace.radius_m, day)
                log.today[day] += today
                log.ever[day] += ever
                points += ever
                log.sums[LEGS] += 1
                log.sums[METRES] += leg_m
                middle_x, middle_y = x + 0.5 * leg_m * dx, y + 0.5 * leg_m * dy
                x, y, stands = x + leg_m * dx, y + leg_m * dy, -1
                if 0 < enough <= points:
                    log.sums[ENOUGH_S] = elapsed_s + clock_s + out_s + search_s
                    return
                if turns:
                    stands = wall
                    normal_x = -ways.walls.lines[wall, 3]
                    normal_y = ways.walls.lines[wall, 2]
                    dx, dy = turned(pace.law, normal_x, normal_y, next_unit(state))
            home_s = search_s + home_m / pace.speed_m_s
            _note(log, search_s, home_s, pace.run_s - used_s - out_s, end)
            clock_s += out_s + home_s
            clock_s += pace.charge_s * min((used_s + out_s + home_s) / pace.run_s, 1.0)
        elapsed_s += clock_s


@njit(cache=True, nogil=True)
def _chosen(chances: FloatArray, unit: float) -> int:
    start = 0
    while start < len(chances) - 1 and unit >= chances[start]:
        start += 1
    return start


@njit(cache=True, nogil=True)
def _any_way(unit: float) -> tuple[float, float]:
    angle = 2.0 * math.pi * unit
    return math.cos(angle), math.sin(angle)


@njit(cache=True, nogil=True)
def _from_outside(walls: Pieces, wall: int, dx: float, dy: float) -> bool:
    """Return whether a way meets a piece from the side where no ground is."""
    return bool(dy * walls.lines[wall, 2] - dx * walls.lines[wall, 3] > 0.0)


@njit(cache=True, nogil=True)
def _note(log: Log, search_s: float, home_s: float, left_s: float, end: int) -> None:
    journey = int(log.sums[JOURNEYS])
    log.sums[JOURNEYS] += 1
    if journey < len(log.ends):
        log.searches_s[journey] = search_s
        log.homes_s[journey] = home_s
        log.left_s[journey] = left_s
        log.ends[journey] = end
