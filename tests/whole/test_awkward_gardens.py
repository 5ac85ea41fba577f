"""Awkward gardens, and what a technician expects of each.

The expectations are common practice, no source; limits come from rule book and machine class.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely import LineString, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from lawnplat.settings.load import load_machine

from . import awkward
from .awkward import GARDENS, local
from .awkward_plans import Drawn, drawn, turns_deg
from .planning import RULES

MACHINE = load_machine("medium")
LIMIT_PCT = MACHINE.slope_return_pct
OVER_PCT = 1.0  # the figure that is asked for: one percentage point
ARC_M = 0.002  # arcs are drawn as chords


@pytest.mark.parametrize("name", GARDENS)
def test_an_awkward_garden_is_planned_and_the_plan_holds(name: str) -> None:
    found = drawn(name)
    assert found.broken == ()
    assert str(found.plan.status).startswith("planned")
    assert found.file.loops == [1]


def test_in_an_l_a_line_leads_round_the_corner_into_the_long_arm() -> None:
    arm = box(0, 20, 12, 28)
    assert any(line.intersects(arm) for line in drawn("L").lines)


@pytest.mark.parametrize("arm", [box(0, 20, 8, 25), box(22, 20, 30, 25)], ids=["west", "east"])
def test_in_a_u_a_line_leads_to_the_far_end_of_each_arm(arm: BaseGeometry) -> None:
    assert any(line.intersects(arm) for line in drawn("U").lines)


def test_a_neck_is_passed_in_its_middle() -> None:
    # 1.40 m between the boundaries, less the open edge on both sides.
    width_m = 1.40 - 2 * RULES.ground.open_edge_m
    found = drawn("neck_of_70_cm")
    passages = found.file["passages"]
    assert list(passages["verdict"]) == ["guided"]
    assert passages["width_m"].iloc[0] == pytest.approx(width_m, abs=0.01)
    # A machine that is 0.46 m wide has 12 cm to each side: the line has to be in the middle.
    inside = awkward.NECK.intersection(box(0, 12.2, 14, 17.8))
    through = [line.intersection(inside) for line in found.lines if line.intersects(inside)]
    assert through
    for part in through:
        assert np.abs(shapely.get_coordinates(part)[:, 0] - 6.7).max() <= 0.05
        assert part.length == pytest.approx(5.6, abs=0.01)


@pytest.mark.parametrize("machine", ["large", "steep"])
def test_a_neck_too_narrow_for_the_class_is_closed_and_the_machine_carried(machine: str) -> None:
    found = drawn("neck_of_70_cm", machine)
    assert found.broken == ()
    assert list(found.file["passages"]["verdict"]) == ["closed"]
    assert sorted(found.file["mowable"]["role"]) == ["carried", "main"]
    assert found.enclosed.covers(found.mown("carried").buffer(-0.05))
    neck = awkward.NECK.buffer(-0.01)
    assert found.all_of("mowable").intersection(box(6, 13, 7.4, 17)).is_empty
    assert not any(line.intersects(neck.intersection(box(6, 13, 7.4, 17))) for line in found.lines)
    # The pair to the far lawn lies in the neck: it is the shortest way, and nobody drives there.
    assert all(neck.buffer(0.4).covers(lead) for lead in found.sections("lead_out"))
    # Whoever reads the plan is told which place is too narrow, and for what.
    advisories = found.file["advisories"].set_index("rule")
    text = advisories.loc["carried_part", "text"]
    needed_m = load_machine(machine).smallest_passage_m
    assert "0.70 m" in text
    assert f"{needed_m:.2f} m" in text
    assert advisories.loc["carried_part", "measured"] == pytest.approx(0.70, abs=0.01)
    assert advisories.loc["carried_part", "limit"] == needed_m


def test_a_pond_in_the_only_way_is_passed_on_both_sides() -> None:
    found = drawn("pond_in_the_only_way")
    beside = LineString([(0, 15), (12, 15)])
    at = sorted(line.intersection(beside).x for line in found.lines if line.intersects(beside))
    assert len(at) == 2
    assert at[0] < awkward.POND.x < at[1]
    # Whoever falls in is lost: nobody drives nearer than the rule book's distance.
    water_m = RULES.kinds["water"].setback_m
    pond = GARDENS["pond_in_the_only_way"].of("water")
    assert found.all_of("mowable").distance(pond) >= water_m - ARC_M
    assert list(found.file["passages"]["verdict"]) == ["guided", "guided"]


def test_beside_a_pond_the_line_takes_the_wide_side_and_the_lead_the_narrow_one() -> None:
    # The small class has one line, so that a lead is free to take the narrow side.
    found = drawn("pond_to_one_side", "small")
    assert found.broken == ()
    (line,) = found.lines
    beside = LineString([(0, 15), (12, 15)])
    wide_m = (awkward.ASIDE.x + 3.0 + 1.0, 12 - RULES.ground.open_edge_m)
    assert wide_m[0] + 0.3 < line.intersection(beside).x < wide_m[1] - 0.3
    # A ring round the pond at its distance, hung on the edge by the shortest pair there is.
    ring = found.wire.intersection(awkward.ASIDE.buffer(4.05))
    assert ring.length == pytest.approx(2 * np.pi * 4.0, rel=0.01)
    out, back = (shapely.union_all(found.sections(way)) for way in ("lead_out", "lead_back"))
    narrow_m = 5.3 - 3.0 - 1.0 - RULES.ground.open_edge_m
    assert out.length == pytest.approx(narrow_m, abs=0.03)
    assert back.length == pytest.approx(narrow_m, abs=0.03)
    assert out.centroid.x < 2.0


def steepest_metre_pct(line: LineString) -> float:
    """Return the most that the bank rises or falls over any metre of a line."""
    begins = np.arange(0.0, line.length - 1.0, 0.05)
    first, last = (
        awkward.bank(*shapely.get_coordinates(line.interpolate(begins + off)).T) for off in (0, 1)
    )
    return float(100 * np.abs(last - first).max())


def over_the_bank(found: Drawn) -> list[LineString]:
    bank = box(-1, awkward.BANK_FOOT_M, 19, awkward.BANK_BROW_M)
    parts = [line.intersection(bank) for line in found.lines]
    return [part for part in parts if part.length > awkward.BANK_BROW_M - awkward.BANK_FOOT_M]


BY_HAND = LineString([(9, 0.35), (9, 3), (4.5, 9.5), (4.7, 10.7), (14.6, 19.3), (14.6, 29.65)])


def test_over_the_bank_there_is_a_way_that_keeps_every_rule() -> None:
    # So that the expectations below are fair: one line drawn by hand.
    rules = RULES.return_line
    assert turns_deg(BY_HAND).max() < rules.largest_bend_deg
    assert steepest_metre_pct(BY_HAND) < LIMIT_PCT
    assert np.hypot(*np.diff(shapely.get_coordinates(BY_HAND), axis=0).T).min() > 1.0
    clear = drawn("bank_across").enclosed.buffer(-rules.corridor_m)
    assert BY_HAND.difference(clear).length < 2 * rules.corridor_m + 0.01


def test_a_bank_is_crossed_by_a_line_or_by_two_beside_each_other() -> None:
    found = drawn("bank_across")
    over = over_the_bank(found)
    assert len(over) in {1, 2}
    # A second one shares the ground that is crossed best: a few metres off, never over the first.
    assert max(shapely.distance(over[0], over)) < 4.0
    assert len(over) == 1 or not over[0].crosses(over[1])
    assert found.plan.layout is not None
    assert all(row.steepest_pct <= LIMIT_PCT + OVER_PCT for row in found.plan.layout.return_lines)


def test_a_bank_is_crossed_within_the_limit() -> None:
    # On the bank as levelled, not as the plan sees it smoothed: at foot and brow the two differ.
    for line in drawn("bank_across").lines:
        assert steepest_metre_pct(line) <= LIMIT_PCT + OVER_PCT


def test_a_bank_is_crossed_aslant_without_a_switchback() -> None:
    for part in over_the_bank(drawn("bank_across")):
        run = np.diff(shapely.get_coordinates(part), axis=0)
        assert (run[:, 1] > 0).all()
        # It keeps to one side but for the rounding of its bends at foot and brow.
        aside = np.maximum(run[:, 0], 0).sum(), np.maximum(-run[:, 0], 0).sum()
        assert max(aside) > 5.0
        assert min(aside) < 0.5


def test_no_bend_is_sharper_than_allowed_where_the_lawn_leaves_room() -> None:
    assert "return_line_bend" not in set(drawn("bank_across").file["advisories"]["rule"])


def test_above_a_terrace_the_machine_is_carried_and_the_loop_goes_along() -> None:
    found = drawn("terrace")
    assert sorted(found.file["mowable"]["role"]) == ["carried", "main"]
    assert found.mown("carried").bounds[1] > awkward.TERRACE_Y
    assert found.mown("main").bounds[3] < awkward.TERRACE_Y
    assert found.enclosed.covers(found.mown("carried").buffer(-0.05))
    # One conductor: out and back over the wall as a pair, nowhere else.
    out, back = (shapely.union_all(found.sections(way)) for way in ("lead_out", "lead_back"))
    wall = LineString([(-5, awkward.TERRACE_Y), (25, awkward.TERRACE_Y)])
    over = found.wire.intersection(wall)
    assert len(shapely.get_parts(over)) == 2
    assert out.crosses(wall)
    assert back.crosses(wall)
    assert shapely.hausdorff_distance(out, back) < 0.1
    # No machine drives over the fall: neither may a return line lead it there.
    assert not any(line.intersects(wall) for line in found.lines)


def test_the_wire_keeps_off_the_fall_of_a_terrace() -> None:
    drop = GARDENS["terrace"].of("drop")
    drop_m, wall_m = (RULES.kinds[kind].setback_m for kind in ("drop", "wall"))
    for machine in ("small", "medium"):
        found = drawn("terrace", machine)
        assert found.broken == ()
        edges = shapely.union_all(found.sections("edge", "island"))
        assert edges.distance(drop) >= drop_m - ARC_M
        assert edges.distance(GARDENS["terrace"].of("wall")) >= wall_m - ARC_M


def test_two_levels_with_two_small_machines_get_a_loop_each() -> None:
    found = drawn("terrace", "small")
    assert found.file.loops == [1, 2]
    levels = [shapely.box(0, 0, 20, awkward.TERRACE_Y), shapely.box(0, awkward.TERRACE_Y, 20, 30)]
    for level in levels:
        assert sum(level.covers(local(each)) for each in found.file["perimeter_wire"].geometry) == 1
        assert sum(level.covers(local(each)) for each in found.file["return_lines"].geometry) == 1


def test_an_island_by_the_edge_is_joined_to_the_edge() -> None:
    found = drawn("island_by_the_edge")
    # A machine cannot pass behind the bed: a ring and a lead would be wire for nothing.
    assert not found.sections("lead_out", "lead_back", "island")
    behind = box(6, 0, 9, 1.1)
    assert found.all_of("mowable").intersection(behind).area == 0.0
    assert found.enclosed.disjoint(awkward.BED)
    assert found.all_of("hand_trim").intersection(behind).area == pytest.approx(behind.area, 0.01)


def test_the_sharp_corner_of_a_triangle_is_trimmed_by_hand() -> None:
    found = drawn("triangle")
    # The corner of 29 degrees: a disc as wide as the smallest passage comes no nearer to the tip
    # of the wire's triangle than r / sin(14.6 deg) - r (trigonometry).
    half = np.arctan2(14, 25) / 2
    radius_m = MACHINE.smallest_passage_m / 2
    least_m = radius_m / np.sin(half) - radius_m
    assert found.all_of("mowable").distance(awkward.TIP) > least_m
    assert found.all_of("hand_trim").distance(awkward.TIP) < 0.01
    # The wire goes round the corner, never tighter than the radius: three places half a step apart
    # lie on a circle at least as large (menger curvature), a centimetre allowed for its chords.
    near = found.wire.intersection(awkward.TIP.buffer(6.0))
    corner = min(shapely.get_parts(near), key=awkward.TIP.distance)
    at = shapely.get_coordinates(corner.interpolate(np.arange(0.0, corner.length, 0.1))) @ [1, 1j]
    a, b, c = at[:-2], at[1:-1], at[2:]
    twice_m2 = np.abs(np.imag(np.conj(b - a) * (c - a)))
    radius = np.abs(b - a) * np.abs(c - b) * np.abs(c - a) / (2 * np.maximum(twice_m2, 1e-9))
    assert radius.min() > RULES.wire.corner_radius_m - 0.01
    named = found.file["hand_trim"]
    assert named["area_m2"].sum() == pytest.approx(found.all_of("hand_trim").area, abs=0.01)
    assert set(named["against"]) == {"building", "open_edge", "too_narrow"}
    # The machine is to come home from that corner all the same.
    assert min(line.distance(awkward.TIP) for line in found.lines) < 8.0


def test_the_house_in_a_courtyard_hangs_on_the_loop() -> None:
    found = drawn("courtyard")
    ring_m = RULES.kinds["building"].setback_m + 0.01
    leads = found.sections("lead_out", "lead_back")
    stands = found.station.distance(awkward.HOUSE) <= ring_m
    assert stands or any(lead.distance(awkward.HOUSE) <= ring_m for lead in leads)
    # Where the station stands on the house's ring, the outer edge hangs on it by a pair, and the
    # other way round: either way there is one pair.
    assert len(leads) >= 2
    assert found.enclosed.disjoint(awkward.HOUSE)
    # Wire goes all round the house.
    around = awkward.HOUSE.buffer(ring_m)
    assert found.wire.intersection(around).length > 0.9 * awkward.HOUSE.length


def test_in_a_courtyard_the_lines_lead_round_the_house_and_meet_no_wire() -> None:
    found = drawn("courtyard")
    behind = box(0, awkward.HOUSE.bounds[3], 30, 26)
    assert any(line.intersects(behind) for line in found.lines)
    # Lawn all round the house: what is mown goes round it in one piece with one hole.
    (lawn,) = shapely.get_parts(found.all_of("mowable"))
    assert [shapely.Polygon(ring).covers(awkward.HOUSE) for ring in lawn.interiors] == [True]
    away_m = RULES.kinds["building"].setback_m + RULES.return_line.corridor_m
    for line in found.lines:
        once_out = substring(line, RULES.return_line.straight_run_m, line.length)
        assert once_out.distance(awkward.HOUSE) > away_m - 0.01


@pytest.mark.parametrize("machine", ["small", "medium", "large", "steep"])
def test_a_lawn_of_25_m2_is_planned(machine: str) -> None:
    found = drawn("lawn_of_25_m2", machine)
    assert found.broken == ()
    assert found.all_of("lawn").area == pytest.approx(25.0)
    # 5 m less 0.35 m all round, less four corners of radius r: 4.3^2 - (4 - pi) r^2.
    radius_m = max(load_machine(machine).smallest_passage_m / 2, RULES.wire.corner_radius_m)
    mown_m2 = 4.3**2 - (4 - np.pi) * radius_m**2
    assert found.all_of("mowable").area == pytest.approx(mown_m2, abs=0.1)
    assert found.lines
    # The station stands by the wall with the outlet, not in front of it.
    assert found.station.y == pytest.approx(0.35, abs=0.01)
    front = found.file["station_area"].set_index("part").geometry["front"]
    assert box(0.35, 0.34, 4.65, 4.65).covers(local(front))


def test_a_crossing_over_a_drive_is_wired_on_both_sides_and_not_mown() -> None:
    found = drawn("curved_drive")
    drive = GARDENS["curved_drive"].of("paving_flush")
    strip = awkward.STRIP.intersection(drive)
    assert found.all_of("mowable").intersection(strip).area < 0.01
    assert found.enclosed.covers(strip.buffer(-0.05))
    for side_y in (13.5, 15.0):
        side = LineString([(20.6, side_y), (23.4, side_y)])
        along = found.wire.intersection(side.buffer(0.05, cap_style="flat"))
        assert along.length > 0.95 * side.length
    # Both sides are one lawn to the machine, and it is led home over the strip.
    assert set(found.file["mowable"]["role"]) == {"main", "linked"}
    assert any(line.intersects(strip) for line in found.lines)
    # Nobody mows the drive itself.
    assert found.all_of("mowable").intersection(drive).area < 0.01


def test_pegs_hold_the_wire_on_the_curve_of_a_drive() -> None:
    found = drawn("curved_drive")
    pegs = found.file["pegs"].query("on == 'perimeter'").sort_values("chainage_m")
    places = [local(place) for place in pegs.geometry]
    drive = GARDENS["curved_drive"].of("paving_flush")
    wire_m = RULES.kinds["paving_flush"].setback_m
    by_strip = awkward.STRIP.buffer(0.2)
    along = 0
    for one, other in pairwise(zip(pegs["chainage_m"], places, strict=True)):
        between = substring(found.wire, one[0], other[0])
        if between.distance(drive) > wire_m + 0.05 or between.intersects(by_strip):
            continue
        along += 1
        # Wire pulled taut from peg to peg is a chord.
        chord = LineString([one[1], other[1]])
        assert shapely.hausdorff_distance(between, chord) <= RULES.pegs.curve_offset_m + ARC_M
        assert chord.distance(drive) > 0.05
    assert along > 60


def test_trees_that_stand_free_get_no_wire_and_lines_keep_off() -> None:
    found = drawn("twenty_trees")
    trunks = shapely.get_parts(GARDENS["twenty_trees"].of("tree"))
    assert len(trunks) == 20
    assert not found.sections("island", "lead_out", "lead_back")
    edge = GARDENS["twenty_trees"].parcel.exterior
    free = [trunk for trunk in trunks if trunk.distance(edge) > 1.5]
    assert len(free) >= 15
    for trunk in free:
        assert found.wire.distance(trunk) > 0.5
        assert found.enclosed.covers(trunk)
    for trunk in free:
        assert found.all_of("mowable").buffer(0.01).union(trunk).covers(trunk.buffer(0.3))
    clear_m = RULES.kinds["tree"].setback_m
    for line in found.lines:
        assert shapely.distance(line, trunks).min() >= clear_m - ARC_M
