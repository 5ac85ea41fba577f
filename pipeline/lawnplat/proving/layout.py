"""What a plan's file holds: layers, the columns that checks need, and types of geometry.

Written out here, not taken from what writes the files, so that a column lost there is missed here.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

_COLUMNS = {
    "parcel": "label area_m2",
    "lawn": "area_m2",
    "feature_areas": "kind height_m setback_m source note",
    "feature_lines": "kind height_m setback_m source note",
    "feature_points": "kind height_m setback_m source note",
    "slope_zones": "zone from_pct to_pct area_m2",
    "keep_out": "kind setback_m area_m2",
    "mowable": "part role area_m2 loop",
    "hand_trim": "against area_m2",
    "passages": "width_m length_m verdict",
    "station": "bearing_deg tilt_pct outlet_distance_m mean_return_m loop",
    "station_area": "part loop",
    "station_options": "rank score rejected_because loop",
    "cable_route": "length_m from_outlet loop",
    "perimeter_wire": "length_m loop",
    "wire_sections": "section against setback_m from_m to_m cross_fall_pct loop",
    "return_lines": "line_no length_m steepest_pct mean_pct climb_m loop",
    "wire_joints": "joint on chainage_m loop",
    "pegs": "seq on chainage_m reason",
    "setting_out": "mark what edge_offset_m from_a dist_a_m from_b dist_b_m angle_deg side",
    "fixed_points": "name what",
    "parking_test": "line_no distance_m loop",
    "advisories": "rule severity text measured limit",
    "materials": "item quantity unit basis",
    "labour": "task quantity unit hours basis",
    "quote_lines": "line item quantity unit unit_price amount kind",
    "quote_options": "option machine_class fits reasons net tax total",
    "schedule": "month growth_factor hours_per_week days_per_week start end note",
    "cutting_heights": "day height_mm note",
    "programme_notes": "about number text",
    "commissioning": "number what how record loop",
    "machine_fit": "machine_class fits reasons hours_per_day",
    "run_info": "key value",
}

NEEDED: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {name: tuple(columns.split()) for name, columns in _COLUMNS.items()}
)
"""Columns by layer."""

GEOMETRY: Mapping[str, str] = MappingProxyType(
    {
        "parcel": "Polygon",
        "lawn": "MultiPolygon",
        "feature_areas": "MultiPolygon",
        "feature_lines": "MultiLineString",
        "feature_points": "MultiPoint",
        "slope_zones": "MultiPolygon",
        "keep_out": "MultiPolygon",
        "mowable": "Polygon",
        "hand_trim": "MultiPolygon",
        "passages": "Polygon",
        "station": "Point",
        "station_area": "Polygon",
        "station_options": "Point",
        "cable_route": "LineString",
        "perimeter_wire": "LineString",
        "wire_sections": "LineString",
        "return_lines": "LineString",
        "wire_joints": "Point",
        "pegs": "Point",
        "setting_out": "Point",
        "fixed_points": "Point",
        "parking_test": "Point",
        "advisories": "Point",
    }
)
"""Simple feature types by layer; what is not named here is a table."""
