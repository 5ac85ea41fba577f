"""Rows of the layers, against the garden drawn by hand in conftest."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest
from shapely import GeometryCollection, LineString, MultiPolygon, Point, Polygon, box

from lawnplat.deliver.contract import LAYERS, MADE_BY, PROPERTIES, layer
from lawnplat.deliver.frames import layer_frame
from lawnplat.deliver.rows import as_type, known, plan_rows
from lawnplat.planned import Outcome, Plan
from lawnplat.survey.types import Feature

# contract.md section 3, typed in again from the page; the layers of features are an
# addition to it, as are the last columns of `advisories`.
PROMISED = {
    "parcel": "label area_m2",
    "lawn": "area_m2",
    "slope_zones": "zone from_pct to_pct area_m2",
    "keep_out": "kind setback_m area_m2",
    "mowable": "part role area_m2",
    "hand_trim": "against area_m2",
    "passages": "width_m length_m verdict",
    "station": "bearing_deg tilt_pct outlet_distance_m mean_return_m",
    "station_area": "part",
    "station_options": "rank score rejected_because",
    "perimeter_wire": "length_m",
    "wire_sections": "section against setback_m from_m to_m cross_fall_pct",
    "return_lines": "line_no length_m steepest_pct mean_pct climb_m",
    "wire_joints": "joint on chainage_m",
    "pegs": "seq on chainage_m reason",
    "setting_out": "mark what edge_offset_m from_a dist_a_m from_b dist_b_m angle_deg",
    "parking_test": "line_no distance_m",
    "advisories": "rule severity text measured limit",
    "materials": "item quantity unit basis",
    "labour": "task quantity unit hours basis",
    "quote_lines": "line item quantity unit unit_price amount kind",
    "quote_options": "option machine_class fits reasons net tax total",
    "schedule": "month growth_factor hours_per_week days_per_week start end note",
    "cutting_heights": "day height_mm note",
    "programme_notes": "about number text",
    "commissioning": "number what how record loop",
    "coverage": "cut share area_m2 loop",
    "coverage_days": "day that_day that_day_low that_day_high so_far so_far_low so_far_high",
    "homing": "journeys median_min p95_min worst_min reserve_min late_share by_line_share",
    "departures": "line_no share start_distance_m loop",
    "machine_fit": "machine_class fits reasons hours_per_day",
    "run_info": "key value",
}
PYTHON = {"str": str, "float": (float, int), "int": int, "bool": bool}


def cells(plan: Plan, name: str, column: str) -> list[object]:
    at = [each.name for each in layer(name).all_columns].index(column)
    return [row.values[at] for row in plan_rows(plan)[name]]


@pytest.mark.parametrize("name", PROMISED)
def test_every_promised_layer_has_its_columns(name: str) -> None:
    assert set(PROMISED[name].split()) <= {column.name for column in layer(name).columns}


def test_no_layer_is_unknown_to_the_contract() -> None:
    assert {each.name for each in LAYERS} == {
        *PROMISED, "cable_route", "feature_areas", "feature_lines", "feature_points",
        "fixed_points",
    }  # fmt: skip


@pytest.mark.parametrize("about", LAYERS, ids=lambda each: each.name)
def test_values_fit_their_columns_and_geometry_its_type(garden_plan: Plan, about) -> None:
    for row in plan_rows(garden_plan)[about.name]:
        assert row.values[0] == "G-1"
        for column, value in zip(about.all_columns, row.values, strict=True):
            assert value is None or isinstance(value, PYTHON[column.type]), column.name
        if about.geometry == "None":
            assert row.geometry is None
        else:
            assert row.geometry.geom_type == about.geometry


def test_what_has_no_end_or_is_not_known_is_missing(garden_plan: Plan) -> None:
    assert cells(garden_plan, "slope_zones", "to_pct") == [15.0, 35.0, None]
    assert cells(garden_plan, "station_options", "score") == [1.2, None]
    assert cells(garden_plan, "station_options", "outlet_distance_m") == [2.4, None]
    assert cells(garden_plan, "wire_sections", "cross_fall_pct") == [None, 1.0]


def test_areas_by_hand(garden_plan: Plan) -> None:
    # 24 m x 18 m, and the wire's own length is what the layer says: arithmetic.
    assert cells(garden_plan, "parcel", "area_m2") == [pytest.approx(432.0)]
    (length,) = cells(garden_plan, "perimeter_wire", "length_m")
    assert length == garden_plan.layout.perimeter.line.length


def test_empty_geometry_makes_no_row(garden_plan: Plan) -> None:
    assert cells(garden_plan, "keep_out", "kind") == ["building", "too_steep"]


def test_a_parcel_of_two_pieces_is_two_rows(garden_plan: Plan) -> None:
    two = MultiPolygon([box(0, 0, 2, 1), box(5, 0, 6, 1)])
    plan = replace(garden_plan, site=replace(garden_plan.site, parcel=two))
    assert cells(plan, "parcel", "area_m2") == [2.0, 1.0]


def test_surveyed_things_by_dimension(garden_plan: Plan) -> None:
    both = GeometryCollection([Point(1, 1), box(0, 0, 1, 2), LineString([(0, 0), (3, 4)])])
    site = replace(garden_plan.site, features=(Feature("rock", both, "f"),))
    rows = plan_rows(replace(garden_plan, site=site))
    assert rows["feature_areas"][0].geometry.area == 2.0
    assert rows["feature_lines"][0].geometry.length == 5.0
    assert rows["feature_points"][0].geometry.geom_type == "MultiPoint"


def test_rings_turn_as_simple_features_ask() -> None:
    clockwise = Polygon([(0, 0), (0, 9), (9, 9), (9, 0)], [[(1, 1), (2, 1), (2, 2), (1, 2)]])
    turned = as_type(clockwise, "MultiPolygon").geoms[0]
    assert turned.exterior.is_ccw
    assert not turned.interiors[0].is_ccw


def test_an_advisory_without_a_place_is_put_inside_the_parcel(garden_plan: Plan) -> None:
    placed, loose = plan_rows(garden_plan)["advisories"]
    assert placed.geometry == garden_plan.findings[0].place
    assert garden_plan.site.parcel.contains(loose.geometry)
    assert placed.values[4:6] == (18.0, 15.0)
    assert loose.values[4] is None


def test_a_stopped_plan_keeps_what_is_known(stopped_plan: Plan) -> None:
    rows = plan_rows(stopped_plan)
    assert {name for name, found in rows.items() if found} == {
        "parcel", "feature_areas", "feature_lines", "feature_points", "lawn",
        "slope_zones", "keep_out", "mowable", "hand_trim", "passages", "advisories", "run_info",
    }  # fmt: skip


def test_run_info_names_the_maker_first(garden_plan: Plan) -> None:
    assert plan_rows(garden_plan)["run_info"][0].values == ("G-1", *MADE_BY)


def test_texts_that_no_file_can_hold_are_mended() -> None:
    assert known("a\ud800b\0c") == "a?bc"
    assert known("Straße 名") == "Straße 名"


def test_portfolio_columns_are_fields_of_an_outcome() -> None:
    names = {each.name for each in fields(Outcome)}
    assert {column.name for column in PROPERTIES.all_columns} == names - {
        "outline", "crs", "quote", "needs_visit", "visit", "wire", "stations",
    }  # fmt: skip


@pytest.mark.parametrize("about", LAYERS, ids=lambda each: each.name)
def test_frames_hold_the_same_rows(garden_plan: Plan, about) -> None:
    frame = layer_frame(garden_plan, about.name)
    rows = plan_rows(garden_plan)[about.name]
    assert list(frame.columns) == [*(c.name for c in about.all_columns), "geometry"]
    assert len(frame) == len(rows)
    assert frame.crs.to_epsg() == 25832
    assert [*frame.geometry] == [row.geometry for row in rows]


def test_an_unknown_layer_is_named_with_the_known() -> None:
    with pytest.raises(KeyError, match="no layer 'wires'; it has parcel, lawn"):
        layer("wires")


def test_polygons_become_multipolygons_only_where_asked(garden_plan: Plan) -> None:
    lawn = garden_plan.ground.lawn
    ground = replace(garden_plan.ground, lawn=Polygon(lawn.geoms[0]))
    plan = replace(garden_plan, ground=ground)
    assert plan_rows(plan)["lawn"][0].geometry.geom_type == "MultiPolygon"
