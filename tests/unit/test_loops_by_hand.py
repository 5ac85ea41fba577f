"""Two loops drawn on squared paper: names, numbers and sums over both."""

from __future__ import annotations

import math

import pytest
from shapely import LineString, Point, box

from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Finding
from lawnplat.wire.joints import joints_of
from lawnplat.wire.loops import numbered_through, perimeter_name
from lawnplat.wire.types import Layout, ParkingTest, Perimeter, ReturnLine, Station
from lawnplat.works.build import build_works

RULES = load_rule_book()
MEDIUM = load_machine("medium")


def layout_of(east_m: float, lines: int, outlet_m: float = math.nan) -> Layout:
    """Return a loop round 10 m by 7 m, 34 m of wire, with lines of 7 m."""
    ring = [(0, 0), (0, 7), (10, 7), (10, 0), (0, 0)]
    wire = LineString([(east_m + x, y) for x, y in ring])
    run = [LineString([(east_m + 1 + at, 0), (east_m + 1 + at, 7)]) for at in range(lines)]
    returns = tuple(ReturnLine(at + 1, line, 1.0, 0.5, 0.0) for at, line in enumerate(run))
    ground = box(0, 0, 1, 1)
    perimeter = Perimeter(wire, ())
    return Layout(
        station=Station(Point(east_m, 0), 0.0, 0.0, outlet_m, 5.0, ground, ground, ()),
        perimeter=perimeter,
        return_lines=returns,
        joints=joints_of(perimeter, returns, RULES),
        parking_tests=tuple(ParkingTest(line.number, 3.0, Point(0, 3)) for line in returns),
        findings=(Finding("return_line_bend", "warn", "return line 1 turns by 70 degrees here"),),
    )


def test_one_loop_is_left_as_it_is() -> None:
    alone = layout_of(0, 2)
    assert numbered_through([alone]) == (alone,)


def test_names_and_numbers_run_through() -> None:
    first, second = numbered_through([layout_of(0, 2), layout_of(20, 1)])
    assert [perimeter_name(loop) for loop in (1, 2, 3)] == [
        "perimeter", "perimeter_2", "perimeter_3",
    ]  # fmt: skip
    assert (first.loop, second.loop) == (1, 2)
    assert [line.number for line in first.return_lines] == [1, 2]
    assert [line.number for line in second.return_lines] == [3]
    assert {joint.on for joint in first.joints} == {"perimeter", "return_1", "return_2"}
    assert {joint.on for joint in second.joints} == {"perimeter_2", "return_3"}
    assert [test.line_number for test in second.parking_tests] == [3]
    # The number in a text is the one that the tables have.
    assert first.findings[0].text == "loop 1: return line 1 turns by 70 degrees here"
    assert second.findings[0].text == "loop 2: return line 3 turns by 70 degrees here"


def test_works_sum_over_both() -> None:
    layouts = numbered_through([layout_of(0, 2, outlet_m=12.2), layout_of(20, 1)])
    works = build_works(layouts, MEDIUM, RULES)
    assert [peg.number for peg in works.pegs] == list(range(1, len(works.pegs) + 1))
    on = [peg.on for peg in works.pegs]
    # Sides of 7 m and 10 m in spaces of at most 0.7 m: 10 + 15 + 10 + 15 spaces, one peg more. A
    # joint 1 m along a long side makes 2 + 13 of its 15, one at 2 m too makes 2 + 2 + 12.
    assert on.count("perimeter") == 52
    assert on.count("perimeter_2") == 51
    items = {each.item: each for each in works.materials}
    assert items["charging station"].quantity == 2
    # (68 m + 4 ends of 0.5 m) and 5 % waste; (21 m + 6 ends of 0.5 m) and 5 % waste.
    assert items["perimeter wire"].quantity == pytest.approx(73.5)
    assert items["return line wire"].quantity == pytest.approx(25.2)
    assert items["perimeter wire"].basis.endswith(", over 2 loops")
    assert items["three-way joints"].quantity == 3
    assert items["terminal connectors"].quantity == 2 * 2 + 3
    assert items["wire end markers"].quantity == 2 * 2 + 2 * 3
    # 12.2 m rounded up, and 10 m as supplied where no outlet is known.
    assert items["low-voltage cable"].quantity == 13 + MEDIUM.cable_supplied_m
    assert items["low-voltage cable"].basis.startswith("loop 1: 12.2 m")
    assert items["pegs"].quantity == math.ceil(len(works.pegs) * (1 + RULES.pegs.spare_share))
