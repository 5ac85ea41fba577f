"""The metric CRS to work in: what is kept, what is replaced, and by what."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely
from shapely import Point, Polygon

from lawnplat.errors import SurveyError
from lawnplat.survey.crs import (
    LARGEST_SCALE_ERROR,
    choose,
    height_unit_m,
    name_of,
    read_crs,
    reproject,
    scale_error,
    site_points,
    to_degrees,
)


def around(lon, lat, half_m=20.0):
    """Return four points about a place, as the chooser wants them: shape (1, 4, 2)."""
    geod = pyproj.Geod(ellps="WGS84")
    return np.array([[geod.fwd(lon, lat, az, half_m)[:2] for az in (0, 90, 180, 270)]])


def chosen(code, *places):
    points = np.concatenate([around(*place) for place in places])
    return choose([read_crs(code, "file")], [0] * len(places), points)


@pytest.mark.parametrize(
    ("code", "place"),
    [
        ("EPSG:25832", (9.0, 53.0)),
        ("EPSG:2154", (2.3, 48.8)),  # Lambert conformal conic, two parallels
        ("EPSG:5514", (14.4, 50.1)),  # oblique, stated east and north
        ("EPSG:3035", (10.0, 52.0)),  # equal-area, at its centre, axes stated north first
        ("EPSG:2193", (172.0, -43.0)),  # southern transverse mercator
    ],
)
def test_metric_crs_that_fits_the_site_is_kept(code, place):
    assert chosen(code, place) == [code]


@pytest.mark.parametrize(
    ("code", "place", "expected"),
    [
        ("EPSG:4326", (14.4, 50.1), "EPSG:32633"),
        ("EPSG:4326", (151.2, -33.9), "EPSG:32756"),
        ("EPSG:3857", (14.4, 50.1), "EPSG:32633"),
        ("EPSG:3857", (9.0, 0.1), "EPSG:32632"),  # unstretched there, but drawn on a sphere
        ("EPSG:2264", (-80.0, 35.5), "EPSG:26917"),  # US survey feet; the datum is kept
        ("EPSG:25832", (2.0, 48.0), "EPSG:25831"),  # metric, but seven degrees off its meridian
        ("EPSG:3035", (24.0, 60.0), "EPSG:25835"),  # equal-area, far from its centre
        ("EPSG:2048", (18.9, -33.9), "EPSG:32734"),  # axes point west and south
        ("EPSG:5041", (30.0, 84.5), "EPSG:32636"),  # polar stereographic
    ],
)
def test_crs_that_stretches_or_turns_the_site_is_replaced(code, place, expected):
    assert chosen(code, place) == [expected]


def test_one_crs_serves_neighbouring_zones_where_it_can():
    # 12 degrees east parts zones 32 and 33; at 60 degrees north either reaches well past it.
    assert chosen("EPSG:4326", (11.9, 60.0), (12.1, 60.0), (12.2, 60.0)) == ["EPSG:32633"] * 3


def test_properties_far_apart_get_a_zone_each():
    found = chosen("EPSG:4326", (-80.0, 35.5), (14.4, 50.1), (151.2, -33.9))
    assert found == ["EPSG:32617", "EPSG:32633", "EPSG:32756"]


def test_files_in_several_crss_are_worked_on_in_one_where_one_serves():
    points = np.concatenate([around(14.4, 50.1), around(14.5, 50.1)])
    sources = [read_crs("EPSG:3857", "file"), read_crs("EPSG:4326", "file")]
    assert choose(sources, [0, 1], points) == ["EPSG:32633"] * 2


def test_only_the_property_off_the_files_own_crs_leaves_it():
    assert chosen("EPSG:25832", (9.0, 53.0), (2.0, 48.0)) == ["EPSG:25832", "EPSG:25831"]


def test_across_the_antimeridian_a_site_is_one_piece():
    points = np.array([[[179.9999, -16.5], [-179.9999, -16.5], [180.0, -16.4999], [180.0, -16.5]]])
    found = choose([read_crs("EPSG:4326", "file")], [0], points)[0]
    corners = [(179.9999, -16.5), (-179.9999, -16.5), (-179.9999, -16.4998), (179.9999, -16.4998)]
    metric = reproject([Polygon(corners)], read_crs("EPSG:4326", "file"), found)[0]
    assert scale_error(found, points)[0] < LARGEST_SCALE_ERROR
    assert metric.length < 100


@pytest.mark.parametrize("lat", [0.0, 30.0, 60.0, 83.9])
@pytest.mark.parametrize("lon", [-177.0, -180.0, 0.01, 2.99, 3.0, 5.999])
def test_whatever_is_chosen_keeps_the_promise(lon, lat):
    points = around(lon, lat)
    found = choose([read_crs("EPSG:4326", "file")], [0], points)[0]
    assert scale_error(found, points)[0] < LARGEST_SCALE_ERROR


def test_scale_error_against_projs_own_factors():
    # `proj_factors` (pyproj.Proj.get_factors) derives scale from the projection's derivatives.
    for code, lon, lat in (("EPSG:32633", 15.0, 50.0), ("EPSG:32633", 18.5, 20.0)):
        factors = pyproj.Proj(code).get_factors(lon, lat)
        largest = max(abs(factors.tissot_semimajor - 1), abs(factors.tissot_semiminor - 1))
        # Over 100 m the factor itself drifts by about 1e-7.
        assert scale_error(code, np.array([[[lon, lat]]]))[0] == pytest.approx(largest, abs=1e-6)


def test_scale_error_is_infinite_where_axes_turn_or_nothing_is_projected():
    assert scale_error("EPSG:2048", around(18.9, -33.9))[0] == np.inf
    assert scale_error("EPSG:32633", around(-165.0, 0.0))[0] > LARGEST_SCALE_ERROR


def test_degrees_are_longitude_first():
    lonlat = to_degrees(read_crs("EPSG:4326", "file"), np.array([14.4, 50.1]))
    assert lonlat.tolist() == pytest.approx([14.4, 50.1])


def test_heights_pass_through_unchanged():
    moved = reproject([Point(14.4, 50.1, 321.5), Point(14.4, 50.1)], read_crs("EPSG:4326", "f"),
                      "EPSG:32633")  # fmt: skip
    assert moved[0].z == 321.5
    assert not moved[1].has_z
    assert shapely.force_2d(moved[0]).equals(moved[1])


def test_site_points_are_vertices():
    diamond = Polygon([(0, -3), (4, 0), (0, 5), (-2, 0)])
    found = {tuple(point) for point in site_points([diamond])[0].tolist()}
    assert found == {(0, -3), (4, 0), (0, 5), (-2, 0)}


def test_height_unit_of_a_compound_crs():
    # EPSG:6360 is NAVD88 height in US survey feet: 1200/3937 m (NIST, by definition).
    assert height_unit_m("EPSG:26917+6360") == pytest.approx(1200 / 3937, rel=1e-9)
    assert height_unit_m("EPSG:25832") == 1.0


def test_compound_crs_is_read_as_its_horizontal_part():
    assert name_of(read_crs("EPSG:26917+6360", "file")) == "EPSG:26917"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("EPSG:999999", "is not a CRS"),
        ("nonsense", "is not a CRS"),
        ("EPSG:4978", "does not place points"),  # geocentric
        ("EPSG:5773", "does not place points"),  # heights only
        ('LOCAL_CS["site grid",UNIT["metre",1]]', "does not place points"),
    ],
)
def test_what_is_no_use_as_a_crs_is_refused(text, words):
    with pytest.raises(SurveyError, match=words) as caught:
        read_crs(text, "garden.shp")
    assert caught.value.where == "garden.shp"
    assert caught.value.remedy


def test_nothing_to_choose_for():
    assert choose([], [], np.empty((0, 4, 2))) == []
