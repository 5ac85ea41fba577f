"""How long the terrain room takes, beside reference programs on the same ground.

Run by its own command: ``pytest tests/benchmarks --benchmark-enable``. Nothing is asserted about
time; short timings drift up to twice between runs, so read the ratios.
"""

from __future__ import annotations

import importlib.util
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
from lawnplat.terrain.build import build_terrain, choose_grid
from lawnplat.terrain.gradient import horn, slope_pct
from lawnplat.terrain.reader import ElevationRaster
from lawnplat.terrain.sample import plane_tilts_pct

SIDES_M = {"garden": 32.0, "site": 200.0}
"""1024 m2 and 4 ha."""


@pytest.fixture(scope="module")
def dem():
    spec = importlib.util.find_spec("lidar")
    if spec is None or spec.origin is None:
        pytest.skip("the package 'lidar' that holds the real raster is not installed")
    return Path(spec.origin).parent / "data" / "dem.tif"


@pytest.fixture(scope="module")
def settings():
    return load_machine("medium"), load_rule_book()


@pytest.fixture(scope="module")
def raster(dem):
    with ElevationRaster(dem) as opened:
        yield opened


def lot(dem, side_m):
    with rasterio.open(dem) as raster:
        middle = (np.add(raster.bounds[:2], raster.bounds[2:]) / 2).tolist()
    square = shapely.Point(middle).buffer(side_m / 2, cap_style="square")
    return Site("1", "drawn on real ground", "EPSG:26915", square)


@pytest.fixture(params=SIDES_M)
def site(request, dem):
    return lot(dem, SIDES_M[request.param])


@pytest.mark.benchmark(group="terrain")
def test_window(benchmark, site, raster, settings):
    window = benchmark(raster.window, site, *settings)
    assert np.isfinite(window.elevation_m).all()


@pytest.mark.benchmark(group="terrain")
def test_build(benchmark, site, raster, settings):
    terrain = benchmark(build_terrain, site, *settings, raster.window(site, *settings))
    assert terrain.source == "raster"


@pytest.mark.benchmark(group="terrain")
def test_build_from_spot_heights(benchmark, site, settings):
    west, south, east, north = site.parcel.bounds
    places = np.random.default_rng(1).uniform([west, south, 90], [east, north, 95], (200, 3))
    surveyed = Site("1", "invented heights", site.crs, site.parcel, spot_heights=places)
    assert benchmark(build_terrain, surveyed, *settings, None).source == "spot_heights"


@pytest.mark.benchmark(group="tilt")
def test_tilts_of_400_station_places(benchmark, dem, raster, settings):
    garden = lot(dem, SIDES_M["garden"])
    terrain = build_terrain(garden, *settings, raster.window(garden, *settings))
    west, south = garden.parcel.bounds[:2]
    places = np.random.default_rng(2).uniform([0, 0, 0], [28, 28, 360], (400, 3))
    shapes = [
        shapely.affinity.rotate(
            shapely.box(west + x, south + y, west + x + 2.7, south + y + 0.8), a
        )
        for x, y, a in places
    ]
    assert len(benchmark(plane_tilts_pct, terrain, shapes)) == 400


@pytest.fixture(scope="module")
def site_heights(dem, raster, settings):
    place = lot(dem, SIDES_M["site"])
    grid = choose_grid(place, *settings, raster.source_cell_m(place))
    return raster.read(place, grid).elevation_m, grid.cell_m


@pytest.mark.benchmark(group="slope of 4 ha")
def test_horn(benchmark, site_heights):
    z, cell_m = site_heights
    assert benchmark(lambda: slope_pct(*horn(z, cell_m))).shape == z.shape


@pytest.mark.benchmark(group="slope of 4 ha")
def test_horn_by_gdaldem_as_a_whole_process(benchmark, site_heights, tmp_path):
    program = shutil.which("gdaldem")
    if program is None:
        pytest.skip("gdaldem (Debian package gdal-bin) is not installed")
    z, cell_m = site_heights
    source, out = tmp_path / "z.tif", tmp_path / "slope.tif"
    place = rasterio.Affine(cell_m, 0, 0, 0, -cell_m, 0)
    profile = {"height": z.shape[0], "width": z.shape[1], "count": 1, "dtype": "float32"}
    with rasterio.open(
        source, "w", driver="GTiff", crs="EPSG:26915", transform=place, **profile
    ) as f:
        f.write(z.astype("float32"), 1)
    benchmark(subprocess.run, [program, "slope", "-p", str(source), str(out), "-q"], check=True)
    assert out.exists()


@pytest.mark.benchmark(group="slope of 4 ha")
def test_horn_by_xarray_spatial(benchmark, site_heights):
    xarray = pytest.importorskip("xarray")
    z, cell_m = site_heights
    with warnings.catch_warnings():
        # The reference warns about optional parts of its own (a GPU, a deprecated call) on import.
        warnings.simplefilter("ignore")
        xrspatial = pytest.importorskip("xrspatial")
        grid = xarray.DataArray(z, dims=("y", "x"), attrs={"res": (cell_m, cell_m)})
        xrspatial.slope(grid)  # compiles
        assert benchmark(xrspatial.slope, grid).shape == z.shape
