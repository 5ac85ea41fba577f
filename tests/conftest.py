"""A garden planned by hand, for tests of what comes after planning; and the folder of `kept` plans.

24 m x 18 m, drawn on squared paper: house in the south-west, pond and bed as islands, one tree,
stepping stones, a bank in the north-east, an outlet on the house wall. Every length in it can be
checked by hand. It is in EPSG:25832, and invented.
"""

from __future__ import annotations

import math
import os
import shutil
import tempfile
from dataclasses import replace

import hypothesis
import numpy as np
import pytest
from shapely import LineString, MultiPolygon, Point, Polygon, box

import kept
from lawnplat.ground.types import Ground, HandTrim, KeepOut, Part, Passage, WireGround
from lawnplat.planned import Plan, Status
from lawnplat.settings.types import MachineClass
from lawnplat.survey.types import Feature, Finding, Site
from lawnplat.terrain.types import Grid, SlopeZone, Terrain
from lawnplat.wire.types import (
    Joint,
    Layout,
    ParkingTest,
    Perimeter,
    ReturnLine,
    Station,
    StationOption,
    WireSection,
)
from lawnplat.works.types import Material, Peg, Works

# What is drawn is the same in every run, so that a red run can be looked into; to draw afresh:
# HYPOTHESIS_PROFILE=default python -m pytest
hypothesis.settings.register_profile("repeatable", derandomize=True)
hypothesis.settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))

E, N = 500_000.0, 5_400_000.0


def pytest_configure(config: pytest.Config) -> None:
    if not hasattr(config, "workerinput"):  # a worker of pytest-xdist is told by the first process
        os.environ[kept.FOLDER] = tempfile.mkdtemp(prefix="lawnplat-test-plans-")


def pytest_unconfigure(config: pytest.Config) -> None:
    if not hasattr(config, "workerinput"):
        shutil.rmtree(os.environ.pop(kept.FOLDER), ignore_errors=True)


def _moved(*places: tuple[float, float]) -> list[tuple[float, float]]:
    return [(E + x, N + y) for x, y in places]


def _box(west: float, south: float, east: float, north: float) -> Polygon:
    return box(E + west, N + south, E + east, N + north)


def _disc(x: float, y: float, radius: float) -> Polygon:
    return Point(E + x, N + y).buffer(radius)


def _machine() -> MachineClass:
    return MachineClass(
        name="medium", label="invented", body_length_m=0.62, body_width_m=0.46, wheelbase_m=0.38,
        cutting_width_m=0.2, rate_m2_h=65, capacity_m2=1500, slope_lawn_pct=35, slope_edge_pct=15,
        slope_return_pct=20, smallest_passage_m=0.7, comfortable_passage_m=2, longest_wire_m=400,
        return_lines=2, run_min=90, charge_min=60, cutting_lowest_mm=20, cutting_highest_mm=60,
        base_length_m=0.7, base_width_m=0.46, base_behind_wire_m=0.25, cable_supplied_m=10,
        supply_v=24, supply_a=2.5, largest_drop_v=1.2, sources={},
    )  # fmt: skip


def _features() -> tuple[Feature, ...]:
    return (
        Feature("building", _box(0, 0, 9, 7), "features 1", height_m=6.0),
        Feature("water", _disc(17.5, 11.5, 1.5), "features 2"),
        Feature("flower_bed", _box(4, 13, 8, 15), "features 3", note="roses"),
        Feature("tree", _disc(12.5, 14.5, 0.3), "features 4"),
        Feature("stepping_stones", LineString(_moved((9, 4), (15, 4))).buffer(0.3), "features 5"),
        Feature("hedge", _box(0, 17.5, 24, 18), "features 6", setback_m=0.4),
        Feature("power_outlet", Point(E + 9, N + 6), "features 7"),
        Feature("buried_service", LineString(_moved((0, 9), (24, 8))), "features 8"),
    )


def _site() -> Site:
    return Site(
        property_id="G-1",
        label="Invented garden & co",
        crs="EPSG:25832",
        parcel=_box(0, 0, 24, 18),
        features=_features(),
        machine_class="medium",
    )


def _terrain(zones: tuple[SlopeZone, ...]) -> Terrain:
    grid = Grid(E, N + 18, 0.5, 36, 48)
    level = np.zeros((36, 48))
    return Terrain(grid, level, level, level, level == 0, zones, "raster", 0.5)


def _mowable() -> Polygon:
    shell = _box(0.4, 0.4, 23.6, 17.1) - _box(-1, -1, 9.35, 7.35)
    return shell - _disc(17.5, 11.5, 2.5) - _box(3.7, 12.7, 8.3, 15.3)


def _ground() -> Ground:
    lawn = MultiPolygon(
        [_box(0, 0, 24, 17.5) - _box(0, 0, 9, 7) - _disc(17.5, 11.5, 1.5) - _box(4, 13, 8, 15)]
    )
    steep, workable = _box(21, 12, 24, 17.5), _box(18, 9, 24, 17.5)
    zones = tuple(
        SlopeZone(name, low, high, MultiPolygon(_polygons(area & lawn)))
        for name, low, high, area in (
            ("gentle", 0.0, 15.0, _box(0, 0, 24, 18) - workable),
            ("workable", 15.0, 35.0, workable - steep),
            ("too_steep", 35.0, math.inf, steep),
        )
    )
    mowable = _mowable() - steep
    given_up = lawn - _mowable()
    return Ground(
        lawn=lawn,
        zones=zones,
        keep_outs=(
            KeepOut("building", 0.35, MultiPolygon(_polygons(given_up & _box(0, 0, 9.5, 7.5)))),
            KeepOut("too_steep", 0.0, MultiPolygon(_polygons(_mowable() & steep))),
            KeepOut("shrub", 0.3, MultiPolygon()),
        ),
        parts=(Part(1, "main", mowable),),
        passages=(
            Passage(
                _box(0.4, 7.35, 2.0, 9),
                LineString(_moved((1.2, 7.35), (1.2, 9))),
                1.6,
                1.65,
                "guided",
            ),
        ),
        hand_trim=(HandTrim("building", MultiPolygon([_box(0, 7, 9.35, 7.35)])),),
        wire_ground=WireGround((mowable,), (), ()),
        open_edges=None,
        findings=(),
    )


def _polygons(geometry: Polygon | MultiPolygon) -> list[Polygon]:
    return [g for g in getattr(geometry, "geoms", [geometry]) if g.area > 0]


def _wire() -> LineString:
    """Return the conductor: round the lawn clockwise, out to both islands and back."""
    bed = [(3.7, 13.99), (3.7, 12.7), (8.3, 12.7), (8.3, 15.3), (3.7, 15.3), (3.7, 14)]
    turns = np.linspace(0.002, 2 * math.pi - 0.002, 60)
    pond = [(17.5 + 2.5 * math.cos(t), 11.5 + 2.5 * math.sin(t)) for t in turns]
    return LineString(
        _moved(
            (9.35, 4.9), (9.35, 7.35), (0.4, 7.35), (0.4, 13.99), *bed, (0.4, 14), (0.4, 17.1),
            (20.9, 17.1), (20.9, 11.505), *pond, (20.9, 11.495), (23.6, 11.495), (23.6, 0.4),
            (9.35, 0.4), (9.35, 4.7),
        )
    )  # fmt: skip


def _layout() -> Layout:
    wire = _wire()
    spot = Point(E + 9.35, N + 4.8)
    options = (
        StationOption(spot, 90, 1, 1.2, 0.5, 2.4, 9.1, 20.4, 5.0, True, True, ""),
        StationOption(
            Point(E + 0.4, N + 16), 90, 0, math.inf, 7.5, math.nan, math.nan, math.nan, 2.0,
            False, True, "the clear ground in front is 1.2 m deep, 2.0 m are needed",
        ),
    )  # fmt: skip
    station = Station(
        point=spot, bearing_deg=90.0, tilt_pct=0.5, outlet_distance_m=2.4, mean_return_m=9.1,
        base=_box(9.1, 4.57, 9.8, 5.03), front=_box(9.35, 4.5, 11.35, 5.1), options=options,
    )  # fmt: skip
    back = LineString(
        _moved((9.35, 4.8), (11.5, 4.8), (13, 5.6), (13.6, 8), (13.2, 12), (12, 15), (12, 17.1))
    )
    middle = wire.project(Point(E + 12, N + 17.1))
    sections = (
        WireSection(LineString(wire.coords[:4]), "edge", "building", 0.35, 0.0, 18.0, math.nan),
        WireSection(LineString(wire.coords[3:5]), "lead_out", "", math.nan, 18.0, 21.3, 1.0),
    )
    return Layout(
        station=station,
        perimeter=Perimeter(wire, sections),
        return_lines=(ReturnLine(1, back, 12.5, 4.0, 0.8),),
        joints=(
            Joint("terminal", "perimeter", 0.0, Point(wire.coords[0])),
            Joint("terminal", "perimeter", wire.length, Point(wire.coords[-1])),
            Joint("three_way", "perimeter", middle, Point(E + 12, N + 17.1)),
        ),
        parking_tests=(ParkingTest(1, 3.0, back.interpolate(3.0)),),
        findings=(),
    )


def _works(layout: Layout) -> Works:
    wire = layout.perimeter.line
    count = math.ceil(wire.length / 0.7)
    pegs = tuple(
        Peg(i + 1, "perimeter", at, "spacing", wire.interpolate(at))
        for i, at in enumerate(np.linspace(0, wire.length, count + 1).tolist())
    )
    wire_m = Material("perimeter wire", round(wire.length * 1.05 + 1, 1), "m", "with 5 % waste")
    return Works(pegs, (wire_m, Material("pegs", float(len(pegs)), "pieces", "0.7 m apart")))


@pytest.fixture
def garden_plan() -> Plan:
    """Return a whole plan with two advisories, one in its place and one without."""
    layout, ground = _layout(), _ground()
    return Plan(
        site=_site(),
        machine=_machine(),
        status=Status.PLANNED_WITH_ADVISORIES,
        findings=(
            Finding(
                "edge_slope", "warn", "the wire runs above a fall of 18 %",
                place=Point(E + 20.9, N + 14), measured=18.0, limit=15.0,
            ),
            Finding("elevation_coarse", "note", "cells of 2.5 m", "height.tif", measured=math.nan),
        ),
        run_info=(("lawnplat", "0.1.0"), ("crs", "EPSG:25832")),
        terrain=_terrain(ground.zones),
        ground=ground,
        layouts=(layout,),
        works=_works(layout),
    )  # fmt: skip


@pytest.fixture
def stopped_plan(garden_plan: Plan) -> Plan:
    """Return a plan that stopped at the ground: no room for a station."""
    return replace(
        garden_plan,
        status=Status.NOT_PLANNABLE,
        findings=(Finding("station", "stop", "no clear ground of 2.0 m for a station"),),
        layouts=(),
        works=None,
    )
