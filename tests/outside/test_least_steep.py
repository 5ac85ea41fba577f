"""A far lawn that no way within the gradient limit leads to: the least steep way, and a word on it.

The reference is a minimax search of networkx (on a minimum spanning tree the path between two nodes
has the least worst edge of all paths, textbook) over a grid of its own, on the surface's formula.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import networkx as nx
import numpy as np
import pytest
import shapely
from shapely import LineString, box

from holds import PlanFile
from lawnplat.settings.load import load_machine, load_rule_book

from ..whole.planning import E, N, moved, planned, site_of, thing

RULES = load_rule_book()
LIMIT_PCT = load_machine("medium").slope_return_pct
POINT_PCT = 1.0  # the issue's own
CELL_M = 0.2
SOUTH, NORTH = box(0, 0, 12, 12), box(0, 20, 14, 32)
FOOT_Y, BROW_Y = 12.0, 20.0
NECKS = {"70 cm": box(6.0, 11.9, 7.4, 20.1), "150 cm": box(5.0, 11.9, 7.2, 20.1)}
SLOPES = (0.26, 0.32)


def rise(y: np.ndarray, slope: float) -> np.ndarray:
    """Return heights: level, a ramp over the neck's whole length, rounded at its ends, level."""
    x = np.linspace(-3, 35, 3801)
    steep = slope * np.clip(np.minimum(x - FOOT_Y, BROW_Y - x) / 1.0, 0.0, 1.0)
    return np.interp(y, x, np.concatenate([[0.0], np.cumsum((steep[1:] + steep[:-1]) / 2 * 0.01)]))


@cache
def plan_of(neck: str, slope: float) -> PlanFile:
    parcel = shapely.union_all([SOUTH, NECKS[neck], NORTH])
    sides = np.meshgrid(np.arange(-3, 17.1, 0.5), np.arange(-3, 35.1, 0.5))
    x, y = (side.ravel() for side in sides)
    heights = np.stack([x + E, y + N, 100 + rise(y, slope)], axis=1)
    things = [thing("building", box(3, -6, 9, 0)), thing("power_outlet", shapely.Point(6, 0))]
    site = site_of(moved(parcel), things, spot_heights=heights, name="ramp")
    with TemporaryDirectory() as folder:
        _, file, broken = planned(site, Path(folder))
    assert broken == []
    return file


def metres_pct(line: LineString, slope: float) -> float:
    """Return the steepest metre of a line, from the formula."""
    begins = np.arange(0.0, line.length - 1.0, 0.05)
    first, last = (
        rise(shapely.get_coordinates(line.interpolate(begins + off))[:, 1] - N, slope)
        for off in (0.0, 1.0)
    )
    return float(100 * np.abs(last - first).max())


def least_steepest_pct(file: PlanFile, slope: float) -> float:
    """Return the least steepest move from the near lawn to the far one, a corridor off the wire."""
    free = file.enclosed.buffer(-RULES.return_line.corridor_m + 1e-3)
    # A column of cells in the very middle of the neck, be it ever so narrow.
    west, south, east, north = free.bounds
    middle = free.intersection(moved(LineString([(0, 16), (14, 16)]))).centroid.x
    columns = middle + CELL_M * np.arange(-40, 41)
    x, y = np.meshgrid(columns[(columns > west) & (columns < east)], np.arange(south, north, CELL_M))
    inside = shapely.contains_xy(free, x, y)
    network = nx.Graph()
    for up, right in [(u, r) for u in range(4) for r in range(-3, 4) if (u, r) > (0, 0)]:
        for row, column in zip(*np.nonzero(inside), strict=True):
            to = (row + up, column + right)
            if 0 <= to[0] < len(x) and 0 <= to[1] < x.shape[1] and inside[to]:
                ends = [(x[row, column], y[row, column]), (x[to], y[to])]
                levels = rise(np.array([ends[0][1], ends[1][1]]) - N, slope)
                size = CELL_M * np.hypot(up, right)
                network.add_edge((row, column), to, weight=abs(np.diff(levels)[0]) / size)
    tree = nx.minimum_spanning_tree(network)
    nodes = sorted(network.nodes)
    way = nx.shortest_path(tree, nodes[0], nodes[-1])
    return 100 * max(tree.edges[edge]["weight"] for edge in nx.utils.pairwise(way))


@pytest.mark.parametrize("slope", SLOPES)
@pytest.mark.parametrize("neck", NECKS)
def test_the_steepest_metre_is_within_a_point_of_the_least_possible(
    neck: str, slope: float
) -> None:
    file = plan_of(neck, slope)
    far = [line for line in file["return_lines"].geometry if line.intersects(moved(NORTH))]
    assert len(far) == 1
    least_pct = max(least_steepest_pct(file, slope), LIMIT_PCT)
    assert metres_pct(far[0], slope) <= least_pct + POINT_PCT


@pytest.mark.parametrize("slope", SLOPES)
def test_up_the_narrow_ramp_the_plan_says_where_it_is_steep(slope: float) -> None:
    file = plan_of("70 cm", slope)
    assert least_steepest_pct(file, slope) == pytest.approx(100 * slope, abs=POINT_PCT)
    said = file["advisories"]
    said = said[said["rule"] == "return_line_gradient"]
    assert len(said) == 1
    assert said["measured"].iloc[0] == pytest.approx(100 * slope, abs=POINT_PCT)
    assert said["limit"].iloc[0] == LIMIT_PCT
    assert FOOT_Y < said.geometry.iloc[0].y - N < BROW_Y


@pytest.mark.parametrize("slope", SLOPES)
def test_the_first_line_keeps_the_limit_on_the_near_lawn(slope: float) -> None:
    first = plan_of("70 cm", slope)["return_lines"].sort_values("line_no").iloc[0]
    assert first["steepest_pct"] <= LIMIT_PCT
