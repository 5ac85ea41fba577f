"""Which layers are found in which files, and every file that cannot be used."""

from __future__ import annotations

import json
import math
import random
import shutil
import subprocess

import fiona
import pyproj
import pytest
import rasterio
import shapely
from shapely import Point, box

from lawnplat.errors import SurveyError
from lawnplat.settings.load import load_rule_book
from lawnplat.survey.field_map import FieldMap
from lawnplat.survey.read import read_survey

RULES = load_rule_book()
E, N = 500_000.0, 5_400_000.0
DRIVERS = {"gpkg": "GPKG", "geojson": "GeoJSON", "fgb": "FlatGeobuf", "shp": "ESRI Shapefile"}


def square(west, south, size=20.0):
    return box(E + west, N + south, E + west + size, N + south + size)


def write(path, rows, *, layer=None, crs="EPSG:25832", columns=("property_id",), kind="Polygon"):
    """Write (geometry, values) rows; every column is text."""
    schema = {"geometry": kind, "properties": dict.fromkeys(columns, "str")}
    driver = DRIVERS[path.suffix[1:]]
    with fiona.open(path, "w", driver=driver, layer=layer, crs=crs, schema=schema) as sink:
        for geometry, values in rows:
            shape = None if geometry is None else shapely.geometry.mapping(geometry)
            sink.write({"geometry": shape, "properties": dict(zip(columns, values, strict=True))})
    return path


def read(*sources, **options):
    return read_survey([str(source) for source in sources], rules=RULES, **options)


def failure(*sources, **options):
    with pytest.raises(SurveyError) as caught:
        read(*sources, **options)
    lines = str(caught.value).splitlines()
    assert len(lines) <= 2
    return str(caught.value)


def ids(survey):
    return [site.property_id for site in survey.sites]


@pytest.mark.parametrize("suffix", ["geojson", "fgb", "shp"])  # a GeoPackage names its layers
def test_a_lone_file_is_parcels_whatever_its_name(tmp_path, suffix):
    path = write(tmp_path / f"plots.{suffix}", [(square(0, 0), ("a",)), (square(30, 0), ("b",))])
    found = read(path)
    assert sorted(ids(found)) == ["a", "b"]
    assert found.sites[0].parcel.area == pytest.approx(400)
    assert found.findings == ()


def test_geopackage_with_layers_of_the_contract(tmp_path):
    path = write(tmp_path / "garden.gpkg", [(square(0, 0), ("a",))], layer="parcels")
    write(path, [(square(5, 5, 3), ("a",))], layer="lawns")
    write(path, [(Point(E + 2, N + 2), ("tree",))], layer="features", columns=("kind",),
          kind="Point")  # fmt: skip
    write(path, [(Point(E + 2, N + 2), ("101.5",))], layer="spot_heights",
          columns=("elevation_m",), kind="Point")  # fmt: skip
    write(path, [(Point(E, N), ("x",))], layer="scribbles", columns=("n",), kind="Point")
    found = read(path)
    (site,) = found.sites
    assert [lawn.area for lawn in site.lawns] == pytest.approx([9])
    assert [feature.kind for feature in site.features] == ["tree"]
    assert site.spot_heights.tolist() == [[E + 2, N + 2, 101.5]]
    roles = {layer.name: layer.role for layer in found.layers}
    assert roles == {"parcels": "parcels", "lawns": "lawns", "features": "features",
                     "spot_heights": "spot_heights", "scribbles": "unused"}  # fmt: skip


@pytest.mark.parametrize("suffix", DRIVERS)
def test_folder_of_layers_a_file_a_layer(tmp_path, suffix):
    write(tmp_path / f"parcels.{suffix}", [(square(0, 0), ("a",))])
    write(tmp_path / f"features.{suffix}", [(square(5, 5, 3), ("building",))], columns=("kind",))
    (tmp_path / "notes.json").write_text("not a layer")
    (tmp_path / "readme.txt").write_text("not a layer")
    found = read(tmp_path)
    assert [feature.kind for feature in found.sites[0].features] == ["building"]


def test_several_files_together(tmp_path):
    plots = write(tmp_path / "plots.geojson", [(square(0, 0), ("a",))])
    beds = write(tmp_path / "beds.gpkg", [(square(5, 5, 3), ("flower_bed",))], layer="one",
                 columns=("kind",))  # fmt: skip
    write(beds, [(square(9, 9, 3), ("water",))], layer="two", columns=("kind",))
    found = read(plots, f"features={beds}:two")
    assert [feature.kind for feature in found.sites[0].features] == ["water"]


def test_two_layers_of_one_role(tmp_path):
    one = write(tmp_path / "one.geojson", [(square(0, 0), ("a",))])
    two = write(tmp_path / "two.geojson", [(square(30, 0), ("b",))])
    assert ids(read(f"parcels={one}", f"parcels={two}")) == ["a", "b"]


def test_the_same_file_named_twice_is_read_once(tmp_path):
    path = write(tmp_path / "plots.geojson", [(square(0, 0), ("a",))])
    assert ids(read(path, f"parcels={path}")) == ["a"]


def test_field_map_names_layers_and_columns(tmp_path):
    path = write(tmp_path / "town.gpkg", [(square(0, 0), ("a",))], layer="plots", columns=("ID",))
    write(path, [(square(5, 5, 3), ("pond",))], layer="uses", columns=("use",))
    write(path, [(square(12, 5, 3), ("x",))], layer="houses", columns=("n",))
    found = read(path, field_map=FieldMap(
        layers={"parcels": ("plots",), "features": ("uses", "houses")},
        columns={"parcels": {"property_id": "ID"}},
        kind_column="use", kind_values={"pond": "water"}, kind_layers={"houses": "building"},
    ))  # fmt: skip
    assert ids(found) == ["a"]
    assert [feature.kind for feature in found.sites[0].features] == ["water", "building"]


def test_shapefile_short_column_names(tmp_path):
    path = write(tmp_path / "plots.shp", [(square(0, 0), ("a", "medium"))],
                 columns=("property_i", "machine_cl"))  # fmt: skip
    (site,) = read(path).sites
    assert (site.property_id, site.machine_class) == ("a", "medium")


def test_columns_in_capitals(tmp_path):
    path = write(tmp_path / "plots.geojson", [(square(0, 0), ("a",))], columns=("PROPERTY_ID",))
    assert ids(read(path)) == ["a"]


def test_no_such_file_names_the_nearest(tmp_path):
    write(tmp_path / "garden.geojson", [(square(0, 0), ("a",))])
    message = failure(tmp_path / "gardn.geojson")
    assert "there is no such file" in message
    assert "garden.geojson" in message


def test_no_such_folder(tmp_path):
    assert "there is no such file or folder" in failure(tmp_path / "nowhere" / "x.gpkg")


def test_empty_folder(tmp_path):
    assert "holds no layer" in failure(tmp_path)


def test_no_source_at_all():
    assert "no survey was named" in failure()


def test_layer_of_parcels_missing_lists_those_there_are(tmp_path):
    path = write(tmp_path / "town.gpkg", [(square(0, 0), ("a",))], layer="parcel")
    write(path, [(square(0, 0), ("a",))], layer="roads")
    message = failure(path)
    assert "there is no layer 'parcels'; layers found: parcel, roads" in message
    assert "nearest known layer is parcel" in message
    assert str(path) in message


def test_wanted_layer_missing(tmp_path):
    path = write(tmp_path / "town.gpkg", [(square(0, 0), ("a",))], layer="plots")
    message = failure(f"parcels={path}:plot")
    assert "there is no layer 'plot'" in message
    assert "plots" in message


def test_unknown_role(tmp_path):
    path = write(tmp_path / "town.gpkg", [(square(0, 0), ("a",))], layer="plots")
    assert "nearest known role is parcels" in failure(f"parcel={path}")


def test_layer_of_the_field_map_missing(tmp_path):
    path = write(tmp_path / "town.gpkg", [(square(0, 0), ("a",))], layer="plots")
    message = failure(path, field_map=FieldMap(layers={"parcels": ("plot",)}))
    assert "layers.parcels names 'plot'" in message
    assert "nearest known layer is plots" in message


def test_column_of_the_field_map_missing(tmp_path):
    path = write(tmp_path / "plots.geojson", [(square(0, 0), ("a",))], columns=("ident",))
    message = failure(path, field_map=FieldMap(columns={"parcels": {"property_id": "idnt"}}))
    assert "columns.parcels.property_id names column 'idnt'" in message
    assert "nearest known column is ident" in message


def test_features_without_a_kind_column(tmp_path):
    plots = write(tmp_path / "plots.geojson", [(square(0, 0), ("a",))])
    beds = write(tmp_path / "beds.geojson", [(square(0, 0), ("a",))], columns=("use",))
    assert "there is no column 'kind'" in failure(plots, f"features={beds}")


def test_empty_layer_of_parcels(tmp_path):
    path = write(tmp_path / "garden.gpkg", [], layer="parcels")
    message = failure(path)
    assert "the layer of parcels is empty" in message
    assert "layer parcels" in message


def test_empty_layer_of_features_is_noted(tmp_path):
    path = write(tmp_path / "garden.gpkg", [(square(0, 0), ("a",))], layer="parcels")
    write(path, [], layer="features", columns=("kind",))
    assert [finding.rule for finding in read(path).findings] == ["empty_layer"]


def test_layer_of_points_is_no_layer_of_parcels(tmp_path):
    path = write(tmp_path / "p.gpkg", [(Point(E, N), ("a",))], layer="parcels", kind="Point")
    assert "parcels must be polygons, the layer holds Point" in failure(path)


def test_table_without_geometry_is_no_layer_of_parcels(tmp_path):
    path = write(tmp_path / "p.gpkg", [(None, ("a",))], layer="parcels", kind="None", crs=None)
    assert "the layer holds no geometry" in failure(path)


@pytest.mark.parametrize("suffix", ["gpkg", "shp", "fgb"])
def test_no_crs_is_refused_unless_one_is_named(tmp_path, suffix):
    path = write(tmp_path / f"parcels.{suffix}", [(square(0, 0), ("a",))], crs=None)
    message = failure(path)
    assert "states no CRS" in message
    assert "--crs" in message
    (site,) = read(path, crs="EPSG:25832").sites
    assert (site.crs, site.parcel.area) == ("EPSG:25832", pytest.approx(400))


def test_named_crs_that_is_none(tmp_path):
    path = write(tmp_path / "plots.geojson", [(square(0, 0), ("a",))])
    assert failure(path, crs="EPSG:1").startswith("--crs: 'EPSG:1' is not a CRS")


def test_stated_crs_holds_against_a_named_one_and_that_is_said(tmp_path):
    path = write(tmp_path / "plots.geojson", [(square(0, 0), ("a",))])
    found = read(path, crs="EPSG:25833")
    assert found.sites[0].crs == "EPSG:25832"
    assert [finding.rule for finding in found.findings] == ["crs_not_used"]


def test_layers_in_different_crss_meet(tmp_path):
    plots = write(tmp_path / "plots.geojson", [(square(0, 0), ("a",))])
    expected = Point(E + 7, N + 5)
    to_degrees = pyproj.Transformer.from_crs(25832, 4326, always_xy=True)
    degrees = Point(to_degrees.transform(expected.x, expected.y))
    trees = write(tmp_path / "trees.geojson", [(degrees, ("tree",))], columns=("kind",),
                  crs="EPSG:4326", kind="Point")  # fmt: skip
    (site,) = read(plots, f"features={trees}").sites
    assert site.features[0].geometry.distance(expected) < 1e-6


@pytest.mark.parametrize(("crs", "told"), [("EPSG:4326", False), ("EPSG:4230", True)])
def test_layer_on_another_datum_is_told_of_where_the_shift_is_rough(tmp_path, crs, told):
    """The EPSG register states 1 m for WGS 84 to ETRS89, and 2 m for ED50 there."""
    plots = write(tmp_path / "plots.geojson", [(square(0, 0), ("a",))])
    moved = pyproj.Transformer.from_crs(25832, crs, always_xy=True).transform(E + 7, N + 5)
    trees = write(tmp_path / "trees.gpkg", [(Point(moved), ("tree",))], columns=("kind",),
                  crs=crs, kind="Point")  # fmt: skip
    found = read(plots, f"features={trees}")
    assert [f.rule for f in found.findings] == (["rough_shift"] if told else [])
    assert found.sites[0].features[0].geometry.distance(Point(E + 7, N + 5)) < 1e-3


def test_properties_in_several_working_crss_each_get_their_own(tmp_path):
    gardens = [(box(lon, lat, lon + 3e-4, lat + 3e-4), (name,))
               for lon, lat, name in ((14.4, 50.1, "a"), (-80.0, 35.5, "b"))]  # fmt: skip
    plots = write(tmp_path / "plots.geojson", gardens, crs="EPSG:4326")
    trees = [
        (Point(lon + 1e-4, lat + 1e-4), (kind,))
        for lon, lat, kind in ((14.4, 50.1, "tree"), (-80.0, 35.5, "rock"), (0, 0, "wall"))
    ]
    thing = write(tmp_path / "t.geojson", trees, crs="EPSG:4326", columns=("kind",), kind="Point")
    found = read(plots, f"features={thing}")
    assert [site.crs for site in found.sites] == ["EPSG:32633", "EPSG:32617"]
    assert [[f.kind for f in site.features] for site in found.sites] == [["tree"], ["rock"]]
    assert [(f.rule, f.count) for f in found.findings] == [("outside_parcels", 1)]
    for site in found.sites:
        assert site.features[0].geometry.within(site.parcel)


def test_engineering_crs_is_refused_unless_a_real_one_is_named(tmp_path):
    local = 'LOCAL_CS["site grid",UNIT["metre",1]]'
    path = write(tmp_path / "parcels.gpkg", [(square(0, 0), ("a",))], crs=local)
    assert "does not place points on the earth" in failure(path)
    found = read(path, crs="EPSG:25832")
    assert found.sites[0].crs == "EPSG:25832"
    assert [finding.rule for finding in found.findings] == ["crs_taken_as_given"]


def test_a_raster_is_no_survey(tmp_path):
    path = tmp_path / "elevation.tif"
    with rasterio.open(path, "w", driver="GTiff", width=2, height=2, count=1, dtype="float32",
                       crs="EPSG:25832", transform=rasterio.Affine(1, 0, E, 0, -1, N)):  # fmt: skip
        pass
    assert "cannot be read as vector data" in failure(path)


CURVES = {
    # A circle of radius 10 about (10, 10) and the same as one member of a multisurface.
    "curve polygon": "CURVEPOLYGON(CIRCULARSTRING({w} {n},{x} {t},{e} {n},{x} {s},{w} {n}))",
    "multisurface": (
        "MULTISURFACE(CURVEPOLYGON(CIRCULARSTRING({w} {n},{x} {t},{e} {n},{x} {s},{w} {n})))"
    ),
    "compound": (
        "CURVEPOLYGON(COMPOUNDCURVE(CIRCULARSTRING({w} {n},{x} {t},{e} {n}),"
        "CIRCULARSTRING({e} {n},{x} {s},{w} {n})))"
    ),
}


@pytest.mark.skipif(shutil.which("ogr2ogr") is None, reason="gdal-bin writes the curves")
@pytest.mark.parametrize("curve", CURVES)
def test_curves_become_chords(tmp_path, curve):
    text = CURVES[curve].format(w=E, e=E + 20, x=E + 10, n=N + 10, s=N, t=N + 20)
    (tmp_path / "parcels.csv").write_text(f'property_id,wkt\na,"{text}"\n')
    path = tmp_path / "parcels.gpkg"
    subprocess.run(
        ["ogr2ogr", path, tmp_path / "parcels.csv", "-oo", "GEOM_POSSIBLE_NAMES=wkt",
         "-a_srs", "EPSG:25832", "-nlt", "GEOMETRY"],
        check=True, capture_output=True,
    )  # fmt: skip
    (site,) = read(path).sites
    # GDAL's chords of 4 degrees: a regular 90-gon has 0.081 % less area than its circle.
    ninety = 90 / 2 * 10**2 * math.sin(2 * math.pi / 90)
    assert site.parcel.area == pytest.approx(ninety, rel=1e-6)


def bare_geojson(path, geometry):
    feature = {"type": "Feature", "properties": {"property_id": "a"},
               "geometry": json.loads(shapely.to_geojson(geometry))}  # fmt: skip
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    return path


def test_geojson_of_metres_without_a_crs_is_not_taken_for_degrees(tmp_path):
    path = bare_geojson(tmp_path / "plots.geojson", square(0, 0))
    assert "are not degrees" in failure(path)
    found = read(path, crs="EPSG:25832")
    assert found.sites[0].parcel.area == pytest.approx(400)
    assert [finding.rule for finding in found.findings] == ["crs_taken_as_given"]


def cut(data):
    return data[: len(data) // 2]


def overwritten(data):
    middle = len(data) // 2
    noise = random.Random(1).randbytes(8000)
    return data[:middle] + noise + data[middle + len(noise) :]


def rubbish(data):  # noqa: ARG001
    return random.Random(2).randbytes(5000)


def nothing(data):  # noqa: ARG001
    return b""


@pytest.mark.parametrize("suffix", ["gpkg", "geojson", "fgb"])
@pytest.mark.parametrize("damage", [cut, overwritten, rubbish, nothing])
def test_damaged_file_is_refused_never_half_read(tmp_path, suffix, damage):
    whole = [(square(30 * i, 0), (f"p{i}" + "x" * 200,)) for i in range(500)]
    path = write(tmp_path / f"parcels.{suffix}", whole)
    path.write_bytes(damage(path.read_bytes()))
    assert str(path) in failure(path)


@pytest.mark.parametrize("damage", [rubbish, nothing])
def test_damaged_shapefile(tmp_path, damage):
    path = write(tmp_path / "parcels.shp", [(square(0, 0), ("a",))])
    path.write_bytes(damage(path.read_bytes()))
    assert str(path) in failure(path)


def test_shapefile_without_its_table(tmp_path):
    path = write(tmp_path / "parcels.shp", [(square(0, 0), ("a",))])
    path.with_suffix(".dbf").unlink()
    assert ids(read(path)) == ["row-1"]
