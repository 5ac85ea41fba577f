"""How long the simulated machine takes on 1000 m2: one run, and all runs of a proof.

Run by its own command: ``pytest tests/benchmarks --benchmark-enable``. Nothing is asserted about
time. The reference is the plain twin of the tests, on a hundredth of the time.
"""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Point, box

import slow_machine
from lawnplat.proving.simulation.runs import run_all
from lawnplat.proving.simulation.types import Departure
from simulated import arrays, world

GARDEN = box(0, 0, 40, 26) - Point(10, 18).buffer(2) - box(24, 14, 30, 18) - Point(33, 6).buffer(1)
LINES = ([(0, 0), (3, 3), (20, 20), (20, 26)], [(0, 0), (2, 3), (36, 12), (40, 12)])
DEPARTURES = (Departure(1, 15.0, 0.5), Departure(2, 20.0, 0.5))
DAYS, HOURS = 14, 10.0
WINDOWS_S = np.full(DAYS, HOURS * 3600.0)
SHARES = np.array([0.5, 0.5])


@pytest.mark.parametrize("runs", [1, 50])
def test_two_weeks(benchmark, runs):
    ways, pace, points = arrays(world(GARDEN, *LINES), DEPARTURES)
    done = benchmark(run_all, ways, pace, SHARES, WINDOWS_S, points, seed=(1,), runs=runs)
    assert len(done.sums) == runs
    assert (done.ends > 0).all()


def test_plain_twin_on_a_hundredth(benchmark):
    ways, pace, _ = arrays(world(GARDEN, *LINES), DEPARTURES)
    windows = np.array([DAYS * HOURS * 36.0])
    legs, _ = benchmark.pedantic(
        slow_machine.drive, (ways, pace, SHARES.tolist(), windows, 1), rounds=3
    )
    assert legs
