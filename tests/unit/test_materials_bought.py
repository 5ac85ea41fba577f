"""Spools, markers, cable and consumables counted by hand on straight wires and rectangles."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from shapely import LineString, Point, box

from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.wire.joints import joints_of
from lawnplat.wire.types import Layout, Perimeter, ReturnLine, Station
from lawnplat.works.build import build_works
from lawnplat.works.cable import cable_findings, cable_runs

SHIPPED = load_rule_book()
# Round figures of the test's own, so that a change of the shipped ones changes no sum here.
RULES = replace(
    SHIPPED,
    wire=replace(
        SHIPPED.wire, spool_m=100.0, spare_end_m=0.5, waste_share=0.05, chainage_marker_m=25.0
    ),
    cable=replace(SHIPPED.cable, conductor_c=40.0, resistance_rise_per_k=0.004),
    consumables=replace(
        SHIPPED.consumables, joints_a_sealant=2.0, tie_spacing_m=0.5, ties_a_pack=50
    ),
)
MACHINE = replace(
    load_machine("medium"), cable_supplied_m=10.0, supply_a=2.5, largest_drop_v=1.2, supply_v=24.0
)


def straight(length_m: float, lines_m: tuple[float, ...] = (), outlet_m: float = 5.0, loop=1):
    """A wire eastward with return lines northward from it, joints as the wire room makes them."""
    wire = LineString([(0, 0), (length_m, 0)])
    lines = tuple(
        ReturnLine(i, LineString([(i, each), (i, 0)]), 0, 0, 0) for i, each in enumerate(lines_m, 1)
    )
    ground = box(0, 0, 1, 1)
    perimeter = Perimeter(wire, ())
    return Layout(
        station=Station(Point(0, 0), 0.0, 0.0, outlet_m, 5.0, ground, ground, ()),
        perimeter=perimeter,
        return_lines=lines,
        joints=joints_of(perimeter, lines, RULES),
        parking_tests=(),
        findings=(),
        loop=loop,
    )


def materials(*layouts):
    return {each.item: each for each in build_works(layouts, MACHINE, RULES).materials}


@pytest.mark.parametrize(
    # A wire of 100 m with its spare takes 101 m: one spool whole and a metre of another. A return
    # line of 30 m is cut from that one (31 + 2 m fit), one of 98.5 m (99.5 m with spare) is not.
    ("length_m", "lines_m", "spools"),
    [
        (90, (), 1),
        (99, (), 2),  # 100 m with spare are one spool, but with 5 % waste 105 m are two
        (101, (), 2),
        (101, (30,), 2),
        (101, (98.5,), 3),
        # 60 + 1 and 50 + 1 m do not share a spool, 40 + 1 and 50 + 1 m do.
        (60, (50,), 2),
        (40, (50,), 1),
        # Pieces of 61, 61 and 31 m: 31 m goes with one of the others.
        (60, (60, 30), 2),
        # 61, 61, 31 and 31 m: two spools, if the long ones are laid in first.
        (60, (60, 30, 30), 2),
        # 250 m: two spools whole and 51 m.
        (250, (), 3),
    ],
)  # fmt: skip
def test_spools(length_m, lines_m, spools) -> None:
    found = materials(straight(length_m, lines_m))
    assert found["wire spools"].quantity == spools
    assert found["wire spools"].unit == "spool"
    whole_m = found["perimeter wire"].quantity + found["return line wire"].quantity
    assert f"{whole_m:.1f} m in spools of 100 m" in found["wire spools"].basis
    # As many splices as spools used whole: a joint wherever one ends.
    whole = found["wire splices"].quantity
    assert f"{whole:.0f} used whole" in found["wire spools"].basis


def test_no_spool_is_used_twice() -> None:
    # Two loops of 60 m: 61 m and 61 m never come from one spool of 100 m.
    one, two = straight(60), replace(straight(60), loop=2)
    two = replace(two, joints=tuple(replace(j, on="perimeter_2") for j in two.joints))
    assert materials(one, two)["wire spools"].quantity == 2


@pytest.mark.parametrize(
    # At 25 m, 50 m, 75 m; never at the very end, which has an end marker.
    ("length_m", "count"), [(24.9, 0), (25, 0), (25.1, 1), (80, 3), (100, 3)],
)  # fmt: skip
def test_chainage_markers(length_m, count) -> None:
    assert materials(straight(length_m))["chainage markers"].quantity == count


def test_cable_that_comes_with_the_machine_is_not_charged() -> None:
    cable = materials(straight(20, outlet_m=9.5))["low-voltage cable"]
    assert (cable.quantity, cable.supplied) == (10, 10)
    # 2 x 10 m x 0.0195 ohm/m x 1.08 x 2.5 A = 1.053 V.
    assert "1.05 V lost over 10.0 m of 2 x 1.0 mm2 at 2.5 A, 1.20 V allowed" in cable.basis


def test_cable_beyond_is_one_length_of_its_own_size() -> None:
    # 10.2 m take a length of 11 m: 0.0195 gives 1.158 V, under 1.2; 11.1 m take 12 m: 1.264 V.
    short = materials(straight(20, outlet_m=10.2))["low-voltage cable"]
    long = materials(straight(20, outlet_m=11.1))["low-voltage cable"]
    assert (short.quantity, short.supplied, short.size) == (11, 0, "2 x 1.0 mm2")
    assert (long.quantity, long.supplied, long.size) == (12, 0, "2 x 1.5 mm2")
    assert "no joint in the ground" in long.basis


def test_a_drop_that_no_size_keeps_is_a_warning() -> None:
    runs = cable_runs([straight(20, outlet_m=59.2)], MACHINE, RULES.cable)
    (found,) = cable_findings(runs, MACHINE)
    assert (found.rule, found.severity) == ("cable_drop", "warn")
    # 60 m in 2.5 mm2: 2 x 60 x 0.00798 x 1.08 x 2.5.
    assert found.measured == pytest.approx(2.586, abs=0.0005)
    assert found.limit == 1.2
    assert "licensed electrician" in found.text
    fine = cable_runs([straight(20, outlet_m=9.0)], MACHINE, RULES.cable)
    assert cable_findings(fine, MACHINE) == ()


def test_two_loops_have_one_size_and_charge_for_what_does_not_come_along() -> None:
    one, two = straight(20, outlet_m=4.0), replace(straight(20, outlet_m=14.5), loop=2)
    cable = materials(one, two)["low-voltage cable"]
    assert (cable.quantity, cable.supplied, cable.size) == (25, 10, "2 x 1.5 mm2")


def test_consumables() -> None:
    # 250 m: splices at 99.5 and 199.5 m, and one three-way joint: 3 joints, 2 to a tube. 26 m of
    # cable, a tie every 0.5 m: 52, 50 to a pack.
    found = materials(straight(250, (5,), outlet_m=25.5))
    assert found["wire splices"].quantity == 2
    assert found["joint sealant"].quantity == 2
    assert found["cable ties"].quantity == 2
    assert "52, 50 to a pack" in found["cable ties"].basis
    assert found["station fixings"].quantity == 1


def test_an_unknown_outlet_takes_the_cable_that_comes_along() -> None:
    cable = materials(straight(20, outlet_m=math.nan))["low-voltage cable"]
    assert (cable.quantity, cable.supplied) == (10, 10)
    assert "no outlet known" in cable.basis


def test_every_line_says_how_it_came_about() -> None:
    for each in materials(straight(250, (30, 40))).values():
        assert len(each.basis) > 10
        assert each.quantity >= 0
