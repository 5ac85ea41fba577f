"""How near the lawn lies to its return lines, against one straight line to the far edge.

Driving distances by skimage's MCP_Geometric on cells of 20 cm over what is mown: steps go in eight
directions, so distances come out up to 8.24 % long (1 / cos 22.5 deg, closed form), alike for all.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest
import shapely
from shapely import LineString, box
from skimage.graph import MCP_Geometric

from .awkward_plans import Drawn, drawn, turns_deg
from .planning import RULES

CELL_M = 0.2
OCTILE = 1 / np.cos(np.pi / 8)
GARDENS = ("L", "U", "courtyard")


def mean_and_far_m(found: Drawn, lines: Sequence[LineString]) -> tuple[float, float]:
    """Return mean and 95th percentile of the driving distance from mown ground to a line."""
    mown = found.all_of("mowable")
    west, south, east, north = mown.bounds
    x, y = np.meshgrid(np.arange(west, east, CELL_M), np.arange(south, north, CELL_M))
    free = shapely.contains_xy(mown, x, y)
    on_line = shapely.union_all(lines).intersection(mown.buffer(-CELL_M / 2))
    points = shapely.get_coordinates(shapely.segmentize(on_line, CELL_M / 2))
    column, row = np.unique(np.rint((points - (west, south)) / CELL_M).astype(int), axis=0).T
    on = free[row, column]
    starts = np.stack([row, column], axis=1)[on].tolist()
    assert len(starts) > 10
    costs = np.where(free, 1.0, np.inf)
    near_m, _ = MCP_Geometric(costs, sampling=(CELL_M, CELL_M)).find_costs(starts)
    found_m = near_m[free & np.isfinite(near_m)]
    assert len(found_m) > 0.99 * free.sum()
    return float(found_m.mean()), float(np.percentile(found_m, 95))


def straight(found: Drawn, aside_deg: float = 0.0) -> LineString:
    """Return the straight line from the station to where it meets the wire."""
    angle = np.radians(float(found.file["station"]["bearing_deg"].iloc[0]) + aside_deg)
    ahead = np.array([np.sin(angle), np.cos(angle)])
    start = np.array(found.station.coords[0]) + 0.05 * ahead
    inside = LineString([start, start + 100 * ahead]).intersection(found.enclosed)
    return min(shapely.get_parts(inside), key=found.station.distance)


def longest(found: Drawn) -> LineString:
    """Return the straight line from the station to the edge that is farthest off in sight."""
    return max((straight(found, aside) for aside in range(-85, 86)), key=lambda line: line.length)


@pytest.mark.parametrize("name", GARDENS)
@pytest.mark.parametrize("one_line", [straight, longest])
def test_the_lawn_lies_nearer_than_to_one_straight_line(
    name: str, one_line: Callable[[Drawn], LineString]
) -> None:
    found = drawn(name)
    mean_m, far_m = mean_and_far_m(found, found.lines)
    alone_m = mean_and_far_m(found, [one_line(found)])
    assert mean_m < alone_m[0]
    assert far_m < alone_m[1]


@pytest.mark.parametrize("name", GARDENS)
def test_mean_and_percentile_are_reported(name: str) -> None:
    found = drawn(name)
    layout = found.plan.layout
    assert layout is not None
    for count, line in enumerate(layout.return_lines, start=1):
        said = (line.lawn_mean_m, line.lawn_p95_m)
        for ours, theirs in zip(mean_and_far_m(found, found.lines[:count]), said, strict=True):
            # Eight directions make ours longer, a cell of 20 cm at the line either.
            assert theirs - CELL_M < ours < OCTILE * theirs + CELL_M


# Two lines in the L, drawn by hand: one into each arm.
EAST = LineString([(13.65, 1.71), (11.6, 1.71), (10.95, 2.8), (12.6, 6.34), (29.6, 8.7)])
NORTH = LineString([(13.65, 1.7), (10.3, 1.7), (9.5, 2.6), (4.0, 27.6)])


def test_in_the_l_a_second_line_has_room_and_pays() -> None:
    found = drawn("L")
    rules = RULES.return_line
    clear = found.enclosed.buffer(-rules.corridor_m)
    for line in (EAST, NORTH):
        assert turns_deg(line).max() < rules.largest_bend_deg
        assert line.length - line.intersection(clear).length < 4 * rules.corridor_m
    # Side by side out of the station, a corridor apart once they have parted.
    assert EAST.distance(NORTH) == pytest.approx(RULES.wire.pair_gap_m)
    assert LineString(EAST.coords[2:]).distance(NORTH) > rules.corridor_m
    one, both = (mean_and_far_m(found, lines) for lines in ([NORTH], [NORTH, EAST]))
    assert both[0] < (1 - rules.further_line_share) * one[0]


def test_in_the_l_a_line_leads_into_each_arm() -> None:
    lines = drawn("L").lines
    for arm in (box(0, 20, 12, 28), box(25, 0, 30, 10)):
        assert any(line.intersects(arm) for line in lines)
