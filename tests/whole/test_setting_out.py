"""Setting out, held on the written layers: tapes, cuts, marks that are few and tell all the wire.

Measured here with shapely and the plan's own layers; the planner's code is not asked. The limits
are the issue's: tapes of 30 m, cuts of 30 to 150 degrees, 1 cm, arcs within 3 cm.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import momepy
import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import LineString, Point
from shapely.ops import substring

from holds import PlanFile, read_plan
from lawnplat.deliver.gpkg import write_plan
from lawnplat.plan import plan_site
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.field_map import load_field_map
from lawnplat.survey.read import read_survey

from .awkward import GARDENS
from .awkward_plans import drawn
from .conftest import Run
from .planning import RULES

LONGEST_M, CUT_DEG, BACK_M, ARC_M = 30.0, (30.0, 150.0), 0.01, 0.03
PAIR_M = 2 * RULES.wire.pair_gap_m  # a lead's wires lie a gap apart, their bends a little more
PLANNED = tuple(f"garden-0{n}" for n in (1, 2, 3, 4, 6, 7, 8, 9))
FIELD_MAP = """
[layers]
parcels = "plots"
features = "buildings"
[columns.parcels]
property_id = "ID"
[kinds]
default = "building"
"""


@dataclass(frozen=True)
class Case:
    name: str
    file: PlanFile

    @property
    def marks(self) -> pd.DataFrame:
        return self.file["setting_out"]

    @property
    def wires(self) -> dict[str, LineString]:
        wires = {
            "perimeter" if row.loop == 1 else f"perimeter_{row.loop}": row.geometry
            for row in self.file["perimeter_wire"].itertuples()
        }
        return wires | {
            f"return_{row.line_no}": row.geometry for row in self.file["return_lines"].itertuples()
        }

    @property
    def ways_back(self) -> list[tuple[float, float]]:
        sections = self.file["wire_sections"]
        back = sections[sections["section"] == "lead_back"]
        runs: list[tuple[float, float]] = []
        for first, last in zip(back["from_m"], back["to_m"], strict=True):
            if runs and abs(runs[-1][1] - first) < 1e-6:
                runs[-1] = (runs[-1][0], last)
            else:
                runs.append((first, last))
        return runs


@pytest.fixture(scope="module")
def real_plots(tmp_path_factory: pytest.TempPathFactory) -> list[Case]:
    """Ten plots of the data set `bubenec` of the PyPI package momepy: houses, no fences."""
    folder = tmp_path_factory.mktemp("plots")
    (folder / "map.toml").write_text(FIELD_MAP)
    survey = read_survey(
        [momepy.datasets.get_path("bubenec")],
        rules=load_rule_book(),
        field_map=load_field_map(folder / "map.toml"),
    )
    cases: list[Case] = []
    for site in survey.sites[::13]:
        plan = plan_site(site, machine=load_machine("medium"), rules=RULES)
        if plan.layouts:
            path = write_plan(plan, folder / site.property_id)
            cases.append(Case(site.property_id, read_plan(path)))
        if len(cases) == 10:
            break
    return cases


@pytest.fixture(scope="module")
def cases(street: Run, real_plots: list[Case]) -> list[Case]:
    gardens = [Case(name, street.plan(name)) for name in PLANNED]
    return [*gardens, *(Case(name, drawn(name).file) for name in GARDENS), *real_plots]


def taped(case: Case) -> Iterator[tuple[pd.Series, Point, Point]]:
    """Yield marks with tapes and their two fixed points."""
    fixed = case.file["fixed_points"]
    places = dict(zip(fixed["name"], fixed.geometry, strict=True))
    for _, row in case.marks[case.marks["dist_a_m"].notna()].iterrows():
        yield row, places[row["from_a"]], places[row["from_b"]]


def meeting(a: Point, b: Point, dist_a: float, dist_b: float, side: str) -> Point:
    """Return where two circles meet: an own construction by complex numbers."""
    start, along = complex(a.x, a.y), complex(b.x - a.x, b.y - a.y)
    foot = (1 + (dist_a**2 - dist_b**2) / abs(along) ** 2) / 2
    high = math.sqrt((dist_a / abs(along)) ** 2 - foot**2)
    found = start + along * complex(foot, high if side == "left" else -high)
    return Point(found.real, found.imag)


def test_every_mark_comes_back_from_its_two_tapes(cases: list[Case]) -> None:
    count = 0
    for case in cases:
        for row, a, b in taped(case):
            # As printed: to the millimetre.
            tapes = (float(f"{row['dist_a_m']:.3f}"), float(f"{row['dist_b_m']:.3f}"))
            back = meeting(a, b, *tapes, row["side"])
            assert back.distance(row.geometry) <= BACK_M, (case.name, row["mark"])
            count += 1
    assert count > 1000


def test_tapes_are_short_and_cut_well(cases: list[Case]) -> None:
    cuts = []
    for case in cases:
        for row, a, b in taped(case):
            assert max(row["dist_a_m"], row["dist_b_m"]) <= LONGEST_M
            one, other = (
                np.array([each.x - row.geometry.x, each.y - row.geometry.y]) for each in (a, b)
            )
            cosine = one @ other / np.hypot(*one) / np.hypot(*other)
            cut = math.degrees(math.acos(cosine))
            assert CUT_DEG[0] <= cut <= CUT_DEG[1], (case.name, row["mark"])
            assert row["angle_deg"] == pytest.approx(cut, abs=1e-4)
            cuts.append(abs(cut - 90))
    # Chosen for the best cut: half of them within 15 degrees of square.
    assert np.median(cuts) < 15


def test_no_tape_runs_through_a_building_a_wall_a_hedge_or_water(cases: list[Case]) -> None:
    for case in cases:
        areas = case.file["feature_areas"]
        solid = areas[areas["kind"].isin(["building", "wall", "hedge", "water"])]
        # Half a centimetre round a corner bends a tape, but lengthens it by no millimetre.
        inner = shapely.buffer(shapely.union_all(solid.geometry.to_numpy()), -0.006)
        for row, a, b in taped(case):
            for fixed in (a, b):
                tape = LineString([fixed, row.geometry])
                assert not tape.intersects(inner), (case.name, row["mark"])


def test_fixed_points_stand_on_the_ground(cases: list[Case]) -> None:
    for case in cases:
        fixed = case.file["fixed_points"]
        assert len(set(fixed["name"])) == len(fixed) >= 2
        houses = case.file["feature_areas"]
        houses = houses[houses["kind"] == "building"].geometry
        parcel = shapely.union_all(case.file["parcel"].geometry.to_numpy())
        for name, what, place in zip(
            fixed["name"], fixed["what"], fixed.geometry, strict=True
        ):
            assert shapely.dwithin(parcel, place, 0.31), (case.name, name)
            if what == "building corner":
                corners = shapely.multipoints(shapely.get_coordinates(houses.to_numpy()))
                assert place.distance(corners) < 1e-6, (case.name, name)
            elif what == "parcel corner":
                corners = shapely.multipoints(shapely.get_coordinates(parcel))
                assert place.distance(corners) < 1e-6, (case.name, name)
        # House corners come first.
        ranks = [0 if w.startswith("building") else 2 if w.startswith("parcel") else 1
                 for w in fixed["what"]]  # fmt: skip
        assert ranks == sorted(ranks)


def told(row: pd.Series, end: Point) -> LineString:
    """Return the straight or the arc that a row tells, as a fine line."""
    a, b, h = row.geometry, end, row["to_next_offset_m"]
    chord = a.distance(b)
    if h == 0:
        return LineString([a, b])
    turn = 4 * math.atan(2 * abs(h) / chord)
    radius = chord / 2 / math.sin(turn / 2)
    spread = np.linspace(-turn / 2, turn / 2, 129)
    x, y = radius * np.sin(spread), radius * (np.cos(spread) - math.cos(turn / 2))
    y = y * np.sign(h)
    ahead = np.array([b.x - a.x, b.y - a.y]) / chord
    middle = np.array([a.x + b.x, a.y + b.y]) / 2
    return LineString(middle + np.outer(x, ahead) + np.outer(y, [-ahead[1], ahead[0]]))


def stretches(case: Case) -> Iterator[tuple[pd.Series, str, float, float, Point]]:
    """Yield every stretch: its row, wire, chainages, and the place where it is said to end."""
    by_name = {row["mark"]: row for _, row in case.marks.iterrows()}
    assert len(by_name) == len(case.marks)
    for row in by_name.values():
        if not row["to_mark"]:
            continue
        end, wire = by_name[row["to_mark"]], case.wires[row["on"]]
        if end["on"] != row["on"]:
            until = wire.length
        elif end["chainage_m"] > row["chainage_m"]:
            until = end["chainage_m"]
        else:  # round an island and back to where its lead ends
            until = min(first for first, _ in case.ways_back if first > row["chainage_m"])
        yield row, row["on"], row["chainage_m"], until, end.geometry


def test_between_marks_the_wire_is_the_straight_or_arc_that_is_told(cases: list[Case]) -> None:
    arcs = 0
    for case in cases:
        for row, name, first, last, end in stretches(case):
            wire = substring(case.wires[name], first, last)
            places = shapely.points(shapely.get_coordinates(shapely.segmentize(wire, 0.05)))
            line = told(row, end)
            most = ARC_M if end.distance(shapely.get_point(wire, -1)) < 1e-6 else ARC_M + PAIR_M
            assert shapely.distance(places, line).max() <= most + 1e-6, (case.name, row["mark"])
            back = shapely.points(shapely.get_coordinates(shapely.segmentize(line, 0.05)))
            assert shapely.distance(back, wire).max() <= most + 0.01, (case.name, row["mark"])
            arcs += row["to_next_offset_m"] != 0
    assert arcs > 300


def test_the_stretches_tell_all_of_every_wire_once(cases: list[Case]) -> None:
    for case in cases:
        for name, wire in case.wires.items():
            spans = [(a, b) for _, on, a, b, _ in stretches(case) if on == name]
            spans += case.ways_back if name == "perimeter" else []
            at = 0.0
            for first, last in sorted(spans):
                assert first == pytest.approx(at, abs=0.006), (case.name, name)
                at = last
            assert at == pytest.approx(wire.length, abs=0.006), (case.name, name)


def test_marks_are_few(cases: list[Case]) -> None:
    length = marks = 0.0
    for case in cases:
        wire = sum(each.length for each in case.wires.values())
        # Station, terminals, a lawn of four rounded corners and two lines take twenty; a lead four.
        assert len(case.marks) <= 20 + wire / 3 + 4 * len(case.ways_back), case.name
        length, marks = length + wire, marks + len(case.marks)
    assert marks <= length / 3


def test_no_mark_on_a_straight_is_superfluous(cases: list[Case]) -> None:
    for case in cases:
        for before, after in pairwise(stretches(case)):
            one, on, first, middle, _ = before
            other, on_next, again, last, _ = after
            plain = other["what"] in {"corner", "bend"} and on == on_next and middle == again
            if plain and one["to_next_offset_m"] == 0 == other["to_next_offset_m"]:
                wire = substring(case.wires[on], first, last)
                chord = LineString([wire.coords[0], wire.coords[-1]])
                off = shapely.distance(shapely.points(wire.coords), chord).max()
                assert off > 0.02, (case.name, other["mark"])


def test_terminals_joints_lead_offs_and_the_station_are_marked(cases: list[Case]) -> None:
    for case in cases:
        marks = shapely.multipoints(case.marks.geometry.to_numpy())
        must = [*case.file["wire_joints"].geometry, *case.file["station"].geometry]
        wire = case.wires["perimeter"]
        for first, last in case.ways_back:
            must += [wire.interpolate(first), wire.interpolate(last)]
        assert shapely.distance(np.array(must), marks).max() <= PAIR_M
        base = case.file["station_area"]
        base = shapely.union_all(base[base["part"] == "base"].geometry.to_numpy())
        back = case.marks[case.marks["what"] == "base back"].geometry
        assert len(back) == len(case.file["station"])
        for place in back:
            assert place.distance(base.boundary) < 1e-6


def test_edge_offsets_are_ruler_measures(cases: list[Case]) -> None:
    lines = ("feature_areas", "feature_lines")
    for case in cases:
        hard = [
            shape.boundary if shape.area else shape
            for name in lines
            for kind, shape in zip(case.file[name]["kind"], case.file[name].geometry, strict=True)
            if kind in {"building", "wall", "path", "paving_flush", "planter", "fence", "drop"}
        ]
        edges = shapely.union_all(hard)
        for _, row in case.marks.iterrows():
            away = row.geometry.distance(edges) if hard else math.inf
            if away <= RULES.setting_out.ruler_m:
                assert row["edge_offset_m"] == pytest.approx(away, abs=1e-6)
            elif not math.isnan(row["edge_offset_m"]):
                assert row["edge_offset_m"] <= RULES.setting_out.edge_reach_m
                assert row["edge"]


def test_a_mark_without_tapes_has_an_advisory_that_says_how(cases: list[Case]) -> None:
    bare = 0
    for case in cases:
        without = case.marks[case.marks["dist_a_m"].isna()]
        without = without[~without["mark"].str.endswith("r")]
        notes = case.file["advisories"]
        notes = notes[notes["rule"] == "setting_out"]
        assert set(notes["severity"]) <= {"note"}
        assert notes["count"].sum() == len(without), case.name
        assert notes["text"].str.contains("m from|along|rover").all()
        assert (without["from_a"].fillna("") == "").all()
        bare += len(without)
    assert bare > 0  # else this test has seen none


def test_heights_are_the_ground_s_or_none(street: Run) -> None:
    marks = street.plan("garden-02")["setting_out"]
    # The sample's raster lies between 55 and 75 m there, to the centimetre.
    assert marks["height_m"].between(55, 75).all()
    level = drawn("L").file["setting_out"]
    assert level["height_m"].isna().all()


def test_the_rover_s_table_has_every_mark_and_fixed_point(street: Run) -> None:
    path = street.plan_path("garden-02")
    plan = street.plan("garden-02")
    with Path(path).with_name("rover.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["crs"] for row in rows} == {plan.facts["crs"]}
    assert {row["property_id"] for row in rows} == {"garden-02"}
    marks, fixed = plan["setting_out"], plan["fixed_points"]
    assert [row["mark"] for row in rows] == [*marks["mark"], *fixed["name"]]
    for row, place in zip(rows, [*marks.geometry, *fixed.geometry], strict=True):
        there = Point(float(row["easting_m"]), float(row["northing_m"]))
        assert there.distance(place) < 0.001
    for row, height in zip(rows, marks["height_m"], strict=False):
        assert float(row["height_m"]) == pytest.approx(height, abs=0.0006)
