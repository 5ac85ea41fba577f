"""Slope against published examples and reference programs, on paper and on real ground.

The real ground is the 1 m lidar raster ``data/dem.tif`` of the PyPI package ``lidar`` (MIT,
EPSG:26915). The package is found, not imported: importing it reaches for the network.
"""

from __future__ import annotations

import importlib.util
import math
import shutil
import subprocess
import warnings
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely

from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Site
from lawnplat.terrain.build import build_terrain
from lawnplat.terrain.gradient import horn, slope_pct
from lawnplat.terrain.reader import ElevationRaster
from lawnplat.terrain.sample import slope_at

# The real heights, 380 to 411 m, are 32-bit floats. The programs that take them as such keep their
# sums of eight to about 1e-4 m, over 8 cells of 1 m: some 0.002 %. A different formula or one
# swapped weight differs by whole percents.
FLOAT32_PCT = 0.005


@pytest.fixture(scope="module")
def dem():
    spec = importlib.util.find_spec("lidar")
    if spec is None or spec.origin is None:
        pytest.skip("the package 'lidar' that holds the real raster is not installed")
    return Path(spec.origin).parent / "data" / "dem.tif"


@pytest.fixture(scope="module")
def heights(dem):
    with rasterio.open(dem) as raster:
        return raster.read(1).astype(float)


def test_the_worked_example_of_horns_formula():
    # Window and answers of a GIS vendor's worked example, as kept in our table of check values:
    # dz/dx 0.05, dz/dy -3.8 with rows counted downward, 75.257658 degrees, 380.0329 %.
    window = np.array([[50.0, 45, 50], [30, 30, 30], [8, 10, 10]])
    dz_dx, dz_dy = horn(window, 5.0)
    assert dz_dx[1, 1] == pytest.approx(0.05, abs=1e-12)
    assert dz_dy[1, 1] == pytest.approx(3.8, abs=1e-12)  # ours counts northward
    slope = slope_pct(dz_dx, dz_dy)[1, 1]
    assert slope == pytest.approx(380.0329, abs=5e-5)  # the digits given
    assert math.degrees(math.atan(slope / 100)) == pytest.approx(75.257658, abs=5e-7)
    # Zevenbergen & Thorne (Earth Surf. Process. Landf. 12:47-56, 1987) give 350 % on the same
    # window: the formulas are told apart.
    assert abs(slope - 350) > 29


def test_the_postgis_manual_example():
    # PostGIS manual, ST_Slope, cell 1. There a missing neighbour takes the centre's value, here it
    # goes on straight: the heights get a rim by their rule before ours sees them.
    rows = ["11111", "12221", "12321", "12221", "11111"]
    z = np.array([[float(digit) for digit in row] for row in rows])
    degrees = np.empty((5, 5))
    for row in range(5):
        for column in range(5):
            window = np.full((3, 3), z[row, column])
            for at in np.ndindex(3, 3):
                y, x = row + at[0] - 1, column + at[1] - 1
                if 0 <= y < 5 and 0 <= x < 5:
                    window[at] = z[y, x]
            degrees[row, column] = math.degrees(
                math.atan(slope_pct(*horn(window, 1.0))[1, 1] / 100)
            )
    first = [10.0249881744, 21.5681285858, 26.5650520325, 21.5681285858, 10.0249881744]
    # The manual's digits come from 32-bit floats: 4e-6 of 27 degrees.
    np.testing.assert_allclose(degrees[0], first, rtol=0, atol=2e-6)
    second = [21.5681285858, 35.2643890381, 36.8698959351, 35.2643890381, 21.5681285858]
    np.testing.assert_allclose(degrees[1], second, rtol=0, atol=4e-6)
    assert degrees[2, 2] == 0


@pytest.mark.parametrize(
    # Percent and degrees: 100 tan, to the four digits of the table of check values.
    ("percent", "degrees"),
    [(10, 5.7106), (15, 8.5308), (20, 11.3099), (25, 14.0362), (35, 19.2900), (45, 24.2277),
     (36.397, 20.0)],
)  # fmt: skip
def test_a_plane_of_so_many_degrees_has_so_many_percent(percent, degrees):
    run = np.arange(5) * 0.25
    rise = np.tile(math.tan(math.radians(degrees)) * run, (5, 1))
    slope = slope_pct(*horn(rise, 0.25))
    # Half a digit in the fourth place of the degrees is 0.0001 %.
    np.testing.assert_allclose(slope, percent, rtol=0, atol=2e-4)


def test_gdaldem_on_real_ground(dem, heights, tmp_path):
    program = shutil.which("gdaldem")
    if program is None:
        pytest.skip("gdaldem (Debian package gdal-bin) is not installed")
    out = tmp_path / "slope.tif"
    subprocess.run([program, "slope", "-p", str(dem), str(out), "-q"], check=True)
    with rasterio.open(out) as raster:
        theirs = raster.read(1).astype(float)
    difference = (slope_pct(*horn(heights, 1.0)) - theirs)[1:-1, 1:-1]
    assert difference.min() > -FLOAT32_PCT
    assert difference.max() < FLOAT32_PCT
    assert theirs[1:-1, 1:-1].max() > 50  # the ground is not level: the test can fail


def test_gdaldem_with_computed_edges(dem, heights, tmp_path):
    program = shutil.which("gdaldem")
    if program is None:
        pytest.skip("gdaldem (Debian package gdal-bin) is not installed")
    out = tmp_path / "slope.tif"
    subprocess.run([program, "slope", "-p", "-compute_edges", str(dem), str(out), "-q"], check=True)
    with rasterio.open(out) as raster:
        theirs = raster.read(1).astype(float)
    # gdaldem too goes on straight beyond the border, but for the corners.
    difference = slope_pct(*horn(heights, 1.0)) - theirs
    difference[[0, 0, -1, -1], [0, -1, 0, -1]] = 0
    assert difference.min() > -FLOAT32_PCT
    assert difference.max() < FLOAT32_PCT


def test_xarray_spatial_on_real_ground(heights):
    xarray = pytest.importorskip("xarray")
    with warnings.catch_warnings():
        # The reference warns about optional parts of its own (a GPU, a deprecated call) on import.
        warnings.simplefilter("ignore")
        xrspatial = pytest.importorskip("xrspatial")
        axes = {"y": np.arange(400)[::-1] + 0.5, "x": np.arange(400) + 0.5}
        grid = xarray.DataArray(heights, coords=axes, dims=("y", "x"), attrs={"res": (1.0, 1.0)})
        degrees = np.asarray(xrspatial.slope(grid).data, float)
    ours = np.degrees(np.arctan(slope_pct(*horn(heights, 1.0)) / 100))
    difference = (ours - degrees)[1:-1, 1:-1]
    # Heights as 32-bit floats again; a percent is at most 0.573 degrees.
    assert difference.min() > -FLOAT32_PCT * 0.573
    assert difference.max() < FLOAT32_PCT * 0.573


def test_smoothed_ground_leans_as_the_raster_does(dem, heights):
    """The room as a whole, smoothed to the wheelbase, against the raster's own slope."""
    rules, machine = load_rule_book(), load_machine("medium")
    with rasterio.open(dem) as raster:
        middle = (np.add(raster.bounds[:2], raster.bounds[2:]) / 2).tolist()
    lot = shapely.Point(middle).buffer(20, cap_style="square")
    site = Site("1", "drawn on real ground", "EPSG:26915", lot)
    with ElevationRaster(dem) as raster:
        terrain = build_terrain(site, machine, rules, raster.window(site, machine, rules))
    x, y = np.meshgrid(middle[0] + np.arange(-19.5, 20), middle[1] - np.arange(-19.5, 20))
    # Horn on 1 m cells blurs by a standard deviation of about 0.7 m (differences over 2 m, a cross
    # average of 1-2-1), the room by about 0.6 m (linear interpolation and a Gaussian of 0.41 m): at
    # the cells' centres they differ by a fraction of a percent where bumps are sharpest, and in the
    # mean not at all.
    difference = slope_at(terrain, x, y) - slope_pct(*horn(heights, 1.0))[180:220, 180:220]
    assert abs(difference.mean()) < 0.05
    assert difference.std() < 0.3
    assert -1.5 < difference.min() < difference.max() < 1.5
    assert terrain.known.all()
    areas = [zone.area.area for zone in terrain.zones]
    assert sum(areas) == pytest.approx(terrain.grid.rows * terrain.grid.columns / 16, abs=1e-6)
