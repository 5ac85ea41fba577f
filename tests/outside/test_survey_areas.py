"""Areas that the survey gives against the geodesic area on the ellipsoid.

Reference: `pyproj.Geod.geometry_area_perimeter`, the polygon algorithm of GeographicLib
(C. F. F. Karney, Algorithms for geodesics, Journal of Geodesy 87:43-55, 2013). It is itself held
against values of GeographicLib's own tests first.
"""

from __future__ import annotations

import math

import fiona
import momepy
import numpy as np
import pyproj
import pytest
import shapely
from shapely import Polygon

from lawnplat.settings.load import load_rule_book
from lawnplat.survey.field_map import FieldMap
from lawnplat.survey.read import read_survey

RULES = load_rule_book()
GEOD = pyproj.Geod(ellps="WGS84")
PROMISED = 0.002
"""The contract: areas agree with the geodesic area within 0.2 %."""


def geodesic_m2(geometry, crs):
    """Return the area on the ellipsoid of a polygon in any CRS, its edges cut to 5 m pieces.

    A straight line in a projection is no geodesic, but over 5 m they part by under a micrometre.
    """
    unit_m = pyproj.CRS.from_user_input(crs).axis_info[0].unit_conversion_factor
    degrees = pyproj.CRS.from_user_input(crs).is_geographic
    fine = shapely.segmentize(geometry, 5e-5 if degrees else 5.0 / unit_m)
    transformer = pyproj.Transformer.from_crs(crs, "OGC:CRS84", always_xy=True)
    lonlat = shapely.transform(fine, lambda c: np.column_stack(transformer.transform(*c.T)))
    return abs(GEOD.geometry_area_perimeter(lonlat)[0])


# --- the reference itself --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lat_lon", "perimeter_m", "area_m2"),
    [
        # GeographicLib's Planimeter tests (C. Karney, test_geodesic.py).
        ([(0, -1), (-1, 0), (0, 1), (1, 0)], 627598.2731, 24619419146.0),
        ([(90, 0), (0, 0), (0, 90)], 30022685.0, 63758202715511.0),
        ([(2, 1), (1, 2), (3, 3)], None, 18454562325.45119),
        # geographiclib-rs documentation: one degree by one at the equator.
        ([(0, 0), (0, 1), (1, 1), (1, 0)], 443770.917248302, 12308778361.469452),
    ],
)
def test_the_reference_against_karneys_values(lat_lon, perimeter_m, area_m2):
    lat, lon = zip(*lat_lon, strict=True)
    area, perimeter = GEOD.polygon_area_perimeter(lon, lat)
    # One in the last digit published: some values are cut off, not rounded.
    assert abs(area) == pytest.approx(area_m2, abs=1.0 if area_m2.is_integer() else 1e-4)
    if perimeter_m is not None:
        digit = 1.0 if perimeter_m.is_integer() else 1e-4
        assert perimeter == pytest.approx(perimeter_m, abs=digit)


# --- real plots, web mercator ----------------------------------------------------------------


@pytest.fixture(scope="module")
def plots():
    """Return the real plots of the PyPI package momepy, EPSG:3857, at 50 degrees north."""
    path = momepy.datasets.get_path("bubenec")
    mapped = FieldMap(
        layers={"parcels": ("plots",), "features": ("buildings",)},
        columns={"parcels": {"property_id": "ID"}},
        kind_default="building",
    )
    with fiona.open(path, layer="plots") as source:
        drawn = {f.properties["ID"]: shapely.geometry.shape(f.geometry) for f in source}
    return read_survey([str(path)], rules=RULES, field_map=mapped), drawn


def test_every_plot_is_there(plots):
    found, drawn = plots
    ids = {s.property_id for s in found.sites} | {r.property_id for r in found.refusals}
    assert ids == set(drawn)
    # One plot is a crumb: half a square metre on the ground.
    assert [r.property_id for r in found.refusals] == ["3006"]
    assert geodesic_m2(drawn["3006"], "EPSG:3857") == pytest.approx(0.4997, abs=1e-3)


def test_areas_of_real_plots_agree_with_the_geodesic(plots):
    found, drawn = plots
    for site in found.sites:
        truth = geodesic_m2(drawn[site.property_id], "EPSG:3857")
        assert site.parcel.area == pytest.approx(truth, rel=PROMISED)


def test_taken_at_face_value_the_plots_would_be_far_too_large(plots):
    found, drawn = plots
    face_value = sum(drawn[site.property_id].area for site in found.sites)
    ground = sum(site.parcel.area for site in found.sites)
    # Web mercator stretches lengths by 1/cos(latitude) on the sphere, areas by its square; the
    # ellipsoid changes that by under 1 %.
    stretch = 1 / math.cos(math.radians(50.1)) ** 2
    assert face_value / ground == pytest.approx(stretch, rel=0.01)


def test_buildings_lie_on_or_near_the_plots_that_have_them(plots):
    found, _ = plots
    assert found.findings == ()
    with_house = [site for site in found.sites if site.features]
    assert with_house
    for site in with_house:
        for feature in site.features:
            assert feature.geometry.distance(site.parcel) <= RULES.ground.attach_m


# --- one square garden, everywhere -----------------------------------------------------------

PLACES = {
    "US survey feet, transverse to the coast": ("EPSG:2264", -80.0, 35.5),
    "US survey feet, west": ("EPSG:2229", -118.2, 34.05),
    "international feet": ("EPSG:2222", -111.9, 33.4),
    "degrees": ("EPSG:4326", 14.4, 50.1),
    "degrees, lat stated first": ("EPSG:4258", 24.9, 60.2),
    "degrees, far south": ("EPSG:4326", -68.3, -54.8),
    "degrees, high north": ("EPSG:4326", 15.6, 78.2),
    "degrees, beyond UTM": ("EPSG:4326", 20.0, 86.0),
    "web mercator, north": ("EPSG:3857", 25.7, 70.0),
    "web mercator, equator": ("EPSG:3857", 36.8, -1.3),
    "UTM, at a zone's edge on the equator": ("EPSG:32633", 18.0, 0.0),
    "UTM, a zone away": ("EPSG:32633", 24.0, 50.0),
    "UTM south": ("EPSG:32756", 151.2, -33.9),
    "equal-area, off centre": ("EPSG:3035", 24.0, 60.0),
    "Lambert": ("EPSG:2154", 2.3, 48.8),
    "axes west and south": ("EPSG:2048", 18.9, -33.9),
    "antimeridian, degrees": ("EPSG:4326", 180.0, -16.5),
    "antimeridian, metric": ("EPSG:3832", 180.0, -16.5),
    "polar stereographic": ("EPSG:3031", 60.0, -80.5),
}


def garden(code, lon, lat, side_m=40.0):
    """Return a geodesic square about a place, in a CRS; longitude or east first."""
    corners = [GEOD.fwd(lon, lat, az, side_m / math.sqrt(2))[:2] for az in (45, 135, 225, 315)]
    transformer = pyproj.Transformer.from_crs("OGC:CRS84", code, always_xy=True)
    return Polygon([transformer.transform(*corner) for corner in corners])


@pytest.mark.parametrize(("code", "lon", "lat"), PLACES.values(), ids=PLACES)
def test_a_square_garden_anywhere(tmp_path, code, lon, lat):
    path = tmp_path / "plots.fgb"
    schema = {"geometry": "Polygon", "properties": {"property_id": "str"}}
    with fiona.open(path, "w", driver="FlatGeobuf", crs=code, schema=schema) as sink:
        shape = shapely.geometry.mapping(garden(code, lon, lat))
        sink.write({"geometry": shape, "properties": {"property_id": "a"}})
    (site,) = read_survey([str(path)], rules=RULES).sites
    # A geodesic square of 40 m is flat to 1e-10 of its area.
    assert site.parcel.area == pytest.approx(1600.0, rel=PROMISED)
    assert geodesic_m2(site.parcel, site.crs) == pytest.approx(1600.0, rel=1e-6)
    crs = pyproj.CRS.from_user_input(site.crs)
    assert crs.is_projected
    assert {axis.unit_name for axis in crs.axis_info} == {"metre"}
    assert site.parcel.exterior.length / 4 == pytest.approx(40.0, rel=PROMISED / 2)


def test_a_garden_cut_at_the_antimeridian_is_one_again(tmp_path):
    """RFC 7946, 3.1.9, has features cut in two there."""
    west = Polygon([(179.9998, -16.5), (180, -16.5), (180, -16.4998), (179.9998, -16.4998)])
    east = Polygon([(-180, -16.5), (-179.9998, -16.5), (-179.9998, -16.4998), (-180, -16.4998)])
    path = tmp_path / "plots.geojson"
    schema = {"geometry": "MultiPolygon", "properties": {"property_id": "str"}}
    with fiona.open(path, "w", driver="GeoJSON", crs="EPSG:4326", schema=schema) as sink:
        shape = shapely.geometry.mapping(shapely.MultiPolygon([west, east]))
        sink.write({"geometry": shape, "properties": {"property_id": "a"}})
    (site,) = read_survey([str(path)], rules=RULES).sites
    assert site.parcel.geom_type == "Polygon"
    truth = 2 * geodesic_m2(west, "EPSG:4326")
    assert site.parcel.area == pytest.approx(truth, rel=PROMISED)


@pytest.mark.parametrize("code", ["EPSG:32633", "EPSG:3857", "EPSG:4326"])
def test_gdal_writes_the_crs_that_was_chosen(tmp_path, code):
    """The chosen CRS goes through a GeoPackage and comes back the same, by GDAL's own hand."""
    path = tmp_path / "plots.fgb"
    schema = {"geometry": "Polygon", "properties": {"property_id": "str"}}
    with fiona.open(path, "w", driver="FlatGeobuf", crs=code, schema=schema) as sink:
        shape = shapely.geometry.mapping(garden(code, 24.0, 50.0))
        sink.write({"geometry": shape, "properties": {"property_id": "a"}})
    (site,) = read_survey([str(path)], rules=RULES).sites
    again = tmp_path / "again.gpkg"
    with fiona.open(again, "w", driver="GPKG", layer="parcels", crs=site.crs, schema=schema) as out:
        out.write({"geometry": shapely.geometry.mapping(site.parcel),
                   "properties": {"property_id": "a"}})  # fmt: skip
    (back,) = read_survey([str(again)], rules=RULES).sites
    assert back.crs == site.crs
    assert back.parcel.equals(site.parcel)
