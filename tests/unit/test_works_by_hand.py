"""Pegs and materials counted by hand on wires drawn on squared paper."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, box
from shapely.ops import substring

from lawnplat.plan import plan_site
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.wire.types import (
    Joint,
    Layout,
    Perimeter,
    ReturnLine,
    Station,
    WireSection,
)
from lawnplat.works.build import build_works
from lawnplat.works.materials import materials_of
from lawnplat.works.pegs import pegs_of

RULES = load_rule_book()
MEDIUM = load_machine("medium")
SPACING_M = RULES.pegs.spacing_m  # 0.7: common practice, no source


def section(wire, name, from_m, to_m):
    line = substring(wire, from_m, to_m)
    return WireSection(line, name, "open_edge", 0.35, from_m, to_m, 0.0)


def layout_of(wire, lines=(), sections=(), joints=None, outlet_m=math.nan):
    ends = [Joint("terminal", "perimeter", at, wire.interpolate(at)) for at in (0.0, wire.length)]
    ground = box(0, 0, 1, 1)
    return Layout(
        station=Station(Point(0, 0), 0.0, 0.0, outlet_m, 5.0, ground, ground, ()),
        perimeter=Perimeter(wire, tuple(sections)),
        return_lines=tuple(lines),
        joints=tuple(ends if joints is None else [*ends, *joints]),
        parking_tests=(),
        findings=(),
    )


def spaces_m(pegs):
    return np.diff([peg.chainage_m for peg in pegs])


def test_a_straight_wire():
    # 7 m in spaces of 0.7: ten spaces, eleven pegs, an end peg at each terminal.
    pegs = pegs_of(layout_of(LineString([(0, 0), (7, 0)])), RULES)
    assert len(pegs) == 11
    assert spaces_m(pegs) == pytest.approx([0.7] * 10)
    assert [peg.reason for peg in pegs] == ["joint", *["spacing"] * 9, "joint"]
    assert [peg.number for peg in pegs] == list(range(1, 12))


@pytest.mark.parametrize(
    # The next whole number of spaces: 7.01 m takes eleven, evenly.
    ("length_m", "count"), [(7.01, 12), (0.7, 2), (0.69, 2), (0.71, 3), (70, 101)],
)  # fmt: skip
def test_spaces_are_even_and_never_over_the_rule(length_m, count):
    pegs = pegs_of(layout_of(LineString([(0, 0), (length_m, 0)])), RULES)
    assert len(pegs) == count
    assert spaces_m(pegs).max() <= SPACING_M + 1e-9
    assert np.ptp(spaces_m(pegs)) < 1e-9


def test_a_rectangle_with_sharp_corners():
    # 7 x 4.2 m with 0.2 m between the terminals in the middle of the south side: each of the two
    # half sides 3.4 m takes 5 spaces, the sides of 4.2, 7 and 4.2 m take 6, 10, 6: 32 spaces, 33
    # pegs, four of them in the corners.
    wire = LineString([(3.4, 0), (0, 0), (0, 4.2), (7, 4.2), (7, 0), (3.6, 0)])
    pegs = pegs_of(layout_of(wire), RULES)
    assert len(pegs) == 33
    bends = [peg for peg in pegs if peg.reason == "bend"]
    assert [(peg.point.x, peg.point.y) for peg in bends] == [(0, 0), (0, 4.2), (7, 4.2), (7, 0)]


def test_a_curve_is_pegged_as_closely_as_its_offset_asks():
    # A circle of 2 m: a chord of length c leaves it by 2 - sqrt(4 - c^2/4); the 3 cm that the rule
    # allows are reached at c = 0.69 m (arithmetic), so that a space is at most 0.691 m of arc.
    around = np.linspace(0, 2 * math.pi, 721)
    circle = LineString(np.stack([2 * np.cos(around), 2 * np.sin(around)], axis=1))
    pegs = pegs_of(layout_of(circle), RULES)
    chord = np.hypot(*np.diff([p.point.coords[0] for p in pegs], axis=0).T)
    # The wire's own corners lie within 2e-5 m of the circle.
    assert (2 - np.sqrt(4 - chord**2 / 4)).max() <= RULES.pegs.curve_offset_m + 1e-4
    assert len(pegs) - 1 == math.ceil(4 * math.pi / (4 * math.acos(1 - 0.03 / 2)))


def test_a_hand_sized_arc_is_not_cut_across():
    # A corner rounded with 0.35 m: no straight line between pegs leaves it by over 3 cm.
    turn = np.linspace(0, math.pi / 2, 17)
    arc = np.stack([5 + 0.35 * np.sin(turn), 0.35 * (1 - np.cos(turn))], axis=1)
    wire = LineString([(0, 0), *arc, (5.35, 5.35)])
    pegs = pegs_of(layout_of(wire), RULES)
    between = LineString([peg.point for peg in pegs])
    assert shapely.hausdorff_distance(wire, between) <= RULES.pegs.curve_offset_m + 1e-9
    assert spaces_m(pegs).max() <= SPACING_M + 1e-9


def test_a_small_change_of_direction_is_no_bend():
    gentle, sharp = (LineString([(0, 0), (2.1, 0), (4, math.tan(math.radians(t)) * 1.9)])
                     for t in (14, 16))  # fmt: skip
    assert "bend" not in {peg.reason for peg in pegs_of(layout_of(gentle), RULES)}
    assert "bend" in {peg.reason for peg in pegs_of(layout_of(sharp), RULES)}


def test_a_joint_has_a_peg_of_its_own():
    wire = LineString([(0, 0), (7, 0)])
    splice = Joint("splice", "perimeter", 2.0, Point(2, 0))
    pegs = pegs_of(layout_of(wire, joints=[splice]), RULES)
    assert [peg.chainage_m for peg in pegs if peg.reason == "joint"] == pytest.approx([0, 2, 7])
    # 2 m in three spaces, 5 m in eight.
    assert len(pegs) == 12


def test_a_joint_in_a_bend_is_one_peg():
    wire = LineString([(0, 0), (2, 0), (2, 2)])
    splice = Joint("splice", "perimeter", 2.001, wire.interpolate(2.001))
    pegs = pegs_of(layout_of(wire, joints=[splice]), RULES)
    assert [peg.reason for peg in pegs].count("joint") == 3
    assert "bend" not in {peg.reason for peg in pegs}


def a_wire_with_a_lead():
    """2.1 m of edge, out 2.1 m, round an island of 1 x 1 m, back 1 cm beside, 2.1 m of edge."""
    wire = LineString(
        [(0, 0), (2.1, 0), (2.1, 2.1), (1.6, 2.1), (1.6, 3.1), (2.6, 3.1), (2.6, 2.1), (2.11, 2.1),
         (2.11, 0), (4.21, 0)]
    )  # fmt: skip
    at = np.cumsum([0, 2.1, 2.1, 0.5 + 1 + 1 + 1 + 0.49, 2.1, 2.1])
    names = ["edge", "lead_out", "island", "lead_back", "edge"]
    return wire, [
        section(wire, n, a, b) for n, (a, b) in zip(names, itertools.pairwise(at), strict=True)
    ]


def test_a_pair_shares_its_pegs():
    wire, sections = a_wire_with_a_lead()
    pegs = pegs_of(layout_of(wire, sections=sections), RULES)
    out = [peg for peg in pegs if sections[1].from_m <= peg.chainage_m <= sections[1].to_m]
    back = [p for p in pegs if sections[3].from_m + 1e-6 < p.chainage_m < sections[3].to_m - 1e-6]
    # Out 2.1 m: its two ends and two between; back none but at its ends.
    assert len(out) == 4
    assert {peg.reason for peg in out} == {"pair"}
    assert back == []
    # Every metre of the way back still lies within reach of a peg: 1 cm beside those of the pair.
    for x, y in sections[3].line.coords:
        assert min(peg.point.distance(Point(x, y)) for peg in pegs) < 0.02


def test_no_two_neighbouring_pegs_are_further_apart_than_the_rule():
    wire, sections = a_wire_with_a_lead()
    pegs = pegs_of(layout_of(wire, sections=sections), RULES)
    shared = sections[3]
    for one, other in itertools.pairwise(pegs):
        on_pair = shared.from_m - 1e-9 <= one.chainage_m and other.chainage_m <= shared.to_m + 1e-9
        assert on_pair or other.chainage_m - one.chainage_m <= SPACING_M + 1e-9


def test_the_return_line_is_pegged_after_the_perimeter():
    wire = LineString([(0, 0), (7, 0)])
    line = ReturnLine(1, LineString([(3.5, 0), (3.5, 2.1)]), 0, 0, 0)
    pegs = pegs_of(layout_of(wire, [line]), RULES)
    assert [peg.on for peg in pegs] == ["perimeter"] * 11 + ["return_1"] * 4
    assert [peg.number for peg in pegs] == list(range(1, 16))


def quantity(materials, item):
    (found,) = [material for material in materials if material.item == item]
    return found


def counted(layout):
    works = build_works([layout], MEDIUM, RULES)
    assert works.pegs == pegs_of(layout, RULES)
    assert works.materials == materials_of([layout], works.pegs, MEDIUM, RULES)
    return works.materials


def test_materials_by_hand():
    # 7 m of perimeter: (7 + 2 x 0.5) x 1.05 = 8.4 m; return line 2.1 m: (2.1 + 1) x 1.05 = 3.255,
    # up to the decimetre 3.3 m; 11 + 4 pegs x 1.05 = 15.75, so 16; markers at four ends.
    wire = LineString([(0, 0), (7, 0)])
    line = ReturnLine(1, LineString([(3.5, 0), (3.5, 2.1)]), 0, 0, 0)
    three_way = Joint("three_way", "perimeter", 3.5, Point(3.5, 0))
    materials = counted(layout_of(wire, [line], joints=[three_way], outlet_m=12.3))
    amounts = {material.item: (material.quantity, material.unit) for material in materials}
    assert amounts == {
        "charging station": (1, "piece"),
        "low-voltage cable": (13, "m"),
        "perimeter wire": (8.4, "m"),
        "return line wire": (3.3, "m"),
        "pegs": (16, "piece"),
        "terminal connectors": (2, "piece"),
        "three-way joints": (1, "piece"),
        "wire splices": (0, "piece"),
        "wire end markers": (4, "piece"),
        "station fixings": (1, "set"),
        # 11.7 m are cut from one spool of 150 m; no wire is 25 m long.
        "wire spools": (1, "spool"),
        "chainage markers": (0, "piece"),
        # One joint of 20 that a tube seals; 13 m of cable tied every 0.5 m: 26 of a pack of 50.
        "joint sealant": (1, "tube"),
        "cable ties": (1, "pack"),
    }
    assert quantity(materials, "perimeter wire").basis == (
        "7.0 m laid + 2 x 0.50 m spare at the ends + 5 % waste"
    )
    assert "11 on the perimeter" in quantity(materials, "pegs").basis
    assert "4 on the return line" in quantity(materials, "pegs").basis


@pytest.mark.parametrize(
    # The class comes with 10 m of cable; what is needed beyond is rounded up to the metre.
    ("outlet_m", "cable_m"), [(3.2, 10), (10.0, 10), (10.01, 11), (math.nan, 10)],
)  # fmt: skip
def test_cable(outlet_m, cable_m):
    wire = LineString([(0, 0), (7, 0)])
    cable = quantity(counted(layout_of(wire, outlet_m=outlet_m)), "low-voltage cable")
    assert cable.quantity == cable_m
    assert ("no outlet known" in cable.basis) is math.isnan(outlet_m)


def test_no_return_line_takes_no_wire():
    materials = counted(layout_of(LineString([(0, 0), (7, 0)])))
    assert quantity(materials, "return line wire").quantity == 0.0
    assert quantity(materials, "wire end markers").quantity == 2


def test_spare_and_waste_come_from_the_rule_book():
    bare = replace(
        RULES,
        wire=replace(RULES.wire, spare_end_m=0.0, waste_share=0.0),
        pegs=replace(RULES.pegs, spare_share=0.0),
    )
    layout = layout_of(LineString([(0, 0), (7.04, 0)]))
    materials = build_works([layout], MEDIUM, bare).materials
    assert quantity(materials, "perimeter wire").quantity == 7.1
    assert quantity(materials, "pegs").quantity == 12


def test_a_planned_rectangle_from_end_to_end():
    # 20 x 10 m: wire 56.4 m (as the wire room's tests work out). On 56.4 m there have to be at
    # least 56.4 / 0.7 = 81 spaces; four arcs and the joints add a few: under 10 % more.
    site = Site("1", "invented", "EPSG:25832", box(0, 0, 20, 10))
    plan = plan_site(site, machine=MEDIUM, rules=RULES)
    wire_m = plan.layout.perimeter.line.length
    pegs = [peg for peg in plan.works.pegs if peg.on == "perimeter"]
    least = math.ceil(wire_m / SPACING_M) + 1
    assert least == 82
    assert least <= len(pegs) <= 1.1 * least
    assert spaces_m(pegs).max() <= SPACING_M + 1e-9
    for peg in pegs:
        assert peg.point.distance(plan.layout.perimeter.line.interpolate(peg.chainage_m)) < 1e-6
    wire = quantity(plan.works.materials, "perimeter wire")
    assert wire.quantity == math.ceil((wire_m + 1) * 1.05 * 10) / 10


def test_pegs_of_a_planned_garden_hold_every_wire():
    things = (
        Feature("flower_bed", box(9, 4, 11, 6), "invented"),
        Feature("water", Point(15, 5).buffer(1), "invented"),
    )
    site = Site("1", "invented", "EPSG:25832", box(0, 0, 20, 10), features=things)
    plan = plan_site(site, machine=MEDIUM, rules=RULES)
    for name, line in [("perimeter", plan.layout.perimeter.line)] + [
        (f"return_{line.number}", line.line) for line in plan.layout.return_lines
    ]:
        # No place of a wire is further than half a space from a peg, be it its pair's 1 cm away.
        places = shapely.line_interpolate_point(line, np.arange(0, line.length, 0.05))
        pegs = shapely.multipoints([p.point for p in plan.works.pegs if p.on == name])
        reach = SPACING_M / 2 + RULES.pegs.curve_offset_m + RULES.wire.pair_gap_m
        assert shapely.distance(places, pegs).max() <= reach
