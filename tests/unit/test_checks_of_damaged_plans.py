"""A damaged plan is told of, whatever is damaged: no check breaks off on what a file may hold."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from shapely import LineString, Point, Polygon

from lawnplat.deliver.recorded import recorded_plan
from lawnplat.planned import Plan
from lawnplat.proving.checks import slopes, station, station_cable
from lawnplat.proving.checks.of_lines_and_tables import OF_LINES_AND_TABLES
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.recorded import RecordedPlan, Row
from lawnplat.settings.load import load_price_book, load_rule_book

OF_STATIONS = (
    station.station_base, station.station_front, station.station_tilt, station.straight_wire,
    station.station_told, station_cable.outlet, station_cable.cable_route, slopes.slope_limit,
)  # fmt: skip
EVERY = [*OF_STATIONS, *OF_LINES_AND_TABLES]
VALUES = (None, "x", -5, 0, 1e9, float("nan"), float("inf"))
SHAPES = (
    None, Point(), LineString(), Polygon(), Point(1, 2), LineString([(0, 0), (0, 0)]),
    LineString([(0, 0), (1, 1)]), Polygon([(0, 0), (1, 1), (0, 1)]),
)  # fmt: skip


def damaged(plan: RecordedPlan, layer: str) -> Iterator[RecordedPlan]:
    rows = plan.rows(layer)
    yield replace(plan, layers={k: v for k, v in plan.layers.items() if k != layer})
    yield plan.with_rows(layer, ())
    if not rows:
        return
    for column in rows[0].values:
        for value in VALUES:
            spoilt = Row(rows[0].geometry, {**rows[0].values, column: value})
            yield plan.with_rows(layer, (spoilt, *rows[1:]))
        yield plan.with_rows(
            layer,
            [Row(r.geometry, {k: v for k, v in r.values.items() if k != column}) for r in rows],
        )
    for shape in SHAPES:
        yield plan.with_rows(layer, [Row(shape, row.values) for row in rows])
        yield plan.with_rows(layer, (Row(shape, rows[0].values), *rows[1:]))


@pytest.mark.parametrize("check", EVERY, ids=lambda check: check.__name__)
def test_no_check_breaks_off_on_a_damaged_plan(check: object, garden_plan: Plan) -> None:
    plan = recorded_plan(garden_plan)
    evidence = Evidence(
        plan, load_rule_book(), garden_plan.machine, load_price_book(), terrain=garden_plan.terrain
    )
    for layer in plan.layers:
        for each in damaged(plan, layer):
            found = list(check(replace(evidence, plan=each)))
            assert all(finding.text for finding in found)
