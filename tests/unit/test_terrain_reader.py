"""Windows of elevation rasters of every make, held against the plane that was written to them."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import rasterio
import shapely
from pyproj import Transformer
from rasterio import Affine

from lawnplat.errors import SurveyError
from lawnplat.survey.types import Site
from lawnplat.terrain.reader import ElevationRaster, read_elevation
from lawnplat.terrain.types import Grid

CRS = "EPSG:32632"
E, N = 500_000.0, 5_000_000.0
SITE = Site("1", "invented", CRS, shapely.box(E + 25, N - 35, E + 35, N - 25))
GRID = Grid(E + 20, N - 20, 0.25, 80, 80)
NORTH_UP = Affine(1.0, 0.0, E, 0.0, -1.0, N)
# Heights of about 400 m as 32-bit floats are kept to 1.5e-5 m; GDAL sums four of them.
FLOAT32_M = 1e-4


def lean(x, y):
    return 400.0 + 0.1 * (x - E) + 0.2 * (y - N)


def cells(transform, shape=(60, 60)):
    """Return x and y of the cell centres."""
    row, column = np.indices(shape) + 0.5
    return (
        transform.a * column + transform.b * row + transform.c,
        transform.d * column + transform.e * row + transform.f,
    )


@pytest.fixture
def written(tmp_path):
    def write(values, transform=NORTH_UP, crs=CRS, mask=None, alpha=None, **tags):
        path = tmp_path / "height.tif"
        values = np.asarray(values)
        profile = {
            "driver": "GTiff", "height": values.shape[-2], "width": values.shape[-1],
            "count": 1 if alpha is None else 2, "dtype": values.dtype, "crs": crs,
            "transform": transform, "nodata": tags.pop("nodata", None),
        }  # fmt: skip
        with rasterio.open(path, "w", **profile) as raster:
            raster.write(values, 1)
            for name, value in tags.items():
                setattr(raster, name, (value,))
            if mask is not None:
                raster.write_mask(mask)
            if alpha is not None:
                raster.write(alpha.astype(values.dtype), 2)
                interp = rasterio.enums.ColorInterp
                raster.colorinterp = [interp.gray, interp.alpha]
        return path

    return write


def read(path, grid=GRID, site=SITE, unit="m"):
    with ElevationRaster(path, unit=unit) as raster:
        return raster.read(site, grid)


def truth(grid=GRID):
    return lean(*np.meshgrid(*grid.centres()))


def plane(transform=NORTH_UP, shape=(60, 60)):
    return lean(*cells(transform, shape)).astype("float32")


def test_a_plane_keeps_its_heights_between_the_cells(written):
    window = read(written(plane()))
    np.testing.assert_allclose(window.elevation_m, truth(), rtol=0, atol=FLOAT32_M)
    assert window.source_cell_m == pytest.approx(1.0, abs=1e-9)
    assert window.height_step_m == 0
    assert window.findings == ()


def turned(degrees, cell_m=1.0):
    """A grid turned about the middle of the site."""
    cos, sin = (f(math.radians(degrees)) * cell_m for f in (math.cos, math.sin))
    middle = E + 30, N - 30
    half = 30 / cell_m
    return Affine(
        cos, sin, middle[0] - half * (cos + sin), sin, -cos, middle[1] - half * (sin - cos)
    )


@pytest.mark.parametrize(
    ("transform", "cell_m"),
    [
        (Affine(1.0, 0.0, E, 0.0, 1.0, N - 60), 1.0),  # south-up
        (Affine(-1.0, 0.0, E + 60, 0.0, -1.0, N), 1.0),  # east-west mirrored
        (turned(30), 1.0),
        (turned(-100), 1.0),
        (Affine(1.0, 0.0, E, 0.0, -2.0, N + 20), 2.0),  # oblong cells: the longer side counts
    ],
)
def test_turned_and_mirrored_rasters(written, transform, cell_m):
    window = read(written(plane(transform), transform))
    # Turned corner points of the affine are kept to 1e-9 m and GDAL's warp to 0.01 cells (0.002 m
    # of height); bilinear weights on a plane are exact otherwise.
    np.testing.assert_allclose(window.elevation_m, truth(), rtol=0, atol=0.003)
    assert window.source_cell_m == pytest.approx(cell_m, abs=1e-6)


def test_a_finer_raster_is_averaged_not_picked(written):
    fine = Affine(0.05, 0.0, E + 15, 0.0, -0.05, N - 15)
    noise = np.random.default_rng(2).normal(0, 0.1, (600, 600)).astype("float32")
    window = read(written(plane(fine, (600, 600)) + noise, fine))
    off = window.elevation_m - truth()
    # A triangle two grid cells wide averages some 44 cells: noise of 0.1 m falls to 0.015 m.
    assert off.std() < 0.02
    assert abs(off.mean()) < 0.002


def test_agreeing_grids_are_not_resampled(written):
    own = Affine(0.25, 0.0, E + 21, 0.0, -0.25, N - 22)
    values = np.random.default_rng(4).normal(100, 5, (60, 70)).astype("float32")
    window = read(written(values, own))
    known = np.isfinite(window.elevation_m)
    # 21 m and 22 m: 4 columns and 8 rows in; the grid has room for all 60 rows and 70 columns.
    assert np.array_equal(window.elevation_m[8:68, 4:74], values)
    assert known.sum() == 60 * 70


HOLE = np.zeros((60, 60), bool)
HOLE[25:35, 25:35] = True


@pytest.mark.parametrize(
    ("dtype", "how"),
    [
        *itertools.product(
            ["float32", "float64", "int16", "int32", "uint16"],
            ["nodata", "mask", "alpha", "undeclared"],
        ),
        ("float32", "nan"),
        ("float64", "nan"),
    ],
)
@pytest.mark.parametrize("agree", [False, True])
def test_every_way_of_saying_no_data(written, dtype, how, agree):
    z = lean(*cells(NORTH_UP))
    if not dtype.startswith("float"):
        z = np.round(z)
    void = {"nodata": 0 if dtype == "uint16" else -9999, "nan": np.nan}.get(how, 7)
    if how == "undeclared":
        void = 65535 if dtype == "uint16" else -9999
    extra = {"nodata": {"nodata": void}, "mask": {"mask": ~HOLE}, "alpha": {"alpha": ~HOLE * 255}}
    values = np.where(HOLE, void, z).astype(dtype)
    grid = Grid(E + 20, N - 20, 1.0, 20, 20) if agree else GRID
    window = read(written(values, **extra.get(how, {})), grid)
    missing = np.isnan(window.elevation_m)
    x, y = np.meshgrid(*grid.centres())
    # The hole is E + 25..35, N - 35..-25; a cell whose own source cell is data stays known.
    assert np.array_equal(missing, (np.abs(x - E - 30) < 5) & (np.abs(y - N + 30) < 5))
    # Beside the hole interpolation has one side only: half a cell of a slope of 10 % and of 20 %.
    tolerance = 0.15 + FLOAT32_M + (0 if dtype.startswith("float") else 0.5)
    assert np.nanmax(np.abs(window.elevation_m - truth(grid))) < tolerance
    assert window.height_step_m == (0 if dtype.startswith("float") else 1.0)


def test_scale_and_offset(written):
    centimetres = np.round((lean(*cells(NORTH_UP)) - 100) * 100).astype("int32")
    window = read(written(centimetres, scales=0.01, offsets=100.0))
    np.testing.assert_allclose(window.elevation_m, truth(), rtol=0, atol=0.005 + 1e-6)
    assert window.height_step_m == pytest.approx(0.01)


@pytest.mark.parametrize(
    # The international foot is 0.3048 m exactly (1959 agreement), the US survey foot 1200/3937 m
    # exactly (Mendenhall Order of 1893); both from memory.
    ("unit", "metres"), [("ft", 0.3048), ("us-ft", 1200 / 3937), ("m", 1.0)],
)  # fmt: skip
def test_units(written, unit, metres):
    window = read(written(lean(*cells(NORTH_UP)) / metres), unit=unit)
    # At 400 m the two feet differ by 0.8 mm: the tolerance tells them apart.
    np.testing.assert_allclose(window.elevation_m, truth(), rtol=0, atol=1e-6)


def test_a_unit_that_the_file_gainsays_is_said(written):
    path = written(plane(), units="US survey foot")
    assert [(f.rule, f.severity) for f in read(path).findings] == [("elevation_unit", "warn")]
    assert read(path, unit="us-ft").findings == ()


def test_another_crs_with_the_plane_reprojected(written):
    # The plane is defined in the site's CRS and sampled at the cells of a raster in degrees.
    to_degrees = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    lon, lat = to_degrees.transform(E + 30, N - 30)
    step = 1e-5  # 0.79 m and 1.11 m on the ground at 45 degrees north
    degrees = Affine(step, 0.0, lon - 30 * step, 0.0, -step, lat + 30 * step)
    x, y = to_degrees.transform(*cells(degrees), direction="INVERSE")
    window = read(written(lean(x, y), degrees, "EPSG:4326"))
    # 0.01 cells of a warp error on a slope of 22 % make 0.0025 m.
    np.testing.assert_allclose(window.elevation_m, truth(), rtol=0, atol=0.0025)
    # A degree of the meridian at 45 N is 111.13 km (WGS 84, from memory).
    assert window.source_cell_m == pytest.approx(1.1113, abs=0.001)


def test_a_crs_with_heights_of_its_own(written):
    window = read(written(plane(), crs="EPSG:32632+5773"))
    np.testing.assert_allclose(window.elevation_m, truth(), rtol=0, atol=FLOAT32_M)


def test_partly_off_the_raster(written):
    window = read(written(plane()), Grid(E + 50, N - 20, 0.25, 40, 80))
    known = np.isfinite(window.elevation_m)
    assert known[:, :40].all()
    assert not known[:, 40:].any()
    assert window.findings == ()  # what is missing on the property itself is for the build to say


@pytest.mark.parametrize("crs", [CRS, "EPSG:4326", "EPSG:3857", "EPSG:2193"])
def test_off_the_raster(written, crs):
    far = Grid(E + 5000, N - 20, 0.25, 40, 80)
    transform = NORTH_UP if crs == CRS else Affine(1e-5, 0, 11.0, 0, -1e-5, 40.0)
    window = read(written(plane(NORTH_UP), transform, crs), far)
    assert np.isnan(window.elevation_m).all()
    assert [(f.rule, f.severity) for f in window.findings] == [("elevation_missing", "warn")]
    assert "does not reach this property" in window.findings[0].text


def test_no_data_on_the_property(written):
    window = read(written(np.full((60, 60), -9999.0), nodata=-9999.0))
    assert np.isnan(window.elevation_m).all()
    assert "holds no data on this property" in window.findings[0].text


def test_read_elevation_takes_only_the_site_and_its_margin(written):
    window = read_elevation(written(plane()), SITE, margin_m=2.0, cell_m=0.5, unit="m")
    # 10 m and twice 2 m, and one cell more on each side.
    assert (window.grid.rows, window.grid.columns) == (30, 30)
    assert (window.grid.west_m, window.grid.north_m) == (E + 22.5, N - 22.5)
    np.testing.assert_allclose(window.elevation_m, truth(window.grid), rtol=0, atol=FLOAT32_M)


def test_a_raster_without_crs_or_place_is_refused(written):
    with pytest.raises(SurveyError, match=r"height\.tif: the elevation raster has no CRS"):
        ElevationRaster(written(plane(), crs=None))
    with pytest.raises(SurveyError, match="ties to no place"):
        ElevationRaster(written(plane(), crs='LOCAL_CS["site",UNIT["metre",1]]'))
    with pytest.warns(rasterio.errors.NotGeoreferencedWarning):
        nowhere = written(plane(), transform=Affine.identity())
    with pytest.raises(SurveyError, match="has no place on the ground"):
        ElevationRaster(nowhere)


def test_unreadable_files_and_unknown_units_are_refused(tmp_path, written):
    broken = tmp_path / "broken.tif"
    broken.write_bytes(b"II*\0 and then nothing")
    for path in (broken, tmp_path / "absent.tif", tmp_path):
        with pytest.raises(SurveyError, match="cannot be read as a raster") as caught:
            ElevationRaster(path)
        assert str(caught.value).count("\n") == 1  # two lines: what is wrong, what to do
    with pytest.raises(SurveyError, match="unit 'yard' is not known"):
        ElevationRaster(written(plane()), unit="yard")


def test_a_damaged_part_is_said_and_loses_nothing_else(written):
    path = written(plane())
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 3])
    window = read(path)
    assert np.isnan(window.elevation_m).all()
    assert [f.rule for f in window.findings] == ["elevation_missing"]
    assert "cannot be read" in window.findings[0].text
