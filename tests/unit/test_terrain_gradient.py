"""Gradient and smoothing on windows done by hand and on surfaces with a known gradient."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lawnplat.terrain.gradient import horn, slope_pct
from lawnplat.terrain.scale import smoothing_reach_m, smoothing_sigma_m
from lawnplat.terrain.smoothing import smooth

# A plane's heights are of the order of 100 m, so a difference over a cell of 0.25 m carries
# rounding of about 100 * 2**-52 / 0.25 = 1e-13; 1e-10 leaves room for sums of some dozen of them.
ROUNDING = 1e-10


def plane(dz_dx, dz_dy, cell_m, rows=9, columns=12):
    """Heights of a plane; row 0 lies in the north, so northing falls as the row grows."""
    row, column = np.indices((rows, columns))
    return 100.0 + dz_dx * column * cell_m - dz_dy * row * cell_m


def plain_horn(z, cell_m):
    """The slow twin: every 3x3 window by itself, missing neighbours in a straight line."""
    rows, columns = z.shape

    def at(row, column):
        if row < 0:
            return 2 * at(0, column) - at(-row, column)
        if row >= rows:
            return 2 * at(rows - 1, column) - at(2 * rows - 2 - row, column)
        if column < 0:
            return 2 * at(row, 0) - at(row, -column)
        if column >= columns:
            return 2 * at(row, columns - 1) - at(row, 2 * columns - 2 - column)
        return z[row, column]

    weights = (1, 2, 1)
    dz_dx, dz_dy = np.empty_like(z), np.empty_like(z)
    for row in range(rows):
        for column in range(columns):
            east = sum(
                w * at(row + k, column + 1) for k, w in zip((-1, 0, 1), weights, strict=True)
            )
            west = sum(
                w * at(row + k, column - 1) for k, w in zip((-1, 0, 1), weights, strict=True)
            )
            north = sum(
                w * at(row - 1, column + k) for k, w in zip((-1, 0, 1), weights, strict=True)
            )
            south = sum(
                w * at(row + 1, column + k) for k, w in zip((-1, 0, 1), weights, strict=True)
            )
            dz_dx[row, column] = (east - west) / (8 * cell_m)
            dz_dy[row, column] = (north - south) / (8 * cell_m)
    return dz_dx, dz_dy


def test_a_window_by_hand():
    # East column 1+2*4+9 = 18 less west column 0+2*2+5 = 9, over 8 cells of 0.5 m: 9/4.
    # North row 0+2*3+1 = 7 less south row 5+2*6+9 = 26: -19/4.
    window = np.array([[0.0, 3, 1], [2, 7, 4], [5, 6, 9]])
    dz_dx, dz_dy = horn(window, 0.5)
    assert dz_dx[1, 1] == 9 / 4
    assert dz_dy[1, 1] == -19 / 4


def test_border_cells_by_hand():
    # West of the first column stands 2*z0 - z1: rows -1, 1, -2... so the difference across the
    # border cell is twice that of the cell and its only neighbour.
    two = np.array([[0.0, 1.0], [0.0, 3.0]])
    dz_dx, _ = horn(two, 1.0)
    # Rows weigh 1-2-1; above row 0 the steps are 2*1 - 3 = -1, then 1, then 3.
    assert dz_dx[0].tolist() == [(2 * -1 + 4 * 1 + 2 * 3) / 8] * 2


def test_equals_its_slow_twin():
    z = np.random.default_rng(1).normal(100.0, 1.0, (7, 6))
    for fast, slow in zip(horn(z, 0.25), plain_horn(z, 0.25), strict=True):
        np.testing.assert_allclose(fast, slow, rtol=0, atol=ROUNDING)


@pytest.mark.parametrize("cell_m", [0.1, 0.25, 1.0])
@pytest.mark.parametrize(("dz_dx", "dz_dy"), [(0.3, 0.0), (0.0, -0.2), (0.12, 0.35), (0, 0)])
def test_a_plane_is_exact_up_to_the_border(dz_dx, dz_dy, cell_m):
    east, north = horn(plane(dz_dx, dz_dy, cell_m), cell_m)
    np.testing.assert_allclose(east, dz_dx, rtol=0, atol=ROUNDING)
    np.testing.assert_allclose(north, dz_dy, rtol=0, atol=ROUNDING)
    # A plane z = ax + by has slope 100 sqrt(a^2 + b^2) % everywhere (arithmetic).
    expected = 100 * math.sqrt(dz_dx**2 + dz_dy**2)
    np.testing.assert_allclose(slope_pct(east, north), expected, rtol=0, atol=100 * ROUNDING)


def test_a_cone_has_its_slope_off_the_apex():
    cell_m, slope = 0.25, 0.3
    y, x = np.mgrid[10:-10.25:-cell_m, -10:10.25:cell_m]
    radius = np.hypot(x, y)
    dz_dx, dz_dy = horn(100 - slope * radius, cell_m)
    away = (radius > 4) & (np.abs(x) < 9.5) & (np.abs(y) < 9.5)
    # The third derivatives of a cone of slope s are at most about s/r^2; a central difference
    # errs by cell^2/6 of them across and Horn's cross average by cell^2/4 more.
    bound = 100 * slope * cell_m**2 * (1 / 6 + 1 / 4) / 4**2
    assert np.abs(slope_pct(dz_dx, dz_dy)[away] - 100 * slope).max() < bound
    # Downhill points away from the apex: east of it the ground falls eastward.
    east = np.argmin(np.abs(x[0] - 5)), np.argmin(np.abs(y[:, 0]))
    assert dz_dx[east[1], east[0]] == pytest.approx(-slope, abs=1e-3)


@pytest.mark.parametrize("sigma_m", [0.0, 0.15, 0.4, 3.0])
def test_smoothing_leaves_planes_unchanged(sigma_m):
    z = plane(0.3, -0.1, 0.25)
    np.testing.assert_allclose(smooth(z, sigma_m, 0.25), z, rtol=0, atol=ROUNDING)


def test_smoothing_takes_away_waves_shorter_than_the_wheelbase():
    # A Gaussian of sigma s leaves exp(-2 (pi s / w)^2) of a wave w long (Fourier transform of a
    # Gaussian). The sum over cells and the cut at 3 sigma change that by under 0.5 %.
    wheelbase_m, cell_m = 0.8, 0.1
    sigma_m = smoothing_sigma_m(wheelbase_m, 0.5)
    x = np.arange(400) * cell_m
    for length_m in (wheelbase_m, 2 * wheelbase_m, 4 * wheelbase_m):
        wave = np.tile(np.sin(2 * math.pi * x / length_m), (60, 1))
        left = smooth(wave, sigma_m, cell_m)[30, 50:-50].max() / wave[30, 50:-50].max()
        expected = math.exp(-2 * (math.pi * sigma_m / length_m) ** 2)
        assert left == pytest.approx(expected, abs=0.005)


def test_the_larger_cause_sets_the_smoothing():
    assert smoothing_sigma_m(0.4, 0.5) == 0.2
    assert smoothing_sigma_m(0.4, 0.5, source_cell_m=0.25) == 0.2
    # 1 m cells: a triangle one cell to each side has a variance of 1/6 (arithmetic).
    assert smoothing_sigma_m(0.4, 0.5, source_cell_m=1.0) == pytest.approx(math.sqrt(1 / 6))
    assert smoothing_reach_m(0.2) == pytest.approx(0.6)


def test_smoothing_melts_the_facets_of_a_coarse_raster():
    # A bowl z = k r^2 / 2 has the gradient k x. Drawn linearly between 1 m cells it jumps by k at
    # each of them, so a fine grid's gradient is off by k/2 there, less k times the fine cell that a
    # central difference reaches over the break.
    cell_m, bend = 0.125, 0.1
    coarse = np.arange(-10, 11.0)
    x = np.arange(-8, 8 + cell_m, cell_m)
    profile = np.interp(x, coarse, bend * coarse**2 / 2)
    z = np.tile(profile, (len(x), 1))
    inner = np.abs(x) < 5
    rough = horn(z, cell_m)[0][60, inner] - bend * x[inner]
    even = horn(smooth(z, smoothing_sigma_m(0.4, 0.5, 1.0), cell_m), cell_m)[0][60, inner]
    assert np.abs(rough).max() == pytest.approx((0.5 - cell_m) * bend)
    # What is left: the second harmonic of a unit staircase, 1/pi, under exp(-2 (pi s)^2) = 0.037.
    assert np.abs(even - bend * x[inner]).max() < bend / math.pi * 0.037 * 1.2


@pytest.mark.parametrize("bad", [np.full((3, 3), np.nan), np.zeros((1, 5)), np.zeros(4)])
def test_gaps_and_single_rows_are_refused(bad):
    with pytest.raises(ValueError, match="heights"):
        horn(bad, 1.0)
    with pytest.raises(ValueError, match="heights"):
        smooth(bad, 1.0, 1.0)
