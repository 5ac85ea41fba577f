"""The layers of a plan and of a portfolio in one place: names, geometry, columns.

Everything that writes or reads a plan file takes its layers from here. Lengths in metres, areas in
square metres, slopes and gradients in percent, bearings in degrees clockwise from grid north; the
unit is the end of a column's name. Every layer also has the column `PROPERTY_ID`, first.
"""

from __future__ import annotations

from dataclasses import dataclass

PROPERTY_ID = "property_id"
PLAN_FILE = "plan.gpkg"
PICTURE_FILE = "plan.svg"
ROVER_FILE = "rover.csv"
SHEET_FILE = "site_sheet.html"
SHEET_PDF_FILE = "site_sheet.pdf"
INDEX_FILE = "index.html"
PORTFOLIO_FILE = "portfolio.gpkg"
PORTFOLIO_TABLE_FILE = "portfolio.csv"
QUOTE_FILE = "quote.csv"
QUOTE_BOOK_FILE = "quotes.csv"
STYLES_TABLE = "layer_styles"

MADE_BY = ("made_by", "lawnplat")
"""The ``run_info`` row by which a file is known as ours, and so may be replaced."""


@dataclass(frozen=True)
class Column:
    """One column. ``type`` is ``str``, ``float``, ``int`` or ``bool``; any value may be missing."""

    name: str
    type: str


@dataclass(frozen=True)
class Layer:
    """One layer or table.

    ``geometry`` is a simple feature type, such as ``Polygon`` or ``MultiPolygon``, or ``None`` (a
    table). ``columns`` are those beyond `PROPERTY_ID`.
    """

    name: str
    geometry: str
    columns: tuple[Column, ...]
    about: str

    @property
    def all_columns(self) -> tuple[Column, ...]:
        """Return the columns with `PROPERTY_ID` in front."""
        return (Column(PROPERTY_ID, "str"), *self.columns)


def make_layer(name: str, geometry: str, columns: str, about: str) -> Layer:
    """Build a layer from ``name:type`` words; a name alone is a float."""
    pairs = (word.partition(":") for word in columns.split())
    return Layer(name, geometry, tuple(Column(n, t or "float") for n, _, t in pairs), about)


_FEATURE = "kind:str height_m setback_m source:str note:str"
_FEATURES = "Surveyed things as the plan took them (setback_m only where the survey gave one):"

LAYERS: tuple[Layer, ...] = (
    make_layer("parcel", "Polygon", "label:str area_m2", "The property; a row for each piece"),
    make_layer("lawn", "MultiPolygon", "area_m2", "All grass"),
    make_layer("feature_areas", "MultiPolygon", _FEATURE, f"{_FEATURES} areas"),
    make_layer("feature_lines", "MultiLineString", _FEATURE, f"{_FEATURES} lines"),
    make_layer("feature_points", "MultiPoint", _FEATURE, f"{_FEATURES} points"),
    make_layer(
        "slope_zones",
        "MultiPolygon",
        "zone:str from_pct to_pct area_m2",
        "The lawn by slope; to_pct is missing where the zone has no upper end",
    ),
    make_layer("keep_out", "MultiPolygon", "kind:str setback_m area_m2", "Lawn given up, by cause"),
    make_layer("mowable", "Polygon", "part:int role:str area_m2 loop:int", "What the machine mows"),
    make_layer("hand_trim", "MultiPolygon", "against:str area_m2", "Lawn that the machine leaves"),
    make_layer("passages", "Polygon", "width_m length_m verdict:str", "Narrow places"),
    make_layer(
        "station",
        "Point",
        "bearing_deg tilt_pct outlet_distance_m mean_return_m upslope_m2 loop:int",
        "The station, on the line of the perimeter",
    ),
    make_layer("station_area", "Polygon", "part:str loop:int", "Ground kept clear for the station"),
    make_layer(
        "station_options",
        "Point",
        "rank:int score tilt_pct upslope_m2 water_m outlet_distance_m cable_paved_m mean_return_m "
        "worst_return_m openness_m bearing_deg front_clear:bool base_on_lawn:bool "
        "straight_wire:bool drawn_in_m in_passage:bool rejected_because:str loop:int",
        "Places looked at for the station; rank 1 is chosen, 0 is rejected",
    ),
    make_layer(
        "cable_route",
        "LineString",
        "length_m paved_m from_outlet:str loop:int",
        "The low-voltage cable, from the outlet to the station; from_outlet is its survey row",
    ),
    make_layer(
        "perimeter_wire",
        "LineString",
        "length_m loop:int",
        "The conductor, left terminal to right; one a loop",
    ),
    make_layer(
        "wire_sections",
        "LineString",
        "section:str against:str setback_m from_m to_m cross_fall_pct loop:int",
        "The conductor by what it runs against",
    ),
    make_layer(
        "return_lines",
        "LineString",
        "line_no:int length_m steepest_pct mean_pct climb_m lawn_mean_m lawn_p95_m loop:int",
        "Return lines, from the station outward",
    ),
    make_layer(
        "wire_joints", "Point", "joint:str on:str chainage_m loop:int", "Joints in the wires"
    ),
    make_layer("pegs", "Point", "seq:int on:str chainage_m reason:str", "Pegs along the wires"),
    make_layer(
        "setting_out",
        "Point",
        "mark:str what:str on:str chainage_m edge_offset_m edge:str from_a:str dist_a_m from_b:str "
        "dist_b_m side:str angle_deg height_m to_mark:str to_next_offset_m loop:int",
        "Marks with two horizontal tape distances from fixed_points, told to the millimetre; side "
        "is the mark's for one who looks from from_a to from_b; up to to_mark the wire is straight "
        "or one arc, to_next_offset_m left of the middle of its chord",
    ),
    make_layer("fixed_points", "Point", "name:str what:str", "Corners that tapes are hooked to"),
    make_layer(
        "parking_test",
        "Point",
        "line_no:int distance_m loop:int",
        "Where the acceptance test starts",
    ),
    make_layer(
        "advisories",
        "Point",
        "rule:str severity:str text:str measured limit count:int source:str",
        "What the plan asks to be looked at; a point inside the parcel where it has no one place",
    ),
    make_layer(
        "coverage",
        "MultiPolygon",
        "cut:str share area_m2 loop:int",
        "Simulated: the lawn by how often it is cut, share is of the lawn's mean; with --prove",
    ),
    make_layer(
        "materials",
        "None",
        "item:str quantity unit:str basis:str size:str supplied",
        "What to bring; supplied is how much of it comes with the machine",
    ),
    make_layer("labour", "None", "task:str quantity unit:str hours basis:str", "Work to do"),
    make_layer(
        "quote_lines",
        "None",
        "line:int item:str quantity unit:str unit_price amount kind:str",
        "Priced lines; amount is missing where a price is",
    ),
    make_layer(
        "quote_options",
        "None",
        "option:str machine_class:str fits:bool reasons:str net tax total hand_trimming:bool "
        "cable_m cable_size:str cable_supplied_m",
        "The whole job in other ways",
    ),
    make_layer(
        "schedule",
        "None",
        "month:int growth_factor hours_per_week days_per_week:int start:str end:str note:str",
        "Mowing hours by month, local clock time; start and end are empty where it rests",
    ),
    make_layer(
        "cutting_heights",
        "None",
        "day:int height_mm note:str",
        "Cutting height from each day on; day 1 is the first of mowing",
    ),
    make_layer(
        "programme_notes",
        "None",
        "about:str number:int text:str",
        "The first weeks, and the basis of the schedule, in sentences",
    ),
    make_layer(
        "commissioning",
        "None",
        "number:int what:str how:str record:str loop:int",
        "What is checked and written down at hand-over; loop 0 is the whole site",
    ),
    make_layer(
        "coverage_days",
        "None",
        "day:int that_day that_day_low that_day_high so_far so_far_low so_far_high loop:int",
        "Simulated: share of the lawn cut on a day and until then; nine runs in ten lie between "
        "low and high",
    ),
    make_layer(
        "homing",
        "None",
        "journeys:int median_min p95_min worst_min reserve_min late_share by_line_share loop:int",
        "Simulated: time to reach the station, against what the battery holds for it",
    ),
    make_layer(
        "departures",
        "None",
        "line_no:int share start_distance_m loop:int",
        "Simulated: where to leave for the lawn so that it is cut evenly; line 0 is the station",
    ),
    make_layer(
        "machine_fit",
        "None",
        "machine_class:str fits:bool reasons:str hours_per_day",
        "Machine classes held against the property",
    ),
    make_layer("run_info", "None", "key:str value:str", "How the plan came about"),
)

PROPERTIES = make_layer(
    "properties",
    "MultiPolygon",
    "label:str status:str reason:str machine_class:str lawn_m2 mowable_m2 hand_trim_m2 "
    "perimeter_m return_lines_m pegs:int advisories:int folder:str",
    "One row a property; advisories counts what warns or stops, not notes",
)

FINDINGS = make_layer(
    "findings",
    "Point",
    "rule:str severity:str text:str measured limit",
    "What a check of plans found broken, at the worst spot of each",
)

PORTFOLIO_RUN_INFO = make_layer("run_info", "None", "key:str value:str", "How the file came about")


def layer(name: str) -> Layer:
    """Return the plan layer of that name.

    Raises
    ------
    KeyError
        If a plan has no such layer.
    """
    for candidate in LAYERS:
        if candidate.name == name:
            return candidate
    known = ", ".join(each.name for each in LAYERS)
    raise KeyError(f"a plan has no layer '{name}'; it has {known}")
