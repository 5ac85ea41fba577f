"""Many runs of one machine in one world, each with a stream of random numbers of its own."""

from __future__ import annotations

import math
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lawnplat.proving.simulation.coverage_kernel import Marks
from lawnplat.proving.simulation.drive_kernel import Log, Pace, Ways, drive
from lawnplat.proving.simulation.random_kernel import stream
from lawnplat.proving.simulation.ways import fresh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_LANES = 8
"""Runs share this many rasters, whatever the number of processors: whole numbers add up the same
in any order."""


@dataclass(frozen=True)
class Runs:
    """What came of all runs.

    Attributes
    ----------
    passes : array of shape (rows, columns) of int64
        Sums over all runs.
    today, ever : array of shape (runs, days)
        Points cut on each day, and those of them for the first time.
    searches_s, homes_s, left_s, ends : arrays of shape (journeys,)
        See `Log`; all runs' journeys one after the other.
    sums : array of shape (runs, 5)
        See `Log`.
    """

    passes: IntArray
    today: IntArray
    ever: IntArray
    searches_s: FloatArray
    homes_s: FloatArray
    left_s: FloatArray
    ends: IntArray
    sums: FloatArray


def run_all(
    ways: Ways,
    pace: Pace,
    shares: FloatArray,
    windows_s: FloatArray,
    points: Marks,
    *,
    seed: tuple[int, ...],
    runs: int,
    enough: int = 0,
) -> Runs:
    """Let the machine work ``runs`` times; run n depends on ``seed`` and n alone.

    Parameters
    ----------
    ways : Ways
    pace : Pace
    shares : array of shape (k,)
        Departure shares.
    windows_s : array of shape (days,)
        Seconds for which it may be out on each day.
    points : Marks
        Not changed.
    seed : tuple of int
        Names the stream; the run's number comes after it.
    runs : int
    enough : int
        See `drive`.
    """
    chances = np.cumsum(shares) / np.sum(shares)
    lanes = min(_LANES, runs)

    def lane(number: int) -> tuple[IntArray, list[Log]]:
        passes = np.zeros(points.mown.shape, dtype=np.int64)
        logs = []
        for run in range(number, runs, lanes):
            marks = fresh(points)._replace(passes=passes)
            log = _empty_log(windows_s, pace)
            drive(ways, pace, chances, windows_s, marks, log, stream(*seed, run), enough)
            logs.append(log)
        return passes, logs

    with ThreadPoolExecutor(min(lanes, os.cpu_count() or 1)) as threads:
        done = list(threads.map(lane, range(lanes)))
    logs = [done[run % lanes][1][run // lanes] for run in range(runs)]
    counts = [int(log.sums[0]) for log in logs]
    return Runs(
        passes=np.sum([passes for passes, _ in done], axis=0),
        today=np.array([log.today for log in logs]),
        ever=np.array([log.ever for log in logs]),
        searches_s=_gathered([log.searches_s for log in logs], counts),
        homes_s=_gathered([log.homes_s for log in logs], counts),
        left_s=_gathered([log.left_s for log in logs], counts),
        ends=np.concatenate([log.ends[:n] for log, n in zip(logs, counts, strict=True)]),
        sums=np.array([log.sums for log in logs]),
    )


def _empty_log(windows_s: FloatArray, pace: Pace) -> Log:
    days = len(windows_s)
    mow_s = pace.run_s - pace.reserve_s
    # Every journey but the last of a day uses what a battery holds over its reserve.
    journeys = sum(math.ceil(window_s / mow_s) + 1 for window_s in windows_s)
    return Log(
        today=np.zeros(days, dtype=np.int64),
        ever=np.zeros(days, dtype=np.int64),
        searches_s=np.zeros(journeys),
        homes_s=np.zeros(journeys),
        left_s=np.zeros(journeys),
        ends=np.zeros(journeys, dtype=np.int64),
        sums=np.zeros(5),
    )


def _gathered(each: list[FloatArray], counts: list[int]) -> FloatArray:
    return np.concatenate([values[:n] for values, n in zip(each, counts, strict=True)])
