"""Several return lines: how many, where they lead, and that they never meet."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon, box

from lawnplat.ground.build import build_ground
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.build import build_terrain
from lawnplat.wire.build import build_layout

RULES = load_rule_book()
LARGE = load_machine("large")  # three return lines

U = Polygon([(0, 0), (30, 0), (30, 25), (22, 25), (22, 8), (8, 8), (8, 25), (0, 25)])
U_THINGS = (
    Feature("building", box(8, 8, 22, 20), "house"),
    Feature("power_outlet", Point(15, 8), "outlet"),
)
# Two lawns joined by a neck of 1.6 m: 0.9 m between the wires.
NECK = Polygon(
    [(0, 0), (12, 0), (12, 12), (7.8, 12), (7.8, 18), (14, 18), (14, 30), (0, 30), (0, 18),
     (6.2, 18), (6.2, 12), (0, 12)]
)  # fmt: skip
NECK_THINGS = (
    Feature("building", box(3, -6, 9, 0), "house"),
    Feature("power_outlet", Point(6, 0), "outlet"),
)


def layout_of(parcel, things, machine=LARGE, rules=RULES):
    site = Site("1", "invented", "EPSG:25832", parcel, features=things)
    terrain = build_terrain(site, machine, rules, None)
    ground = build_ground(site, terrain, machine, rules)
    return build_layout(site, ground, terrain, machine, rules).layout


@pytest.fixture(scope="module")
def u_layout():
    return layout_of(U, U_THINGS)


def test_each_arm_of_a_u_has_a_line(u_layout):
    assert len(u_layout.return_lines) >= 2
    ends = [line.line.coords[-1] for line in u_layout.return_lines]
    assert any(x < 8 and y > 12 for x, y in ends)
    assert any(x > 22 and y > 12 for x, y in ends)


def test_lines_never_touch_each_other(u_layout):
    for one, other in combinations(u_layout.return_lines, 2):
        assert not shapely.intersects(one.line, other.line)


def test_they_leave_side_by_side_a_pair_gap_apart(u_layout):
    starts = [Point(line.line.coords[0]) for line in u_layout.return_lines]
    assert starts[0].distance(u_layout.station.point) == pytest.approx(0.0, abs=1e-9)
    for start in starts[1:]:
        # One or two gaps aside, as many as there are lines on that side.
        gaps = start.distance(starts[0]) / RULES.wire.pair_gap_m
        assert gaps == pytest.approx(round(gaps), abs=1e-6)
        assert 1 <= round(gaps) <= 2


def test_their_joints_keep_apart(u_layout):
    ends = [Point(line.line.coords[-1]) for line in u_layout.return_lines]
    for one, other in combinations(ends, 2):
        assert one.distance(other) >= RULES.return_line.joint_from_station_m - 1e-9


def test_every_further_line_brings_the_lawn_nearer_by_the_rules_share(u_layout):
    means = np.array([line.lawn_mean_m for line in u_layout.return_lines])
    share = RULES.return_line.further_line_share
    assert (means[1:] <= (1 - share) * means[:-1] + 1e-9).all()
    p95 = np.array([line.lawn_p95_m for line in u_layout.return_lines])
    assert (np.diff(p95) <= 1e-9).all()
    assert (p95 > means).all()


def test_no_more_lines_than_the_machine_takes():
    layout = layout_of(U, U_THINGS, machine=replace(LARGE, return_lines=1))
    assert len(layout.return_lines) == 1


def test_a_line_that_does_not_pay_is_left_out():
    line = replace(RULES.return_line, further_line_share=0.99)
    layout = layout_of(U, U_THINGS, rules=replace(RULES, return_line=line))
    assert len(layout.return_lines) == 1


def test_the_part_behind_a_passage_comes_first():
    layout = layout_of(NECK, NECK_THINGS, machine=load_machine("medium"))
    first = layout.return_lines[0].line
    beyond = shapely.intersection(first, box(0, 18, 14, 30))
    if shapely.get_y(layout.station.point) > 18:
        beyond = shapely.intersection(first, box(0, 0, 12, 12))
    assert beyond.length > 1.0
    # In the neck the line keeps to the middle: 0.9 m between the wires, x = 7.0 between the walls.
    neck = shapely.intersection(first, box(0, 13, 14, 17))
    x = shapely.get_coordinates(neck)[:, 0]
    assert np.abs(x - 7.0).max() <= 0.45 - RULES.return_line.corridor_m + 0.01


def test_the_same_garden_gives_the_same_lines(u_layout):
    again = layout_of(U, U_THINGS)
    assert [line.line.wkt for line in again.return_lines] == [
        line.line.wkt for line in u_layout.return_lines
    ]
