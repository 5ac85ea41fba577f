"""Return lines are a handful of legs and curves: on awkward gardens and on lots of a real raster.

The raster is the 1 m lidar elevation model in the PyPI package `lidar` (400 x 400, EPSG:26915); the
lots on it are invented.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import shapely
from shapely import LineString

from lawnplat.settings.load import load_machine
from lawnplat.wire.types import Layout
from lidar_lots import lot_plans

from .awkward import GARDENS
from .awkward_plans import drawn, turns_deg
from .planning import RULES

MACHINE = load_machine("medium")
LOTS = 10
ASIDE_M = 0.25  # a machine on its line is no steadier than this: common practice, no source
HAIR_DEG = 0.5
POINT_PCT = 1.0  # the figure that is asked for
# By hand: out of the station, two to four legs round a house or over a bank, the leg to the joint,
# and some of the chords that cut a long arc.
MOST_LEGS = 10
LEAST_MEAN_LEG_M = 1.5  # over the smallest leg: no staircase
LONG_LEG_M = 3.7  # a long line that winds over a bank may have more legs, if none but long ones


def legs_of(line: LineString) -> np.ndarray:
    """Return the lengths of a line's straight legs for one who looks no closer than 25 cm."""
    return np.hypot(*np.diff(line.simplify(ASIDE_M).coords, axis=0).T)


@cache
def on_real_ground() -> list[Layout]:
    return [plan.layout for plan in lot_plans(LOTS) if plan.layout is not None]


def assert_a_handful_of_legs(line: LineString) -> None:
    legs_m = legs_of(line)
    # A chord shorter than a leg may be is part of a bend's arc.
    legs = (legs_m >= RULES.return_line.smallest_leg_m).sum()
    assert legs <= MOST_LEGS or line.length / legs >= LONG_LEG_M
    assert line.length / len(legs_m) >= LEAST_MEAN_LEG_M


@pytest.mark.parametrize("name", GARDENS)
def test_on_awkward_gardens_lines_are_a_handful_of_legs(name: str) -> None:
    for line in drawn(name).lines:
        if line.length > 10.0:
            assert_a_handful_of_legs(line)
        assert turns_deg(line).max(initial=0.0) <= RULES.return_line.largest_bend_deg + HAIR_DEG


def test_on_real_ground_lines_are_a_handful_of_legs() -> None:
    layouts = on_real_ground()
    assert len(layouts) >= LOTS - 2
    for layout in layouts:
        for line in layout.return_lines:
            assert_a_handful_of_legs(line.line)


def test_on_real_ground_only_the_first_line_may_break_a_rule() -> None:
    further = [line for layout in on_real_ground() for line in layout.return_lines[1:]]
    assert len(further) >= 3
    for line in further:
        assert turns_deg(line.line).max() <= RULES.return_line.largest_bend_deg + HAIR_DEG
        assert line.steepest_pct <= MACHINE.slope_return_pct + POINT_PCT


def test_on_real_ground_what_a_first_line_breaks_is_said() -> None:
    for layout in on_real_ground():
        said = {finding.rule for finding in layout.findings}
        for line in layout.return_lines:
            sharp = turns_deg(line.line).max() > RULES.return_line.largest_bend_deg + HAIR_DEG
            steep = line.steepest_pct > MACHINE.slope_return_pct + POINT_PCT
            assert sharp <= ("return_line_bend" in said)
            assert steep <= ("return_line_gradient" in said)


@pytest.mark.parametrize("name", GARDENS)
def test_lines_cross_neither_each_other_nor_leads_nor_the_perimeter(name: str) -> None:
    found = drawn(name)
    leads = shapely.union_all(found.sections("lead_out", "lead_back"))
    for place, line in enumerate(found.lines):
        assert line.disjoint(leads)
        assert all(line.disjoint(other) for other in found.lines[:place])
        # It touches the perimeter at its two ends alone.
        middle = line.intersection(found.enclosed.buffer(-0.02))
        assert middle.length >= line.length - 0.15
        assert middle.disjoint(found.wire)


def test_a_staircase_would_be_told() -> None:
    # The way over a grid of eight directions, 25 cm steps by turns east and northeast, is near its
    # chord; one of metre steps is not.
    steps = np.array([(1, 0), (0, 1)] * 10)
    stairs = LineString(np.concatenate([[(0, 0)], np.cumsum(steps, axis=0)]))
    with pytest.raises(AssertionError):
        assert_a_handful_of_legs(stairs)
    assert stairs.length / len(legs_of(stairs)) < LEAST_MEAN_LEG_M
