"""The checker objects to every way in which a good plan is spoiled here."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import LineString, Point, Polygon, affinity

from holds import PlanFile, breaches, breaches_seen_here, read_plan

from .conftest import Run

RICH = "garden-02"
"""Islands, leads, firm trees, passages: every kind of thing that can be spoiled."""

Spoil = Callable[[PlanFile], PlanFile]


def with_shape(plan: PlanFile, layer: str, place: int, shape: object) -> PlanFile:
    frame = plan[layer].copy()
    frame.loc[frame.index[place], "geometry"] = shape
    return plan.put(layer, frame)


def with_value(plan: PlanFile, layer: str, column: str, value: object, place: int = 0) -> PlanFile:
    frame = plan[layer].copy()
    frame[column] = frame[column].astype(object)
    frame.loc[frame.index[place], column] = value
    return plan.put(layer, frame.infer_objects())


def without(plan: PlanFile, layer: str, place: int) -> PlanFile:
    return plan.put(layer, plan[layer].drop(plan[layer].index[place]))


def with_wire(plan: PlanFile, points: np.ndarray) -> PlanFile:
    wire = LineString(points)
    return with_value(
        with_shape(plan, "perimeter_wire", 0, wire), "perimeter_wire", "length_m", wire.length
    )


def vertex_toward_a_wall(plan: PlanFile) -> PlanFile:
    """Move the wire's vertex nearest to the house 10 cm toward it."""
    areas = plan["feature_areas"]
    house = areas[areas["kind"] == "building"].geometry.union_all()
    points = shapely.get_coordinates(plan.wire)
    near = 1 + int(np.argmin(shapely.distance(shapely.points(points[1:-1]), house)))
    there = shapely.get_coordinates(shapely.shortest_line(Point(points[near]), house))
    step = there[1] - there[0]
    points[near] += 0.10 * step / np.hypot(*step)
    return with_wire(plan, points)


def vertex_inward(plan: PlanFile) -> PlanFile:
    """Leave a square metre or so of mowable ground outside the wire."""
    points = shapely.get_coordinates(plan.wire)
    lengths = np.hypot(*np.diff(points, axis=0).T)
    start = int(np.argmax(lengths))
    middle = (points[start] + points[start + 1]) / 2
    run = (points[start + 1] - points[start]) / lengths[start]
    inward = np.array([run[1], -run[0]])
    return with_wire(plan, np.insert(points, start + 1, middle + 0.3 * inward, axis=0))


def wire_crossing_itself(plan: PlanFile) -> PlanFile:
    points = shapely.get_coordinates(plan.wire)
    points[[40, 60]] = points[[60, 40]]
    return with_wire(plan, points)


def wire_backwards(plan: PlanFile) -> PlanFile:
    return with_wire(plan, shapely.get_coordinates(plan.wire)[::-1])


def wire_open_too_wide(plan: PlanFile) -> PlanFile:
    line = shapely.ops.substring(plan.wire, 1.0, plan.wire.length)
    return with_wire(plan, shapely.get_coordinates(line))


def station_shifted(plan: PlanFile) -> PlanFile:
    """Shift the station 0.3 m along the wire."""
    along = np.array([-plan.bearing[1], plan.bearing[0]]) * 0.3
    return with_shape(plan, "station", 0, affinity.translate(plan.station, *along))


def station_turned(plan: PlanFile) -> PlanFile:
    turned = (plan["station"]["bearing_deg"].iloc[0] + 10) % 360
    return with_value(plan, "station", "bearing_deg", turned)


def line_across_the_wire(plan: PlanFile) -> PlanFile:
    line = plan["return_lines"].geometry.iloc[0]
    points = shapely.get_coordinates(line)
    far = points[-1] + 3 * (points[-1] - points[-2]) / np.hypot(*(points[-1] - points[-2]))
    middle = len(points) // 2
    return with_shape(plan, "return_lines", 0, LineString(np.insert(points, middle, far, axis=0)))


def line_short_of_the_wire(plan: PlanFile) -> PlanFile:
    line = plan["return_lines"].geometry.iloc[0]
    return with_shape(plan, "return_lines", 0, shapely.ops.substring(line, 0, line.length - 0.1))


def line_bent_at_once(plan: PlanFile) -> PlanFile:
    points = shapely.get_coordinates(plan["return_lines"].geometry.iloc[0])
    return with_shape(plan, "return_lines", 0, LineString(points[[0, 5, *range(6, len(points))]]))


def line_along_the_wire(plan: PlanFile) -> PlanFile:
    """Draw the line's middle to within 0.1 m of the nearest wire."""
    points = shapely.get_coordinates(plan["return_lines"].geometry.iloc[0])
    middle = len(points) // 2
    ends = shapely.get_coordinates(shapely.shortest_line(Point(points[middle]), plan.wire))
    step = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    points[middle] = ends[1] - 0.1 * step
    return with_shape(plan, "return_lines", 0, LineString(points))


def line_through_a_tree(plan: PlanFile) -> PlanFile:
    areas = plan["feature_areas"]
    tree = areas[areas["kind"] == "tree"].geometry.iloc[0].centroid
    points = shapely.get_coordinates(plan["return_lines"].geometry.iloc[0])
    middle = len(points) // 2
    return with_shape(
        plan, "return_lines", 0, LineString(np.insert(points, middle, tree.coords[0], axis=0))
    )


def peg_dropped(plan: PlanFile) -> PlanFile:
    return without(plan, "pegs", 30)


def tape_misread(plan: PlanFile) -> PlanFile:
    """Two centimetres: at any cut the mark is off by half of that at least."""
    told = plan["setting_out"]["dist_a_m"].iloc[0] + 0.02
    return with_value(plan, "setting_out", "dist_a_m", told)


def mark_on_the_other_side(plan: PlanFile) -> PlanFile:
    other = {"left": "right", "right": "left"}[plan["setting_out"]["side"].iloc[0]]
    return with_value(plan, "setting_out", "side", other)


def fixed_point_behind_the_house(plan: PlanFile) -> PlanFile:
    place = plan["setting_out"]["from_a"].iloc[0]
    row = list(plan["fixed_points"]["name"]).index(place)
    house = plan["feature_areas"].geometry.iloc[0].centroid
    return with_shape(plan, "fixed_points", row, house)


def note_of_bare_marks_dropped(plan: PlanFile) -> PlanFile:
    notes = plan["advisories"]
    return plan.put("advisories", notes[notes["rule"] != "setting_out"])


def marks_of_the_joints_dropped(plan: PlanFile) -> PlanFile:
    marks = plan["setting_out"]
    return plan.put("setting_out", marks[marks["what"] != "joint"])


def pegs_of_the_bends_dropped(plan: PlanFile) -> PlanFile:
    pegs = plan["pegs"]
    return plan.put("pegs", pegs[pegs["reason"] != "bend"])


def peg_beside_the_wire(plan: PlanFile) -> PlanFile:
    peg = plan["pegs"].geometry.iloc[30]
    return with_shape(plan, "pegs", 30, affinity.translate(peg, 0.05, 0.05))


def section_dropped(plan: PlanFile) -> PlanFile:
    return without(plan, "wire_sections", 5)


def lead_back_called_edge(plan: PlanFile) -> PlanFile:
    sections = plan["wire_sections"]
    back = int(np.argmax((sections["section"] == "lead_back").to_numpy()))
    return with_value(plan, "wire_sections", "section", "edge", back)


def setback_beautified(plan: PlanFile) -> PlanFile:
    sections = plan["wire_sections"]
    edge = int(np.argmax((sections["section"] == "edge").to_numpy()))
    return with_value(plan, "wire_sections", "setback_m", 0.5, edge)


def mown_island(plan: PlanFile) -> PlanFile:
    part = plan["mowable"].geometry.iloc[0]
    rings = sorted(part.interiors, key=lambda ring: Polygon(ring).area)
    return with_shape(plan, "mowable", 0, Polygon(part.exterior, rings[:-1]))


def trim_on_mown_ground(plan: PlanFile) -> PlanFile:
    moved = affinity.translate(plan["hand_trim"].geometry.iloc[0], 1.0, 1.0)
    return with_shape(plan, "hand_trim", 0, moved)


def last_row_dropped(layer: str) -> Spoil:
    def spoil(plan: PlanFile) -> PlanFile:
        return without(plan, layer, -1)

    spoil.__name__ = f"last_of_{layer}"
    return spoil


def record_of_the_rules_dropped(plan: PlanFile) -> PlanFile:
    record = plan["run_info"]
    return plan.put("run_info", record[record["key"] != "rule_book_sha256"])


def layer_dropped(plan: PlanFile) -> PlanFile:
    left = {name: frame for name, frame in plan.layers.items() if name != "setting_out"}
    return PlanFile(left, plan.path)


def column_dropped(plan: PlanFile) -> PlanFile:
    return plan.put("pegs", plan["pegs"].drop(columns="reason"))


def joint_moved(plan: PlanFile) -> PlanFile:
    joints = plan["wire_joints"]
    three_way = int(np.argmax((joints["joint"] == "three_way").to_numpy()))
    return with_value(plan, "wire_joints", "chainage_m", 12.0, three_way)


def splice_dropped(plan: PlanFile) -> PlanFile:
    joints = plan["wire_joints"]
    return plan.put("wire_joints", joints[joints["joint"] != "splice"])


def short_of_wire(plan: PlanFile) -> PlanFile:
    items = plan["materials"]["item"]
    place = int(np.argmax((items == "perimeter wire").to_numpy()))
    less = plan["materials"]["quantity"].iloc[place] - 5
    return with_value(plan, "materials", "quantity", less, place)


def a_stop_in_a_planned_plan(plan: PlanFile) -> PlanFile:
    row = {
        "property_id": RICH, "rule": "x", "severity": "stop", "text": "something stops this plan",
        "geometry": plan.station,
    }  # fmt: skip
    frame = pd.concat([plan["advisories"], pd.DataFrame([row])], ignore_index=True)
    return plan.put("advisories", frame)


SPOILT: tuple[tuple[Spoil, str], ...] = (
    (vertex_toward_a_wall, "setback"),
    (vertex_inward, "enclosure"),
    (wire_crossing_itself, "conductor"),
    (wire_backwards, "conductor"),
    (wire_open_too_wide, "conductor"),
    (station_shifted, "station"),
    (station_turned, "station"),
    (line_across_the_wire, "return_line"),
    (line_short_of_the_wire, "return_line"),
    (line_bent_at_once, "return_line"),
    (line_along_the_wire, "return_line: corridor"),
    (line_through_a_tree, "return_line"),
    (peg_dropped, "pegs"),
    (pegs_of_the_bends_dropped, "pegs"),
    (tape_misread, "setting_out"),
    (mark_on_the_other_side, "setting_out"),
    (fixed_point_behind_the_house, "setting_out"),
    (note_of_bare_marks_dropped, "setting_out"),
    (marks_of_the_joints_dropped, "setting_out"),
    (peg_beside_the_wire, "pegs"),
    (section_dropped, "sections"),
    (lead_back_called_edge, "pairs"),
    (setback_beautified, "sections"),
    (mown_island, "enclosure"),
    (trim_on_mown_ground, "hand_trim"),
    (last_row_dropped("keep_out"), "tiles"),
    (last_row_dropped("mowable"), "tiles"),
    (last_row_dropped("slope_zones"), "zones"),
    (last_row_dropped("parking_test"), "parking_test"),
    (record_of_the_rules_dropped, "run_info"),
    (layer_dropped, "layers"),
    (column_dropped, "layers"),
    (joint_moved, "joints"),
    (splice_dropped, "joints"),
    (short_of_wire, "materials"),
    (a_stop_in_a_planned_plan, "status"),
)


def name_of(value: object) -> str:
    return getattr(value, "__name__", str(value))


@pytest.fixture(scope="module")
def good(street: Run) -> PlanFile:
    return street.plan(RICH)


def test_the_plan_that_is_spoilt_is_good(street: Run, good: PlanFile) -> None:
    assert breaches(good, street.given(RICH)) == []


@pytest.mark.parametrize(("spoil", "expected"), SPOILT, ids=name_of)
def test_the_checker_objects(street: Run, good: PlanFile, spoil: Spoil, expected: str) -> None:
    after = breaches_seen_here(spoil(good), street.given(RICH))
    assert any(said.startswith(expected) for said in after), f"it only said {after}"


def test_a_spoilt_file_is_seen_too(street: Run, tmp_path: Path) -> None:
    """The mutants above change what was read; this one changes the file."""
    path = tmp_path / "plan.gpkg"
    shutil.copyfile(street.plan_path(RICH), path)
    with closing(sqlite3.connect(path)) as plan, plan:
        plan.execute("UPDATE materials SET quantity = quantity - 1 WHERE item = 'pegs'")
    said = breaches(read_plan(path), street.given(RICH))
    assert any(each.startswith("materials") for each in said)
