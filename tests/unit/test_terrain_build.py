"""The terrain of a site, from the best source there is, and what is said about it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Site
from lawnplat.terrain.build import build_terrain, choose_grid
from lawnplat.terrain.sample import height_at, slope_at
from lawnplat.terrain.types import ElevationWindow, Grid

E, N = 500_000.0, 5_400_000.0
RULES, MACHINE = load_rule_book(), load_machine("medium")
SITE = Site("1", "invented", "EPSG:32632", shapely.box(E, N, E + 30, N + 20))


def lean(x, y):
    return 250.0 + 0.3 * (x - E) - 0.1 * (y - N)


def window(site=SITE, surface=lean, source_cell_m=0.25, **more):
    grid = choose_grid(site, MACHINE, RULES, source_cell_m)
    z = surface(*np.meshgrid(*grid.centres()))
    return ElevationWindow(grid, z, source_cell_m, **more)


def rules_of(terrain):
    return {finding.rule: finding for finding in terrain.findings}


def inside(terrain, site=SITE):
    x, y = np.meshgrid(*terrain.grid.centres())
    return shapely.contains_xy(site.parcel, x, y)


def test_a_leaning_garden():
    terrain = build_terrain(SITE, MACHINE, RULES, window())
    assert (terrain.source, terrain.source_cell_m, terrain.findings) == ("raster", 0.25, ())
    assert terrain.known.all()
    # Heights of 250 m are kept to 3e-14 of themselves, a gradient over 0.5 m to 1e-10.
    np.testing.assert_allclose(terrain.dz_dx, 0.3, rtol=0, atol=1e-9)
    np.testing.assert_allclose(terrain.dz_dy, -0.1, rtol=0, atol=1e-9)
    # 31.6 % lies between the shipped 15 % and the medium class's 35 %.
    assert [zone.zone for zone in terrain.zones] == ["workable"]


def test_the_steeper_the_class_the_less_is_too_steep():
    bowl = window(surface=lambda x, y: 0.02 * ((x - E) ** 2 + (y - N) ** 2))
    areas = {}
    for name in ("small", "medium", "steep"):
        zones = build_terrain(SITE, load_machine(name), RULES, bowl).zones
        areas[name] = sum(zone.area.area for zone in zones if zone.zone == "too_steep")
    assert areas["small"] > areas["medium"] > areas["steep"] > 0
    # The bowl's slope is 4 % a metre from (E, N): 35 % at 8.75 m. A quarter disc and the margin
    # round it are not too steep; smoothing by s adds the same everywhere and shifts no slope.
    grid = bowl.grid
    west, south = E - grid.west_m, N - (grid.north_m - grid.rows * grid.cell_m)
    below = shapely.Point(0, 0).buffer(8.75, quad_segs=200) & shapely.box(-west, -south, 99, 99)
    whole = grid.rows * grid.columns * grid.cell_m**2
    assert areas["medium"] == pytest.approx(whole - below.area, rel=2e-3)


def test_level_ground_says_so():
    terrain = build_terrain(SITE, MACHINE, RULES, None)
    assert terrain.source == "level"
    assert not terrain.known.any()
    assert not terrain.dz_dx.any()
    assert not terrain.elevation_m.any()
    assert rules_of(terrain)["ground_taken_as_level"].severity == "note"
    (zone,) = terrain.zones
    assert zone.zone == "gentle"
    assert zone.area.covers(SITE.parcel)


def test_an_empty_window_falls_back_and_warns():
    nothing = window(surface=lambda x, _: np.full(x.shape, np.nan))
    terrain = build_terrain(SITE, MACHINE, RULES, nothing)
    assert terrain.source == "level"
    assert rules_of(terrain)["ground_taken_as_level"].severity == "warn"
    corners = [(E, N), (E + 30, N), (E + 30, N + 20), (E, N + 20)]
    surveyed = replace(SITE, spot_heights=np.array([[x, y, lean(x, y)] for x, y in corners]))
    terrain = build_terrain(surveyed, MACHINE, RULES, nothing)
    assert terrain.source == "spot_heights"
    assert "ground_taken_as_level" not in rules_of(terrain)


def test_heights_in_the_margin_alone_do_not_count():
    beside = window(surface=lambda x, y: np.where(x > E + 30.2, lean(x, y), np.nan))
    assert np.isfinite(beside.elevation_m).any()
    assert build_terrain(SITE, MACHINE, RULES, beside).source == "level"


def test_spot_heights_round_the_garden():
    places = [(E + x, N + y) for x in range(-5, 36, 5) for y in range(-5, 26, 5)]
    surveyed = replace(SITE, spot_heights=np.array([[x, y, lean(x, y)] for x, y in places]))
    terrain = build_terrain(surveyed, MACHINE, RULES, None)
    assert (terrain.source, terrain.findings) == ("spot_heights", ())
    np.testing.assert_allclose(terrain.dz_dx, 0.3, rtol=0, atol=1e-6)
    assert terrain.known.all()


def test_sparse_spot_heights_are_said_with_the_place():
    places = [(E - 5, N - 5), (E + 35, N - 5), (E + 35, N + 25), (E - 5, N + 25), (E + 15, N + 10)]
    surveyed = replace(SITE, spot_heights=np.array([[x, y, lean(x, y)] for x, y in places]))
    finding = rules_of(build_terrain(surveyed, MACHINE, RULES, None))["spot_heights_sparse"]
    # By hand: the middle of a short side is 15.0 m from the middle and 15.8 m from two corners;
    # 0.8 m along the side both are 15.03 m away, and nothing lies farther.
    assert finding.measured == pytest.approx(15.03, abs=0.2)
    assert finding.place.distance(shapely.MultiPoint(places)) == pytest.approx(finding.measured)


def test_spot_heights_in_the_middle_alone():
    places = [(E + 10, N + 5), (E + 20, N + 5), (E + 20, N + 15), (E + 10, N + 15)]
    surveyed = replace(SITE, spot_heights=np.array([[x, y, lean(x, y)] for x, y in places]))
    terrain = build_terrain(surveyed, MACHINE, RULES, None)
    finding = rules_of(terrain)["spot_heights_short"]
    # 10 m x 10 m of 600 m2 are surrounded.
    assert finding.measured == pytest.approx(100 * 500 / 600, abs=1)
    assert SITE.parcel.contains(finding.place)
    middle = slope_at(terrain, np.array([E + 15.0]), np.array([N + 10.0]))
    assert middle[0] == pytest.approx(100 * math.hypot(0.3, 0.1), abs=1e-5)


def test_a_raster_that_ends_on_the_property():
    cut = window(surface=lambda x, y: np.where(x > E + 24, np.nan, lean(x, y)))
    terrain = build_terrain(SITE, MACHINE, RULES, cut)
    finding = rules_of(terrain)["elevation_partly_missing"]
    assert (finding.severity, finding.measured) == ("warn", pytest.approx(20, abs=0.5))
    assert finding.place.x > E + 24
    assert np.isfinite(terrain.elevation_m).all()
    assert not terrain.known[:, -5:].any()
    # Up to the last known cell the slope is the ground's own, not that of ground that stops short.
    known = terrain.known & inside(terrain)
    np.testing.assert_allclose(terrain.dz_dx[known], 0.3, rtol=0, atol=1e-6)


def test_a_raster_clipped_to_the_parcel_keeps_its_slope_and_says_nothing():
    clipped = window(
        surface=lambda x, y: np.where(shapely.contains_xy(SITE.parcel, x, y), lean(x, y), np.nan)
    )
    terrain = build_terrain(SITE, MACHINE, RULES, clipped)
    assert terrain.findings == ()
    np.testing.assert_allclose(terrain.dz_dx[inside(terrain)], 0.3, rtol=0, atol=1e-6)
    np.testing.assert_allclose(terrain.dz_dy[inside(terrain)], -0.1, rtol=0, atol=1e-6)


def test_coarse_cells_and_steps_are_said():
    coarse = window(source_cell_m=5.0, height_step_m=1.0)
    found = rules_of(build_terrain(SITE, MACHINE, RULES, coarse))
    assert (found["elevation_coarse"].measured, found["elevation_coarse"].limit) == (5.0, 2.0)
    assert found["elevation_stepped"].measured == 1.0
    assert build_terrain(SITE, MACHINE, RULES, window(source_cell_m=2.0)).findings == ()


def test_spot_heights_beside_a_raster_are_set_aside_aloud():
    surveyed = replace(SITE, spot_heights=np.array([[E + 1, N + 1, 9.0], [E + 2, N + 2, 9.0]]))
    terrain = build_terrain(surveyed, MACHINE, RULES, window())
    finding = rules_of(terrain)["spot_heights_unused"]
    assert (finding.severity, finding.count) == ("note", 2)
    assert height_at(terrain, np.array([E + 1]), np.array([N + 1]))[0] > 200


def test_a_bump_is_dissolved_aloud():
    def bumped(x, y):
        # A molehill 0.5 m high: over 35 % even after smoothing, on well under 1 m2.
        return 0.5 * np.exp(-((x - E - 9) ** 2 + (y - N - 9) ** 2) / 0.18)

    terrain = build_terrain(SITE, MACHINE, RULES, window(surface=bumped))
    finding = rules_of(terrain)["steep_patches_dissolved"]
    assert finding.place.distance(shapely.Point(E + 9, N + 9)) < 1
    assert 0 < finding.measured < finding.limit
    assert "too_steep" not in {zone.zone for zone in terrain.zones}


@pytest.mark.parametrize("source_cell_m", [0.0, 1.0, 5.0])
def test_the_grid_covers_the_property_with_its_margin(source_cell_m):
    lawn = shapely.box(E + 25, N + 5, E + 34.1, N + 8)
    site = replace(SITE, lawns=(lawn,))
    grid = choose_grid(site, MACHINE, RULES, source_cell_m)
    sigma_m = max(0.5 * MACHINE.wheelbase_m, source_cell_m / math.sqrt(6))
    margin_m = 1.0 + 3 * sigma_m
    east = grid.west_m + grid.columns * grid.cell_m
    assert grid.cell_m == 0.25
    # The margin, one cell more for the 3x3 window, and up to a cell of rounding.
    assert margin_m + 0.25 <= E - grid.west_m < margin_m + 0.5
    assert margin_m + 0.25 <= east - (E + 34.1) < margin_m + 0.5
    assert grid.west_m % 0.25 == 0
    assert grid.north_m % 0.25 == 0


def test_a_large_site_takes_larger_cells():
    site = replace(SITE, parcel=shapely.box(E, N, E + 600, N + 400))
    grid = choose_grid(site, MACHINE, RULES)
    assert grid.cell_m == 0.8  # sqrt(603.2 x 403.2 / 400 000) = 0.780 rounded up to 0.05
    assert grid.rows * grid.columns <= RULES.terrain.largest_cells


def test_cells_too_wide_for_slopes_are_said():
    site = replace(SITE, parcel=shapely.box(E, N, E + 1500, N + 1500))
    finding = rules_of(build_terrain(site, MACHINE, RULES, window(site)))["terrain_cells_wide"]
    assert (finding.measured, finding.limit) == (2.4, 2.0)  # 1503.2 / sqrt(400 000) = 2.377


def test_fractions_of_cells():
    grid = Grid(E, N, 0.5, 4, 6)
    x, y = grid.centres()
    assert (x[0], y[0]) == (E + 0.25, N - 0.25)
    row, column = grid.fractional(np.array([E + 0.25, E + 3.0]), np.array([N - 0.25, N - 2.0]))
    assert (row.tolist(), column.tolist()) == ([0.0, 3.5], [0.0, 5.5])
