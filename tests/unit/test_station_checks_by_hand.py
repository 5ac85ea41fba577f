"""Checks of station, cable, passages and slopes on a plan of a few rows; answers seen by eye.

An invented lawn, 20 m by 10 m, its wire on the rim. The station stands in the middle of the south
rim and faces north; an outlet stands at its south-west corner. Ground is one plane.
"""

from __future__ import annotations

from types import MappingProxyType

import numpy as np
import pytest
from shapely import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.check_types import Check
from lawnplat.proving.checks.passages import passage, passage_verdict, width_through
from lawnplat.proving.checks.slopes import horn_pct, slope_limit
from lawnplat.proving.checks.station import (
    station_base,
    station_front,
    station_tilt,
    station_told,
    straight_wire,
)
from lawnplat.proving.checks.station_cable import cable_route, outlet
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.recorded import RecordedPlan, Row
from lawnplat.settings.load import load_machine, load_rule_book

RULES, MACHINE = load_rule_book(), load_machine("medium")
LAWN = box(0, 0, 20, 10)
GAP_M = RULES.wire.terminal_gap_m / 2
BEHIND_M = MACHINE.base_behind_wire_m
WIRE = LineString([(10 - GAP_M, 0), (0, 0), (0, 10), (20, 10), (20, 0), (10 + GAP_M, 0)])
BASE = box(
    10 - MACHINE.base_width_m / 2, -BEHIND_M,
    10 + MACHINE.base_width_m / 2, MACHINE.base_length_m - BEHIND_M,
)  # fmt: skip
FRONT = box(
    10 - RULES.station.side_clear_m, 0, 10 + RULES.station.side_clear_m, RULES.station.front_clear_m
)
CABLE = LineString([(4, -2), (10, -2), (10, -BEHIND_M)])


def rounded(ground: BaseGeometry) -> BaseGeometry:
    """Return ground with its corners rounded by more than half of the least passage."""
    return ground.buffer(-0.4).buffer(0.4)


def row(shape: BaseGeometry | None, **values: object) -> Row:
    return Row(shape, MappingProxyType({"loop": 1, **values}))


def plan(**layers: Row | tuple[Row, ...]) -> Evidence:
    """Return the lawn's plan with these layers in place of its own."""
    told = {
        "bearing_deg": 0.0, "tilt_pct": 0.0, "outlet_distance_m": CABLE.length,
        "mean_return_m": 8.0,
    }  # fmt: skip
    rows: dict[str, Row | tuple[Row, ...]] = {
        "parcel": row(box(-5, -5, 25, 15)),
        "lawn": row(box(0, -1, 20, 10)),
        "mowable": row(rounded(LAWN.difference(BASE))),
        "perimeter_wire": row(WIRE),
        "station": row(Point(10, 0), **told),
        "station_options": row(Point(10, 0), rank=1, **told),
        "station_area": (row(BASE, part="base"), row(FRONT, part="front")),
        "cable_route": row(CABLE, length_m=CABLE.length),
        "feature_points": row(Point(4, -2), kind="power_outlet", source="invented"),
        **layers,
    }
    held = {name: (each,) if isinstance(each, Row) else each for name, each in rows.items()}
    return Evidence(RecordedPlan("invented", "EPSG:25832", held), RULES, MACHINE)


CHECKS = (
    station_base, station_front, station_tilt, straight_wire, station_told, outlet, cable_route,
    passage, passage_verdict, slope_limit,
)  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_the_plan_as_it_should_be(check: Check) -> None:
    assert [each.text for each in check(plan())] == []


def test_a_base_beside_its_station() -> None:
    moved = box(*(BASE.bounds + np.array([0.3, 0, 0.3, 0])))
    (found,) = station_base(plan(station_area=(row(moved, part="base"), row(FRONT, part="front"))))
    # Two strips 0.3 m wide, as long as the base, lie in one of the two alone.
    assert found.measured == pytest.approx(0.6 * MACHINE.base_length_m, abs=1e-3)


def test_a_tub_in_the_front() -> None:
    tub = row(box(9.9, 1, 10.1, 1.5), kind="flower_bed", source="invented")
    (found,) = station_front(plan(feature_areas=tub))
    assert found.measured == pytest.approx(0.1)
    assert found.place.distance(Point(10, 1.25)) < 0.3


def test_a_wire_through_the_front() -> None:
    through = LineString([*WIRE.coords[:2], (0, 1), (20, 1), (20, 0), WIRE.coords[-1]])
    (found,) = station_front(plan(perimeter_wire=row(through)))
    assert found.measured == pytest.approx(2 * RULES.station.side_clear_m, abs=0.01)


def test_a_wire_that_turns_off_beside_the_station() -> None:
    bend = LineString([WIRE.coords[0], (9.6, 0), (9.4, 0.2), *WIRE.coords[1:]])
    (found,) = straight_wire(plan(perimeter_wire=row(bend)))
    assert found.measured == pytest.approx(0.2)
    assert found.place.distance(Point(9.4, 0.2)) < 1e-6


def test_a_cable_told_too_short_and_one_over_the_lawn() -> None:
    (found,) = cable_route(plan(cable_route=row(CABLE, length_m=CABLE.length - 0.5)))
    assert found.limit == pytest.approx(CABLE.length)
    over = LineString([(4, -2), (4, 1), (7, 1), (7, -2), (10, -2), (10, -BEHIND_M)])
    texts = " ".join(each.text for each in cable_route(plan(cable_route=row(over, length_m=0.0))))
    # 1 m in, 3 m along, 1 m out.
    assert "over ground inside the wire for 5.00 m" in texts


def test_a_cable_that_begins_at_no_outlet_or_runs_through_a_wall() -> None:
    (found,) = cable_route(plan(feature_points=()))
    assert "no outlet" in found.text
    wall = row(LineString([(7, -4), (7, -1)]).buffer(0.1), kind="building", source="invented")
    (found,) = cable_route(plan(feature_areas=wall))
    assert found.measured == pytest.approx(0.2, abs=0.01)


def test_an_outlet_beyond_reach() -> None:
    reach_m = RULES.station.cable_reach_m
    (found,) = outlet(plan(station=row(Point(10, 0), bearing_deg=0, outlet_distance_m=reach_m + 1)))
    assert (found.measured, found.limit) == (reach_m + 1, reach_m)
    advised = row(Point(10, 0), rule="station_power", text="none")
    alone = plan(station=row(Point(10, 0), bearing_deg=0), advisories=advised)
    assert [each.severity for each in outlet(alone)] == ["note"]


def test_the_best_place_is_not_the_station() -> None:
    told = plan().plan.rows("station")[0].values
    (found,) = station_told(plan(station_options=row(Point(10.4, 0), **{**told, "rank": 1})))
    assert found.measured == pytest.approx(0.4)


def necked(width_m: float) -> tuple[BaseGeometry, BaseGeometry]:
    """Return two halves of the lawn joined by a neck 3 m long, and the neck."""
    neck = box(8.5, 5, 11.5, 5 + width_m)
    return rounded(box(0, 0, 8.5, 10)).union(rounded(box(11.5, 0, 20, 10))).union(neck), neck


def test_a_neck_too_narrow_to_mow() -> None:
    ground, neck = necked(MACHINE.smallest_passage_m - 0.2)
    (found,) = passage(plan(mowable=row(ground)))
    assert found.place.distance(neck) < 0.01
    wide, _ = necked(MACHINE.smallest_passage_m + 0.2)
    assert list(passage(plan(mowable=row(wide)))) == []


@pytest.mark.parametrize("width_m", [0.9, 1.2])
def test_the_width_of_a_neck(width_m: float) -> None:
    ground, neck = necked(width_m)
    found_m = width_through(ground, neck, MACHINE.comfortable_passage_m)
    assert found_m == pytest.approx(width_m, abs=0.06)  # three cells of 2 cm


def test_a_passage_with_the_wrong_verdict() -> None:
    wide_m = MACHINE.comfortable_passage_m + 0.5
    told = row(box(9, 4, 11, 4 + wide_m), width_m=wide_m, verdict="guided")
    assert [each.measured for each in passage_verdict(plan(passages=told))] == [wide_m]


def test_mown_ground_in_a_zone_too_steep() -> None:
    limit_pct = MACHINE.slope_lawn_pct
    steep = row(box(2, 2, 5, 6), from_pct=limit_pct, to_pct=100.0)
    (found,) = slope_limit(plan(slope_zones=steep))
    assert found.text.startswith("12.0 m2")
    assert not list(slope_limit(plan(slope_zones=row(box(2, 2, 5, 6), from_pct=limit_pct - 5))))


def test_slope_of_a_plane() -> None:
    # z = 0.3 x + 0.4 y rises 50 % along its gradient.
    x, y = np.meshgrid(np.arange(6) * 0.5, np.arange(5) * 0.5)
    assert horn_pct(0.3 * x + 0.4 * y, 0.5)[1:-1, 1:-1] == pytest.approx(50.0)
