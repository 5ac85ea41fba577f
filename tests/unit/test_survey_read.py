"""What becomes of parcels, lawns, features and spot heights: every kind of trouble, once, counted.

All gardens are invented and lie in EPSG:25832 on squared paper, so that areas go by hand.
"""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
import shapely
from shapely import GeometryCollection, LineString, MultiPolygon, Point, Polygon, box

from lawnplat.errors import SettingsError, SurveyError
from lawnplat.settings.load import load_rule_book
from lawnplat.survey.field_map import FieldMap
from lawnplat.survey.read import read_survey

RULES = load_rule_book()
E, N = 500_000.0, 5_400_000.0
CRS = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}


def here(geometry):
    return shapely.transform(geometry, lambda xy: xy + np.array([E, N]))


def square(west, south, size=20.0):
    return box(west, south, west + size, south + size)


def raw(geometry):
    """Return GeoJSON text of a geometry moved to the site; text and None pass as they are."""
    if geometry is None or isinstance(geometry, str):
        return geometry or "null"
    three = geometry.has_z
    moved = shapely.transform(geometry, lambda c: c + ((E, N, 0)[: c.shape[1]]), include_z=three)
    return shapely.to_geojson(moved)


def layer(folder, name, rows):
    features = ",".join(
        f'{{"type":"Feature","properties":{json.dumps(values)},"geometry":{raw(geometry)}}}'
        for geometry, values in rows
    )
    text = f'{{"type":"FeatureCollection","crs":{json.dumps(CRS)},"features":[{features}]}}'
    (folder / f"{name}.geojson").write_text(text)


@pytest.fixture
def survey(tmp_path):
    """Return a reader of layers given as rows of (geometry, values)."""

    def read(parcels=None, options=None, **layers):
        one = [(square(0, 0), {"property_id": "a"})]
        layer(tmp_path, "parcels", one if parcels is None else parcels)
        for name, rows in layers.items():
            layer(tmp_path, name, rows)
        return read_survey([str(tmp_path)], rules=RULES, **(options or {}))

    return read


def ids(found):
    return [site.property_id for site in found.sites]


def rules(findings):
    return [(finding.rule, finding.count) for finding in findings]


# --- parcels ---------------------------------------------------------------------------------


def test_ids_of_every_type_become_text(survey):
    for value, expected in ((12, "12"), (12.0, "12"), (" 7 b ", "7 b"), ("0012", "0012"),
                            ("a\n\x1b[31mb", "a [31mb"), ("../b", "../b")):  # fmt: skip
        assert ids(survey([(square(0, 0), {"property_id": value})])) == [expected]


def test_missing_ids_are_coined_from_the_row_and_told_once(survey):
    found = survey([
        (square(0, 0), {"property_id": "a"}),
        (square(30, 0), {"property_id": None}),
        (square(60, 0), {"property_id": ""}),
    ])  # fmt: skip
    assert ids(found) == ["a", "row-2", "row-3"]
    assert rules(found.findings) == [("id_missing", 2)]
    assert found.findings[0].where == "parcels.geojson, layer parcels, rows 2 and 3"
    assert rules(found.sites[1].findings) == [("id_missing", 1)]


def test_column_of_ids_missing_altogether(survey):
    found = survey([(square(0, 0), {"ident": "x"}), (square(30, 0), {"ident": "y"})])
    assert ids(found) == ["row-1", "row-2"]
    assert "columns: ident" in found.findings[0].text


def test_coined_id_gives_way_to_a_stated_one(survey):
    found = survey([
        (square(0, 0), {"property_id": None}),
        (square(30, 0), {"property_id": "row-1"}),
    ])  # fmt: skip
    assert ids(found) == ["row-1-2", "row-1"]


def test_repeated_id_on_other_ground_gets_a_number(survey):
    found = survey([
        (square(0, 0), {"property_id": "a"}),
        (square(30, 0), {"property_id": "a"}),
        (square(60, 0), {"property_id": "a-2"}),
        (square(90, 0), {"property_id": "a"}),
    ])  # fmt: skip
    assert ids(found) == ["a", "a-3", "a-2", "a-4"]
    assert rules(found.findings) == [("id_repeated", 1), ("id_repeated", 1)]
    assert "called a-3" in found.findings[0].text


def test_rows_of_one_id_that_meet_along_an_edge_are_one_property(survey):
    found = survey([
        (square(0, 0), {"property_id": "a"}),
        (square(20, 0), {"property_id": "a"}),
    ])  # fmt: skip
    assert ids(found) == ["a"]
    assert found.sites[0].parcel.area == pytest.approx(800)
    assert rules(found.sites[0].findings) == [("parcel_in_parts", 1)]


def test_rows_of_one_id_that_meet_in_a_corner_are_two(survey):
    found = survey([
        (square(0, 0), {"property_id": "a"}),
        (square(20, 20), {"property_id": "a"}),
    ])  # fmt: skip
    assert ids(found) == ["a", "a-2"]


def test_parcel_that_stands_twice_is_read_once(survey):
    turned = Polygon([(20, 20), (0, 20), (0, 0), (20, 0)])
    found = survey([(square(0, 0), {"property_id": "a"}), (turned, {"property_id": "a"})])
    assert ids(found) == ["a"]
    assert rules(found.findings) == [("parcel_twice", 1)]


def test_overlapping_parcels_name_one_another_with_area_and_place(survey):
    found = survey([
        (square(0, 0), {"property_id": "a"}),
        (square(18, 0), {"property_id": "b"}),
        (square(38, 0), {"property_id": "c"}),
    ])  # fmt: skip
    first, second, third = found.sites
    assert rules(first.findings) == rules(second.findings) == [("parcels_overlap", 1)]
    assert first.findings[0].measured == pytest.approx(2 * 20)
    assert "property b" in first.findings[0].text
    assert first.findings[0].place.within(here(box(18, 0, 20, 20)))
    assert third.findings == ()
    assert first.parcel.area == pytest.approx(400)


@pytest.mark.parametrize(("width", "told"), [(0.0024, False), (0.0026, True)])
def test_overlap_counts_from_the_sliver_limit_on(survey, width, told):
    # 20 m long: 0.048 and 0.052 m2 about the limit of 0.05.
    found = survey([
        (square(0, 0), {"property_id": "a"}),
        (square(20 - width, 0), {"property_id": "b"}),
    ])  # fmt: skip
    assert bool(found.sites[0].findings) == told


BAD_PARCELS = {
    "null": (None, "bad_geometry"),
    "empty": ('{"type":"Polygon","coordinates":[]}', "bad_geometry"),
    "point": (Point(3, 3), "not_a_polygon"),
    "line": (LineString([(0, 0), (9, 9)]), "not_a_polygon"),
    "two points": (
        f'{{"type":"Polygon","coordinates":[[[{E},{N}],[{E + 5},{N}]]]}}', "bad_geometry"),
    "flat": (Polygon([(0, 0), (10, 0), (5, 0)]), "no_area"),
    "under a square metre": (square(50, 50, 0.9), "parcel_too_small"),
    "infinite": (
        f'{{"type":"Polygon","coordinates":[[[{E},{N}],[1e400,{N}],[{E},{N + 9}],[{E},{N}]]]}}',
        "bad_geometry"),
    "not on the earth": (
        f'{{"type":"Polygon","coordinates":[[[1e30,{N}],[2e30,{N}],[1e30,{N + 9}],[1e30,{N}]]]}}',
        "bad_coordinates"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD_PARCELS)
def test_parcel_that_cannot_be_used_is_refused_and_the_others_go_on(survey, case):
    geometry, rule = BAD_PARCELS[case]
    found = survey([
        (square(0, 0), {"property_id": "a"}),
        (geometry, {"property_id": "bad", "label": "Somewhere"}),
        (square(30, 0), {"property_id": "c"}),
    ])  # fmt: skip
    assert ids(found) == ["a", "c"]
    (refusal,) = found.refusals
    assert (refusal.property_id, refusal.label) == ("bad", "Somewhere")
    assert [(f.rule, f.severity) for f in refusal.findings] == [(rule, "stop")]
    assert refusal.findings[0].where == "parcels.geojson, layer parcels, row 2"


def test_every_parcel_refused_is_still_a_survey(survey):
    found = survey([(None, {"property_id": "a"})])
    assert found.sites == ()
    assert len(found.refusals) == 1


def test_parcel_of_a_square_metre_is_no_error_of_the_file(survey):
    assert ids(survey([(square(0, 0, 1.01), {"property_id": "a"})])) == ["a"]


def test_self_crossing_parcel_keeps_both_lobes_and_says_where(survey):
    found = survey([(Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]), {"property_id": "a"})])
    (site,) = found.sites
    assert site.parcel.area == pytest.approx(50, abs=1e-6)
    assert rules(site.findings) == [("repaired_outline", 1)]
    assert site.findings[0].place.distance(here(Point(5, 5))) < 1e-6


def test_unclosed_ring_is_closed(survey):
    corners = [[E, N], [E + 10, N], [E + 10, N + 10], [E, N + 10]]
    text = json.dumps({"type": "Polygon", "coordinates": [corners]})
    assert survey([(text, {"property_id": "a"})]).sites[0].parcel.area == pytest.approx(100)


def test_parcel_in_pieces_stays_in_pieces(survey):
    found = survey([(MultiPolygon([square(0, 0), square(40, 0)]), {"property_id": "a"})])
    assert found.sites[0].parcel.area == pytest.approx(800)
    assert found.sites[0].findings == ()


def test_only_gives_the_same_sites_as_all(survey):
    parcels = [(square(30 * i, 0), {"property_id": "a"}) for i in range(3)]
    features = [(square(5, 5, 2), {"kind": "water"}), (square(65, 5, 2), {"kind": "water"})]
    every = survey(parcels, features=features)
    (one,) = survey(parcels, options={"only": ["a-3"]}, features=features).sites
    assert one.property_id == every.sites[2].property_id == "a-3"
    assert one.parcel.equals(every.sites[2].parcel)
    assert [f.source for f in one.features] == [f.source for f in every.sites[2].features]


def test_only_with_an_unknown_id(survey):
    with pytest.raises(SurveyError, match="there is no property 'garden-9'; the nearest known"):
        survey([(square(0, 0), {"property_id": "garden-1"})], options={"only": ["garden-9"]})


# --- features --------------------------------------------------------------------------------


def one_feature(found):
    ((feature,),) = [site.features for site in found.sites]
    return feature


def test_feature_belongs_to_every_parcel_within_five_metres(survey):
    parcels = [(square(30 * i, 0), {"property_id": p}) for i, p in enumerate("abc")]
    # 2 m east of a and 7 m west of b; then 4.99 and 5.01 m off c; then over a and b.
    found = survey(parcels, features=[
        (Point(22, 5), {"kind": "tree"}),
        (Point(84.99, 5), {"kind": "rock"}),
        (Point(85.01, 5), {"kind": "wall"}),
        (box(15, 10, 35, 12), {"kind": "path"}),
    ])  # fmt: skip
    kinds = {site.property_id: [f.kind for f in site.features] for site in found.sites}
    assert kinds == {"a": ["tree", "path"], "b": ["path"], "c": ["rock"]}
    assert rules(found.findings) == [("outside_parcels", 1)]
    assert found.findings[0].where == "features.geojson, layer features, row 3"


def test_reach_counts_from_the_footprint(survey):
    found = survey(features=[
        (Point(26, 5), {"kind": "tree", "radius_m": 1.5}),
        (Point(26, 9), {"kind": "tree", "radius_m": 0.5}),
    ])  # fmt: skip
    assert one_feature(found).geometry.area == pytest.approx(math.pi * 1.5**2, rel=2e-3)


def test_feature_with_an_id_belongs_there_and_nowhere_else(survey):
    parcels = [(square(0, 0), {"property_id": 1}), (square(20, 0), {"property_id": 2})]
    found = survey(parcels, features=[(Point(19, 5), {"kind": "tree", "property_id": "2"})])
    assert [len(site.features) for site in found.sites] == [0, 1]
    assert found.findings == ()


def test_feature_far_from_its_own_parcel_is_kept_and_told(survey):
    found = survey(features=[(Point(120, 5), {"kind": "power_outlet", "property_id": "a"})])
    assert one_feature(found).geometry.equals(here(Point(120, 5)))
    (finding,) = found.sites[0].findings
    assert (finding.rule, finding.measured) == ("feature_far_off", pytest.approx(100))


def test_feature_of_an_unknown_property_is_taken_where_it_lies(survey):
    found = survey(features=[(Point(5, 5), {"kind": "tree", "property_id": "aa"})])
    assert one_feature(found).kind == "tree"
    assert rules(found.findings) == [("unknown_property", 1)]


def test_feature_of_a_repeated_id_goes_to_the_nearer(survey):
    parcels = [(square(0, 0), {"property_id": "a"}), (square(60, 0), {"property_id": "a"})]
    features = [(Point(62, 5), {"kind": "tree", "property_id": "a"}),
                (Point(30, 5), {"kind": "rock", "property_id": "a"})]  # fmt: skip
    found = survey(parcels, features=features)
    assert [[f.kind for f in site.features] for site in found.sites] == [["rock"], ["tree"]]


def test_feature_of_a_refused_property_is_not_called_outside(survey):
    parcels = [(square(0, 0), {"property_id": "a"}), (None, {"property_id": "b"})]
    found = survey(parcels, features=[(Point(500, 5), {"kind": "tree", "property_id": "b"})])
    assert found.findings == ()


def test_unknown_kind_is_kept_off_and_its_nearest_named_once(survey):
    found = survey(features=[
        (square(2, 2, 2), {"kind": "buidling"}),
        (square(6, 2, 2), {"kind": "buidling"}),
        (square(10, 2, 2), {"kind": None}),
    ])  # fmt: skip
    assert [f.kind for f in found.sites[0].features] == ["no_mow"] * 3
    assert rules(found.findings) == [("unknown_kind", 2), ("kind_missing", 1)]
    assert "nearest known kind is building" in found.findings[0].text
    assert rules(found.sites[0].findings) == rules(found.findings)


def test_kinds_by_the_field_map(survey):
    mapped = FieldMap(kind_values={"pond": "water"}, kind_default="building", kind_ignore=("lamp",))
    found = survey(options={"field_map": mapped}, features=[
        (square(2, 2, 2), {"kind": "pond"}),
        (square(6, 2, 2), {"kind": "whatever"}),
        (square(10, 2, 2), {"kind": "lamp"}),
        (square(14, 2, 2), {"kind": "tree"}),
    ])  # fmt: skip
    assert [f.kind for f in found.sites[0].features] == ["water", "building", "tree"]
    assert rules(found.findings) == [("ignored_kind", 1)]


def test_field_map_with_a_kind_that_is_none(survey):
    with pytest.raises(SettingsError, match=r"kinds\.default"):
        survey(options={"field_map": FieldMap(kind_default="shed")})


@pytest.mark.parametrize("value", ["wide", "-0.5", -0.5, "1,5", "nan", 1e999])
@pytest.mark.parametrize("name", ["radius_m", "width_m", "setback_m", "height_m"])
def test_measure_that_cannot_be_one_is_not_used_and_told(survey, name, value):
    value = "inf" if value == math.inf else value
    found = survey(features=[(Point(5, 5), {"kind": "tree", name: value})])
    assert one_feature(found).geometry.equals(here(Point(5, 5)))
    assert one_feature(found).setback_m is None
    assert rules(found.findings) == [("bad_value", 1)]
    assert f"{name} '{value}'" in found.findings[0].text


def test_a_column_of_numbers_and_words_is_read_value_by_value(survey):
    found = survey(features=[
        (Point(5, 5), {"kind": "tree", "radius_m": 0.5}),
        (Point(8, 5), {"kind": "tree", "radius_m": "wide"}),
        (Point(11, 5), {"kind": "tree", "radius_m": None}),
    ])  # fmt: skip
    types = [f.geometry.geom_type for f in found.sites[0].features]
    assert types == ["Polygon", "Point", "Point"]
    assert rules(found.findings) == [("bad_value", 1)]
    assert found.findings[0].where == "features.geojson, layer features, row 2"


def test_measures_written_as_text_are_read(survey):
    found = survey(features=[(Point(5, 5), {"kind": "tree", "setback_m": " 0.45 "})])
    assert one_feature(found).setback_m == 0.45
    assert found.findings == ()


@pytest.mark.parametrize("name", ["setback_m", "radius_m", "width_m"])
def test_millimetres_given_for_metres_are_caught(survey, name):
    found = survey(features=[(Point(5, 5), {"kind": "tree", name: 350})])
    assert one_feature(found).setback_m is None
    assert one_feature(found).geometry.equals(here(Point(5, 5)))
    assert "at most 20" in found.findings[0].text


def test_columns_that_hold_lists_and_tables_do_no_harm(survey):
    found = survey(
        features=[(Point(5, 5), {"kind": {"a": 1}, "radius_m": [1], "note": {"b": 2}}),
                  (Point(6, 5), {"kind": "tree", "radius_m": "0.5"})],
        spot_heights=[(Point(2, 2), {"elevation_m": [3]}), (Point(2, 2), {"elevation_m": "3"})],
    )  # fmt: skip
    assert [f.rule for f in found.findings] == ["unknown_kind", "bad_value", "bad_spot_height"]
    assert found.sites[0].spot_heights.shape == (1, 3)


def test_line_with_a_width_and_point_with_a_radius_become_areas(survey):
    found = survey(features=[
        (LineString([(2, 2), (12, 2)]), {"kind": "wall", "width_m": 0.3}),
        (Point(5, 10), {"kind": "tree", "radius_m": 0.5}),
        (LineString([(2, 5), (12, 5)]), {"kind": "fence"}),
    ])  # fmt: skip
    wall, tree, fence = (f.geometry for f in found.sites[0].features)
    assert wall.equals(here(box(2, 1.85, 12, 2.15)))
    assert tree.area == pytest.approx(math.pi * 0.25, rel=2e-3)  # 64 chords: 0.16 % less
    assert fence.length == pytest.approx(10)


def test_collection_becomes_one_feature_a_dimension(survey):
    mixed = GeometryCollection([square(2, 2, 2), LineString([(6, 2), (8, 2)]), Point(10, 2)])
    found = survey(features=[(mixed, {"kind": "wall", "radius_m": 0.2})])
    types = [f.geometry.geom_type for f in found.sites[0].features]
    assert types == ["Polygon", "LineString", "Polygon"]


def test_bow_tie_bed_keeps_both_lobes(survey):
    bed = Polygon([(2, 2), (6, 6), (6, 2), (2, 6)])
    found = survey(features=[(bed, {"kind": "flower_bed"})])
    assert one_feature(found).geometry.area == pytest.approx(8)
    assert rules(found.sites[0].findings) == [("repaired_outline", 1)]
    assert rules(found.findings) == [("repaired_outline", 1)]


def test_hair_is_left_out_but_a_post_stays(survey):
    found = survey(features=[
        (box(2, 2, 6, 2.005), {"kind": "wall"}),
        (square(8, 8, 0.1), {"kind": "wall"}),
    ])  # fmt: skip
    assert one_feature(found).geometry.area == pytest.approx(0.01)
    assert rules(found.findings) == [("sliver", 1)]


def test_features_without_geometry_are_counted(survey):
    found = survey(features=[(None, {"kind": "tree"}), (None, {"kind": "tree"})])
    assert rules(found.findings) == [("bad_geometry", 2)]


def test_feature_that_stands_twice_is_read_once(survey):
    pond = square(2, 2, 2)
    found = survey(features=[
        (pond, {"kind": "water"}),
        (Polygon([(4, 4), (2, 4), (2, 2), (4, 2)]), {"kind": "water"}),
        (pond, {"kind": "water", "setback_m": 2.0}),
        (pond, {"kind": "rock"}),
    ])  # fmt: skip
    kinds = [(f.kind, f.setback_m) for f in found.sites[0].features]
    assert kinds == [("water", None), ("water", 2.0), ("rock", None)]
    assert rules(found.findings) == [("feature_twice", 1)]


def test_line_without_length_is_a_point(survey):
    found = survey(features=[(LineString([(3, 3), (3, 3)]), {"kind": "rock", "radius_m": 0.5})])
    assert one_feature(found).geometry.centroid.distance(here(Point(3, 3))) < 1e-6


def test_street_through_the_town_is_cut_near_the_garden(survey):
    street = LineString([(-5000, -2), (5000, -2)])
    found = survey(features=[(street, {"kind": "path", "width_m": 2})])
    geometry = one_feature(found).geometry
    assert geometry.equals(here(box(-50, -3, 70, -1)))


def test_feature_heights_are_dropped(survey):
    found = survey(features=[(Polygon([(2, 2, 9), (4, 2, 9), (4, 4, 9)]), {"kind": "water"})])
    assert not one_feature(found).geometry.has_z


def test_text_of_many_lines_becomes_one(survey):
    found = survey(features=[(Point(5, 5), {"kind": "tree", "note": "old\n  oak "})])
    assert one_feature(found).note == "old oak"


# --- lawns and spot heights ------------------------------------------------------------------


def test_lawn_without_an_id_is_cut_at_the_boundaries(survey):
    parcels = [(square(0, 0), {"property_id": "a"}), (square(20, 0), {"property_id": "b"})]
    found = survey(parcels, lawns=[(box(10, 5, 35, 25), {})])
    assert [sum(lawn.area for lawn in site.lawns) for site in found.sites] == pytest.approx(
        [10 * 15, 15 * 15]
    )
    assert found.findings == ()


def test_lawn_with_an_id_stays_whole_and_what_lies_beyond_is_told(survey):
    found = survey(lawns=[(box(10, 5, 25, 15), {"property_id": "a"})])
    (site,) = found.sites
    assert site.lawns[0].area == pytest.approx(150)
    (finding,) = site.findings
    # 5 m beyond, less the 0.3 m within which an edge still counts as the boundary.
    assert (finding.rule, finding.measured) == ("lawn_beyond_parcel", pytest.approx(4.7 * 10))


def test_lawn_drawn_a_little_over_the_boundary_is_no_matter(survey):
    found = survey(lawns=[(box(10, 5, 20.2, 15), {"property_id": "a"})])
    assert found.sites[0].findings == ()


def test_lawns_that_cannot_be_used_are_told(survey):
    found = survey(lawns=[
        (None, {}), (Point(3, 3), {}), (square(100, 100), {}), (square(2, 2, 5), {}),
        (Polygon([(10, 10), (14, 14), (14, 10), (10, 14)]), {}),
    ])  # fmt: skip
    (site,) = found.sites
    assert [lawn.area for lawn in site.lawns] == pytest.approx([25, 4, 4])
    assert sorted(rules(found.findings)) == [
        ("bad_geometry", 1), ("bad_geometry", 1), ("outside_parcels", 1), ("repaired_outline", 1)
    ]  # fmt: skip


def test_spot_heights_from_the_column_or_from_z(survey):
    found = survey(spot_heights=[
        (Point(2, 2), {"elevation_m": 100.5}),
        (Point(4, 2, 101.5), {"elevation_m": None}),
        (Point(6, 2, 7.0), {"elevation_m": "102.5"}),
        (Point(69, 2), {"elevation_m": 103.5}),
        (Point(71, 2), {"elevation_m": 104.5}),
        (Point(8, 2), {"elevation_m": None}),
        (Point(9, 2), {"elevation_m": "high"}),
        (None, {"elevation_m": 1}),
    ])  # fmt: skip
    expected = np.array([[2, 2, 100.5], [4, 2, 101.5], [6, 2, 102.5], [69, 2, 103.5]])
    expected += np.array([E, N, 0])
    assert np.allclose(found.sites[0].spot_heights, expected)
    assert rules(found.findings) == [("bad_spot_height", 2), ("bad_spot_height", 1)]


def test_survey_without_spot_heights_has_an_empty_array(survey):
    assert survey().sites[0].spot_heights.shape == (0, 3)


# --- all together ----------------------------------------------------------------------------


def test_all_geometry_of_a_site_is_valid_plane_and_there(survey):
    found = survey(
        [(Polygon([(0, 0, 1), (20, 20, 1), (20, 0, 1), (0, 20, 1)]), {"property_id": "a"})],
        features=[
            (MultiPolygon([square(2, 2, 5), square(4, 4, 5)]), {"kind": "water"}),
            (Polygon([(5, 5), (9, 9), (9, 5), (5, 9)]), {"kind": "rock"}),
            (LineString([(1, 1), (5, 5), (5, 1), (1, 5)]), {"kind": "wall", "width_m": 0.2}),
        ],
        lawns=[(Polygon([(0, 0), (20, 20), (20, 0), (0, 20)]), {})],
    )
    (site,) = found.sites
    for geometry in (site.parcel, *site.lawns, *(f.geometry for f in site.features)):
        assert geometry.is_valid
        assert not geometry.has_z
        assert not geometry.is_empty


def test_same_files_same_survey(survey):
    parcels = [(square(15 * i, 0), {"property_id": "a"}) for i in range(4)]
    features = [(Point(5 * i, 5), {"kind": "oak"}) for i in range(15)]
    assert repr(survey(parcels, features=features)) == repr(survey(parcels, features=features))
