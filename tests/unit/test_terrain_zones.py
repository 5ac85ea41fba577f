"""Slope zones: they tile the grid's box, lie where they should, and are smooth."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from lawnplat.settings.load import load_rule_book
from lawnplat.terrain.types import Grid
from lawnplat.terrain.zones import slope_zones

E, N = 500_000.0, 5_400_000.0
RULES = replace(
    load_rule_book().ground,
    gentle_slope_pct=15.0,
    smallest_steep_patch_m2=1.0,
    shape_tolerance_m=0.01,
)


def grid(rows, columns, cell_m=0.25):
    return Grid(E, N, cell_m, rows, columns)


def box(g):
    return shapely.box(
        g.west_m, g.north_m - g.rows * g.cell_m, g.west_m + g.columns * g.cell_m, g.north_m
    )


def by_name(drawn):
    return {zone.zone: zone for zone in drawn.zones}


def check_tiling(drawn, g):
    areas = [zone.area for zone in drawn.zones]
    assert all(area.is_valid for area in areas)
    whole = box(g)
    # Overlays keep coordinates to 1e-9 m at 5.4e6 m; along some 100 m of line that is 1e-7 m2.
    tolerance = 1e-6
    assert sum(area.area for area in areas) == pytest.approx(whole.area, abs=tolerance)
    assert shapely.union_all(areas).symmetric_difference(whole).area < tolerance
    for at, area in enumerate(areas):
        for other in areas[at + 1 :]:
            assert area.intersection(other).area < tolerance


def test_a_ramp_of_slope_is_cut_at_the_limits():
    # Slope grows by 2 % a metre eastward from 0 at the first centre (0.125 m): 15 % at 7.625 m,
    # 35 % at 17.625 m, by hand.
    g = grid(20, 100)
    slope = np.tile(np.arange(100) * 0.5, (20, 1))
    zones = by_name(slope_zones(slope, g, 35.0, RULES))
    check_tiling(slope_zones(slope, g, 35.0, RULES), g)
    height_m = 20 * 0.25
    assert zones["gentle"].area.area == pytest.approx(7.625 * height_m, abs=1e-6)
    assert zones["workable"].area.area == pytest.approx(10.0 * height_m, abs=1e-6)
    assert zones["too_steep"].area.area == pytest.approx((25 - 17.625) * height_m, abs=1e-6)
    assert [(z.from_pct, z.to_pct) for z in zones.values()] == [(0, 15), (15, 35), (35, math.inf)]
    # Straight lines are thinned to their ends.
    assert all(shapely.get_num_coordinates(zone.area) == 5 for zone in zones.values())


def test_a_cone_of_slope_is_cut_in_a_circle():
    g = grid(80, 80)
    x, y = np.meshgrid(*g.centres())
    slope = 5 * np.hypot(x - E - 10, y - N + 10)
    drawn = slope_zones(slope, g, 35.0, RULES)
    check_tiling(drawn, g)
    middle = shapely.Point(E + 10, N - 10)
    rim = by_name(drawn)["gentle"].area.geoms[0].exterior
    radii = np.hypot(*(np.array(rim.coords) - middle.coords[0]).T)
    # Linear interpolation across a cell of a cone: at most cell^2 / (8 r) inside the circle.
    assert radii.max() < 3.0 + 1e-6
    assert radii.min() > 3.0 - 0.25**2 / (8 * 3) * 2
    # Thinned by at most the tolerance: chords leave the circle by no more than that and the above.
    assert rim.hausdorff_distance(middle.buffer(3.0, quad_segs=200).exterior) < 0.02


def test_ground_at_the_limit_itself_is_not_over_it():
    g = grid(12, 12)
    noise = np.random.default_rng(0).normal(0, 1e-12, (12, 12))
    drawn = slope_zones(35.0 + noise, g, 35.0, RULES)
    assert [zone.zone for zone in drawn.zones] == ["workable"]
    assert [z.zone for z in slope_zones(35.001 + noise, g, 35.0, RULES).zones] == ["too_steep"]
    assert [z.zone for z in slope_zones(15.0 + noise, g, 35.0, RULES).zones] == ["gentle"]


@pytest.mark.parametrize("limit", [15.0, 10.0])
def test_a_limit_at_or_under_the_gentle_slope_leaves_nothing_workable(limit):
    g = grid(10, 100)
    slope = np.tile(np.arange(100) * 0.5, (10, 1))
    drawn = slope_zones(slope, g, limit, RULES)
    check_tiling(drawn, g)
    assert [(z.zone, z.from_pct, z.to_pct) for z in drawn.zones] == [
        ("gentle", 0.0, limit),
        ("too_steep", limit, math.inf),
    ]


def test_a_small_steep_patch_dissolves_and_is_handed_back():
    g = grid(80, 80)
    x, y = np.meshgrid(*g.centres())
    small, large = np.hypot(x - E - 4, y - N + 4), np.hypot(x - E - 13, y - N + 13)
    # Radii at 35 %: 0.5 m (0.79 m2) and 3 m (28.3 m2).
    slope = np.maximum(20 + 30 * (1 - small), 20 + 5 * (6 - large)).clip(16, 60)
    drawn = slope_zones(slope, g, 35.0, RULES)
    check_tiling(drawn, g)
    assert len(drawn.dissolved) == 1
    assert drawn.dissolved[0].area == pytest.approx(math.pi * 0.25, rel=0.1)
    steep = by_name(drawn)["too_steep"].area
    assert len(steep.geoms) == 1
    assert steep.area == pytest.approx(math.pi * 9, rel=0.01)


def test_a_small_gap_in_a_bank_closes():
    g = grid(40, 40)
    x, y = np.meshgrid(*g.centres())
    slope = np.where(np.hypot(x - E - 5, y - N + 5) < 0.4, 5.0, 50.0)
    drawn = slope_zones(slope, g, 35.0, RULES)
    check_tiling(drawn, g)
    assert [zone.zone for zone in drawn.zones] == ["too_steep"]


@settings(deadline=None, max_examples=60)
@given(
    seed=st.integers(0, 2**32 - 1),
    rows=st.integers(2, 40),
    columns=st.integers(2, 40),
    limit=st.floats(5, 60),
    levels=st.sampled_from([0, 5, 15]),
)
def test_any_slope_field_is_tiled(seed, rows, columns, limit, levels):
    slope = np.random.default_rng(seed).uniform(0, 70, (rows, columns))
    if levels:  # plateaus at the limits themselves are the awkward case for contours
        slope = np.round(slope / levels) * levels
    g = grid(rows, columns)
    check_tiling(slope_zones(slope, g, limit if not levels else 35.0, RULES), g)
