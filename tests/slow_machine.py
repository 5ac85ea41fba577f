"""Plain, slow twins of the simulation's kernels: no buckets, no rows, no machine words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

WORD = 2**64 - 1


def words(seed: int) -> Iterator[int]:
    """Splitmix64 in whole numbers of any length."""
    while True:
        seed = (seed + 0x9E3779B97F4A7C15) & WORD
        word = ((seed ^ (seed >> 30)) * 0xBF58476D1CE4E5B9) & WORD
        word = ((word ^ (word >> 27)) * 0x94D049BB133111EB) & WORD
        yield word ^ (word >> 31)


def units(seed: int) -> Iterator[float]:
    return (math.ldexp(word >> 11, -53) for word in words(seed))


def turned(law, normal_x, normal_y, unit):
    across = 2.0 * unit - 1.0 if law == 0 else math.sin(math.pi * (unit - 0.5))
    ahead = math.sqrt(1.0 - across**2) if law == 0 else math.cos(math.pi * (unit - 0.5))
    return ahead * normal_x - across * normal_y, ahead * normal_y + across * normal_x


def first_met(  # noqa: PLR0917
    pieces: Sequence, x, y, dx, dy, skip=-1, farthest_m=math.inf
):
    """Every piece (x, y, unit direction, length) in turn."""
    best = (-1, farthest_m, 0.0)
    for number, (px, py, ux, uy, length) in enumerate(pieces):
        across = dx * uy - dy * ux
        if number == skip or across == 0.0:
            continue
        way = ((px - x) * uy - (py - y) * ux) / across
        along = ((px - x) * dy - (py - y) * dx) / across
        if 1e-9 < way < best[1] and -1e-9 <= along <= length + 1e-9:
            best = (number, way, along)
    return best


def cut(  # noqa: PLR0917
    frame, shape, x, y, dx, dy, way_m, radius_m
):
    """Every point in turn: whether it is within the radius of the way."""
    west, south, side = frame
    px = west + side * np.arange(shape[1])[np.newaxis, :] - x
    py = south + side * np.arange(shape[0])[:, np.newaxis] - y
    along = np.clip(px * dx + py * dy, 0.0, way_m)
    return (px - along * dx) ** 2 + (py - along * dy) ** 2 <= radius_m**2


def drive(  # noqa: C901
    ways, pace, shares, windows_s, seed
):
    """One run: its legs as (day, x, y, dx, dy, length), journeys as (search, home, left, end)."""
    walls, lines = ways.walls.lines.tolist(), ways.lines.lines.tolist()
    unit = units(seed)
    legs, journeys = [], []

    def any_way():
        angle = 2.0 * math.pi * next(unit)
        return math.cos(angle), math.sin(angle)

    for day, window in enumerate(windows_s):
        clock = 0.0
        while clock < window:
            choice, start = next(unit), 0
            while start < len(shares) - 1 and choice >= sum(shares[: start + 1]):
                start += 1
            x, y, out_m = ways.starts[start]
            used = out_m / pace.speed_m_s
            clock += used
            mow = max(min(pace.run_s - pace.reserve_s - used, window - clock), 0.0)
            dx, dy = any_way()
            out, search, stands, end = 0.0, 0.0, -1, None
            while end is None:
                wall, way, on = first_met(walls, x, y, dx, dy, stands)
                leg, stands = way, wall
                if out < mow:
                    if (mow - out) * pace.speed_m_s < way:
                        leg, stands = (mow - out) * pace.speed_m_s, -1
                        out = mow
                    else:
                        out += leg / pace.speed_m_s
                else:
                    line, line_way, line_on = first_met(lines, x, y, dx, dy, -1, way)
                    leg = line_way
                    search += leg / pace.speed_m_s
                    if line >= 0:
                        end, home, stands = 1, ways.line_home_m[line] + line_on, -1
                    elif search >= pace.lines_first_s and ways.wall_home[wall, 0] >= 0:
                        end = 2
                        home = ways.wall_home[wall, 0] + ways.wall_home[wall, 1] * on
                    elif search > pace.run_s:
                        end, home = 0, 0.0
                legs.append((day, x, y, dx, dy, leg))
                x, y = x + leg * dx, y + leg * dy
                if stands >= 0:
                    dx, dy = turned(pace.law, -walls[wall][3], walls[wall][2], next(unit))
            home_s = search + home / pace.speed_m_s
            journeys.append((search, home_s, pace.run_s - used - out, end))
            clock += out + home_s
            clock += pace.charge_s * min((used + out + home_s) / pace.run_s, 1.0)
    return legs, journeys
