"""Heights, gradients and tilts asked of planes and of cells done by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import LineString, Point, Polygon, affinity, box

from lawnplat.terrain.gradient import horn
from lawnplat.terrain.sample import (
    along_pct,
    bilinear,
    gradient_at,
    height_at,
    plane_tilt_pct,
    plane_tilts_pct,
    slope_at,
)
from lawnplat.terrain.types import Grid, Terrain

E, N = 500_000.0, 5_400_000.0
# Coordinates of 5.4e6 m are kept to 1e-9 m, so heights on slopes under 100 % to about as much.
ROUNDING_M = 1e-8


def terrain(surface, rows=80, columns=100, cell_m=0.25):
    grid = Grid(E, N, cell_m, rows, columns)
    x, y = np.meshgrid(*grid.centres())
    z = surface(x - E, y - N)
    known = np.ones(z.shape, bool)
    return Terrain(grid, z, *horn(z, cell_m), known, (), "raster", cell_m)


LEAN = terrain(lambda x, y: 250 + 0.3 * x - 0.4 * y)


def test_between_four_cells_by_hand():
    values = np.array([[0.0, 4.0], [8.0, 16.0]])
    # Half way down, a quarter across: upper 1, lower 10.
    assert bilinear(values, np.array(0.5), np.array(0.25)) == 5.5
    # The outer half of a cell goes on straight; beyond it the value stays.
    assert bilinear(values, np.array(0.0), np.array(-0.5)) == -2.0
    assert bilinear(values, np.array(0.0), np.array(-9.0)) == -2.0
    assert bilinear(values, np.array(1.5), np.array(1.0)) == 22.0


def test_a_plane_is_exact_everywhere_in_the_box():
    rng = np.random.default_rng(5)
    x, y = E + rng.uniform(0, 25, (6, 4)), N - rng.uniform(0, 20, (6, 4))
    heights = height_at(LEAN, x, y)
    assert heights.shape == (6, 4)
    expected = 250 + 0.3 * (x - E) - 0.4 * (y - N)
    np.testing.assert_allclose(heights, expected, rtol=0, atol=ROUNDING_M)
    dz_dx, dz_dy = gradient_at(LEAN, x, y)
    # A difference over 0.5 m of heights kept to 1e-8 m or better.
    np.testing.assert_allclose(dz_dx, 0.3, rtol=0, atol=1e-7)
    np.testing.assert_allclose(dz_dy, -0.4, rtol=0, atol=1e-7)
    np.testing.assert_allclose(slope_at(LEAN, x, y), 50.0, rtol=0, atol=1e-5)


def test_gradient_along_a_line():
    # 3-4-5: eastward 30 %, southward 40 %, up the fall line 50 %, along the contour 0.
    at = (E + 10, N - 10)
    for (dx, dy), expected in {
        (4, 0): 30,
        (0, -4): 40,
        (3, -4): 50,
        (4, 3): 0,
        (-3, 4): -50,
    }.items():
        line = LineString([at, (at[0] + dx, at[1] + dy)])
        along = along_pct(LEAN, line, 0.5)
        assert len(along) == math.ceil(line.length / 0.5)
        np.testing.assert_allclose(along, expected, rtol=0, atol=1e-5)


def test_mean_gradient_times_length_is_the_climb():
    bowl = terrain(lambda x, y: 0.02 * (x**2 + y**2))
    line = LineString([(E + 2, N - 3), (E + 9, N - 4), (E + 12, N - 17)])
    for step_m in (0.3, 1.0, 100.0):
        along = along_pct(bowl, line, step_m)
        ends = height_at(bowl, np.array([E + 2, E + 12]), np.array([N - 3, N - 17]))
        assert along.mean() / 100 * line.length == pytest.approx(ends[1] - ends[0], abs=ROUNDING_M)


def test_a_line_without_length_has_no_gradient_and_no_step_is_refused():
    assert along_pct(LEAN, LineString(), 0.5).size == 0
    assert along_pct(LEAN, LineString([(E, N), (E, N)]), 0.5).size == 0
    with pytest.raises(ValueError, match="step_m"):
        along_pct(LEAN, LineString([(E, N), (E + 1, N)]), 0.0)


@pytest.mark.parametrize("turn", [0, 17, 45, 90])
@pytest.mark.parametrize("size", [(0.7, 0.46), (2.6, 0.8), (0.1, 0.1), (8, 6)])
def test_the_tilt_of_a_plane_is_its_slope(turn, size):
    place = affinity.rotate(box(E + 8, N - 9, E + 8 + size[0], N - 9 + size[1]), turn)
    assert plane_tilt_pct(LEAN, place) == pytest.approx(50.0, abs=1e-4)


def test_the_tilt_of_a_ridge_is_level_and_of_a_bank_its_fitted_plane():
    ridge = terrain(lambda x, y: -np.abs(x - 10) + 0 * y)
    # Symmetric about the ridge: the fitted plane is level. The square spans whole cells.
    assert plane_tilt_pct(ridge, box(E + 8, N - 10, E + 12, N - 8)) == pytest.approx(0, abs=1e-6)
    step = terrain(lambda x, y: np.where(x > 10, 1.0, 0.0) + 0 * y)
    # Least squares of a unit step in the middle of a width w: slope 3 / (2 w) as w is sampled ever
    # finer (integral of x over half of it, over w^3 / 12); 16 centres give 1 / (1 - 1/16^2) of it.
    expected = 100 * 1.5 / 4 / (1 - 1 / 256)
    assert plane_tilt_pct(step, box(E + 8, N - 10, E + 12, N - 8)) == pytest.approx(expected)


def test_many_polygons_at_once_equal_one_by_one():
    bowl = terrain(lambda x, y: 0.02 * (x**2 + y**2))
    rng = np.random.default_rng(9)
    shapes = [
        affinity.rotate(box(E + a, N - b, E + a + 1.5, N - b + 0.6), turn)
        for a, b, turn in rng.uniform([2, 2, 0], [20, 17, 180], (40, 3))
    ]
    together = plane_tilts_pct(bowl, shapes)
    one_by_one = [plane_tilt_pct(bowl, shape) for shape in shapes]
    np.testing.assert_allclose(together, one_by_one, rtol=1e-9)
    # The plane through a paraboloid over a rectangle has the gradient at its middle, 0.04 r.
    middles = np.array([shape.centroid.coords[0] for shape in shapes]) - (E, N)
    np.testing.assert_allclose(together, 4 * np.hypot(*middles.T), rtol=0.01)


def test_slivers_and_nothing():
    sliver = Polygon([(E + 5, N - 5), (E + 15, N - 5), (E + 15, N - 5 + 1e-7)])
    assert plane_tilt_pct(LEAN, sliver) == pytest.approx(50.0, abs=1e-4)
    hook = Point(E + 9, N - 9).buffer(3).boundary.buffer(0.02)
    assert plane_tilt_pct(LEAN, hook) == pytest.approx(50.0, abs=1e-4)
    assert plane_tilts_pct(LEAN, []).size == 0
    with pytest.raises(ValueError, match="empty"):
        plane_tilts_pct(LEAN, [Polygon()])
