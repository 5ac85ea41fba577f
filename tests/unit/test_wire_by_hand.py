"""The wire room on lawns whose every length can be worked out by hand."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from lawnplat.ground.build import build_ground
from lawnplat.plan import plan_site
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.build import build_terrain, choose_grid
from lawnplat.terrain.types import ElevationWindow
from lawnplat.wire.build import build_layout
from lawnplat.wire.conductor import BrokenRim, conductor, slit_ground
from lawnplat.wire.joints import joints_of, parking_test_of, return_name, splices
from lawnplat.wire.leads import Lead, rims_of
from lawnplat.wire.leg_cost import LegCost
from lawnplat.wire.rounding import MostTurn, bends_deg, rounded, rounded_gently, sharpest_turn
from lawnplat.wire.types import Perimeter, ReturnLine
from lawnplat.wire.ways_home import mean_and_worst

RULES = load_rule_book()
MEDIUM = load_machine("medium")
DISC_M = MEDIUM.smallest_passage_m / 2
GAP_M = RULES.wire.pair_gap_m
# Arcs as chords of at most 1.5/64 turn are up to 0.09 % short of 2 pi x 0.35 m.
CHORDS_M = 0.0009 * 2 * math.pi * DISC_M


def thing(kind, geometry, setback_m=None):
    return Feature(kind, geometry, "invented", setback_m=setback_m)


def laid(*features, parcel=None, surface=None):
    parcel = box(0, 0, 20, 10) if parcel is None else parcel
    site = Site("1", "invented", "EPSG:25832", parcel, features=features)
    window = None
    if surface is not None:
        grid = choose_grid(site, MEDIUM, RULES)
        window = ElevationWindow(grid, surface(*np.meshgrid(*grid.centres())), 0.25)
    terrain = build_terrain(site, MEDIUM, RULES, window)
    ground = build_ground(site, terrain, MEDIUM, RULES)
    return build_layout(site, ground, terrain, MEDIUM, RULES).layout


def ahead_of(station):
    bearing = math.radians(station.bearing_deg)
    return np.array([math.sin(bearing), math.cos(bearing)])


def edge_m(width, height):
    """Return the length of the rim 0.35 m inside a rectangle, corners rounded with 0.35 m."""
    return 2 * (width + height - 1.4) - 8 * DISC_M + 2 * math.pi * DISC_M


def test_the_wire_round_a_plain_lawn():
    # 20 x 10 m, wire 0.35 m in, corners rounded by the smallest passage's disc of 0.35 m, open by
    # the 0.2 m between the terminals: 2 (19.3 + 9.3) - 8 x 0.35 + 2 pi 0.35 - 0.2 = 56.399 m.
    layout = laid()
    exact = edge_m(20, 10) - RULES.wire.terminal_gap_m
    assert exact == pytest.approx(56.3991, abs=1e-4)
    assert -CHORDS_M <= layout.perimeter.line.length - exact <= 1e-6


@pytest.mark.parametrize("outlet", [(10, 0), (10, 10), (0, 5), (20, 5)])
def test_the_station_faces_the_lawn_and_the_wire_sets_off_to_its_left(outlet):
    layout = laid(thing("power_outlet", Point(outlet)))
    station, wire = layout.station, layout.perimeter.line
    spot, ahead = shapely.get_coordinates(station.point)[0], ahead_of(station)
    # Two metres ahead lies well inside, half a metre behind outside the wire.
    ring = Polygon(wire.coords)
    assert ring.contains(Point(spot + 2 * ahead))
    assert not ring.contains(Point(spot - 0.2 * ahead))
    left = np.array([-ahead[1], ahead[0]])
    first, last = np.array(wire.coords[0]) - spot, np.array(wire.coords[-1]) - spot
    half = RULES.wire.terminal_gap_m / 2
    assert (first @ left, last @ left) == pytest.approx((half, -half), abs=1e-6)
    assert (first @ ahead, last @ ahead) == pytest.approx((0, 0), abs=1e-6)
    # The lawn to the right of the wire: it runs clockwise.
    assert not ring.exterior.is_ccw
    assert wire.is_simple


def test_the_stations_ground_is_drawn_to_the_rule_books_sizes():
    station = laid().station
    spot, ahead = shapely.get_coordinates(station.point)[0], ahead_of(station)
    rules, machine = RULES.station, MEDIUM
    assert station.front.area == pytest.approx(rules.front_clear_m * 2 * rules.side_clear_m)
    assert station.base.area == pytest.approx(machine.base_length_m * machine.base_width_m)
    middle = np.array(station.front.centroid.coords[0])
    assert middle == pytest.approx(spot + ahead * rules.front_clear_m / 2, abs=1e-6)
    behind = np.array(station.base.centroid.coords[0]) - spot
    reach = machine.base_length_m / 2 - machine.base_behind_wire_m
    assert behind @ ahead == pytest.approx(reach, abs=1e-6)


def test_the_options_tell_why_not():
    layout = laid(thing("power_outlet", Point(0, 5)))
    options = layout.station.options
    assert [o.rank for o in options if o.rank] == list(
        range(1, 1 + sum(o.rank > 0 for o in options))
    )
    assert options[0].rank == 1
    assert options[0].point.equals(layout.station.point)
    assert all((option.rejected_because == "") == (option.rank > 0) for option in options)
    scores = [option.score for option in options if option.rank]
    assert scores == sorted(scores)
    corner = [o for o in options if not o.straight_wire]
    assert corner
    assert all("not straight for 1.0 m" in option.rejected_because for option in corner)


def round_the_lawn_m(one, other):
    """Return the length of a string drawn taut between two places, outside the wire.

    Round a convex body it lies on the hull of body and places, the shorter way (geometry). The
    grid counts ground up to 0.75 of its cell of 0.25 m inside the wire as outside.
    """
    lawn = box(0.35, 0.35, 19.65, 9.65).buffer(-0.75 * 0.25, join_style="mitre")
    hull = shapely.union_all([lawn, Point(one), Point(other)]).convex_hull.exterior
    along = abs(hull.project(Point(one)) - hull.project(Point(other)))
    return min(along, hull.length - along)


@pytest.mark.parametrize("outlet", [(0, 5), (10, 0), (20, 2), (0, 0)])
def test_the_cable_runs_round_the_lawn_and_not_across(outlet):
    layout = laid(thing("power_outlet", Point(outlet)))
    assert layout.station.outlet_distance_m <= RULES.station.cable_reach_m
    reached = [o for o in layout.station.options if not math.isnan(o.outlet_distance_m)]
    assert len(reached) == len(layout.station.options)
    for option in reached:
        behind = MEDIUM.base_behind_wire_m * ahead_of(option)
        string_m = round_the_lawn_m(outlet, shapely.get_coordinates(option.point)[0] - behind)
        # 16 directions are up to 2.75 % longer than a string; both ends are put on the nearest of
        # the cells of 0.25 m, and the string is kept half a cell off the corners.
        assert -0.5 <= option.outlet_distance_m - string_m <= 0.0275 * string_m + 1.0


def test_an_island_is_one_lead_out_round_and_one_lead_back():
    bed = thing("flower_bed", box(9, 4, 11, 6))
    layout = laid(bed)
    names = [section.section for section in layout.perimeter.sections]
    order = [name for place, name in enumerate(names) if place == 0 or names[place - 1] != name]
    assert order == ["edge", "lead_out", "island", "lead_back", "edge"]
    by_name = dict.fromkeys(order, 0.0)
    for section in layout.perimeter.sections:
        by_name[section.section] += section.to_m - section.from_m
    # Bed 2 x 2 with 0.3 m all round: 8 + 2 pi 0.3, less the mouth of 1 cm where the pair comes in.
    assert by_name["island"] == pytest.approx(8 + 2 * math.pi * 0.3 - GAP_M, abs=0.02)
    # The lead is the shortest: from 0.35 to 3.7 m, 3.35 m, out and back alike. Where the return
    # line or the station bars that, it may lie elsewhere but not be shorter.
    assert by_name["lead_out"] == pytest.approx(by_name["lead_back"], abs=0.02)
    assert by_name["lead_out"] >= 3.35 - 2 * GAP_M
    total = edge_m(20, 10) + 8 + 2 * math.pi * 0.3 + 2 * by_name["lead_out"]
    assert layout.perimeter.line.length == pytest.approx(
        total - RULES.wire.terminal_gap_m - 2 * GAP_M, abs=0.03
    )


def test_sections_chain_without_a_gap_and_tell_their_setbacks():
    layout = laid(
        thing("flower_bed", box(9, 4, 11, 6)),
        thing("fence", LineString([(0, 0), (20, 0)])),
        thing("path", LineString([(0, 10), (20, 10)])),
    )
    sections = layout.perimeter.sections
    assert sections[0].from_m == 0.0
    assert sections[-1].to_m == pytest.approx(layout.perimeter.line.length)
    for one, other in itertools.pairwise(sections):
        assert one.to_m == other.from_m
        assert one.line.coords[-1] == other.line.coords[0]
    against = {section.against for section in sections if section.section == "edge"}
    assert against == {"fence", "path", "open_edge"}
    for section in sections:
        if section.section in ("edge", "island"):
            rule = {"fence": 0.35, "path": 0.3, "open_edge": 0.35, "flower_bed": 0.3}
            # Two chords lie inside the arc by up to 1.4 mm on the bed's and on the disc's arcs.
            assert section.setback_m == pytest.approx(rule[section.against], abs=3e-3)


def test_two_beds_of_one_kind_keep_each_its_own_setback():
    near, far = box(5, 4, 6, 6), box(14, 4, 15, 6)
    layout = laid(thing("flower_bed", near), thing("flower_bed", far, 0.8))
    islands = [s for s in layout.perimeter.sections if s.section == "island"]
    for section in islands:
        expected = 0.3 if section.line.distance(near) < section.line.distance(far) else 0.8
        assert section.setback_m == pytest.approx(expected, abs=3e-3)
    assert {round(s.setback_m, 1) for s in islands} == {0.3, 0.8}


def test_crossfall_is_the_fall_outward_across_the_wire():
    # z = 0.08 x rises eastward: outward to the west the ground falls 8 %, to the east it rises 8 %,
    # along the other two edges there is no fall across.
    layout = laid(surface=lambda x, _y: 50 + 0.08 * x)
    wire = layout.perimeter
    (section,) = wire.sections
    assert section.cross_fall_pct == pytest.approx(8.0, abs=1e-6)
    fenced = laid(
        thing("fence", LineString([(20, 0), (20, 10)])),
        thing("wall", LineString([(0, 0), (0, 10)])),
        surface=lambda x, _y: 50 + 0.08 * x,
    )
    fall = {s.against: s.cross_fall_pct for s in fenced.perimeter.sections}
    assert fall["wall"] == pytest.approx(8.0, abs=1e-6)
    # Against the fence the ground outside lies higher, in the corners' arcs at most level.
    assert fall["fence"] <= 1e-6


def test_a_carried_lawn_hangs_on_a_pair_outside():
    # A drive of 3 m between two lawns: 3.6 m from rim to rim, one loop round both.
    layout = laid(thing("path", box(10, -1, 13, 11)), parcel=box(0, 0, 23, 10))
    names = [s.section for s in layout.perimeter.sections]
    assert names.count("lead_out") == names.count("lead_back") == 1
    lead = next(s for s in layout.perimeter.sections if s.section == "lead_out")
    assert lead.to_m - lead.from_m == pytest.approx(3.6, abs=2 * GAP_M)
    assert layout.perimeter.line.is_simple
    both = edge_m(10 - 0.3 + 0.35, 10) + edge_m(10 - 0.3 + 0.35, 10) + 2 * 3.6
    assert layout.perimeter.line.length == pytest.approx(
        both - 2 * GAP_M - RULES.wire.terminal_gap_m, abs=0.03
    )


def test_a_crossing_is_wired_along_its_sides():
    drive = thing("path", box(10, -1, 13, 11))
    layout = laid(drive, thing("crossing", box(10, 4, 13, 5.5)), parcel=box(0, 0, 23, 10))
    on_strip = [s for s in layout.perimeter.sections if s.against == "crossing"]
    assert len(on_strip) == 2
    # Two sides of 3.6 m each.
    assert sum(s.to_m - s.from_m for s in on_strip) == pytest.approx(7.2, abs=0.7)
    assert not [s for s in layout.perimeter.sections if s.section.startswith("lead")]


def test_the_return_line_keeps_its_corridor_and_ends_on_the_wire():
    layout = laid(thing("flower_bed", box(9, 4, 11, 6)), thing("tree", Point(5, 5).buffer(0.2)))
    for line in layout.return_lines:
        start, end = Point(line.line.coords[0]), Point(line.line.coords[-1])
        # A second line leaves the station a pair gap beside the first.
        assert start.distance(layout.station.point) <= GAP_M * (line.number - 1) + 1e-9
        assert end.distance(layout.perimeter.line) < 1e-6
        ends = shapely.union(start.buffer(0.7), end.buffer(0.7))
        inner = shapely.difference(line.line, ends)
        # Half a cell and straightened corners may cost a centimetre.
        assert inner.distance(layout.perimeter.line) > RULES.return_line.corridor_m - 0.01
        assert line.line.distance(Point(5, 5).buffer(0.2)) > RULES.kinds["tree"].setback_m - 0.01


def test_the_parking_test_is_three_metres_out():
    # Common practice, no source: at least 3.0 m out on the return line.
    (test, *_) = laid().parking_tests
    line = laid().return_lines[0].line
    assert test.distance_m == 3.0
    assert line.project(test.point) == pytest.approx(3.0, abs=1e-9)
    short = ReturnLine(2, LineString([(0, 0), (2, 0)]), 0, 0, 0)
    assert parking_test_of(short, RULES).distance_m == 2.0
    assert parking_test_of(short, RULES).line_number == 2


@pytest.mark.parametrize(
    # A spool of 150 m, half a metre spare at the first end: splices at 149.5, 299.5, ...; none for
    # a rest shorter than the spare.
    ("length_m", "chainages"),
    [(100, []), (149.5, []), (149.9, []), (150.1, [149.5]), (299.9, [149.5]),
     (300.1, [149.5, 299.5])],
)  # fmt: skip
def test_splices_where_a_spool_ends(length_m, chainages):
    wire = LineString([(0, 0), (length_m, 0)])
    found = splices(wire, "perimeter", RULES)
    assert [joint.chainage_m for joint in found] == pytest.approx(chainages)
    assert [joint.point.x for joint in found] == pytest.approx(chainages)
    assert all((joint.joint, joint.on) == ("splice", "perimeter") for joint in found)


def test_joints_of_one_loop_and_one_line():
    wire = LineString([(0, 0), (0, 10), (10, 10), (10, 0), (0.2, 0)])
    line = ReturnLine(1, LineString([(0.1, 0), (5, 5), (10, 4)]), 0, 0, 0)
    found = joints_of(Perimeter(wire, ()), (line,), RULES)
    assert [(j.joint, j.on, round(j.chainage_m, 6)) for j in found] == [
        ("terminal", "perimeter", 0.0), ("three_way", "perimeter", 26.0),
        ("terminal", "perimeter", 39.8), ("terminal", "return_1", 0.0),
    ]  # fmt: skip
    assert return_name(3) == "return_3"


def test_a_slit_square_by_hand():
    # A hole of 2 x 2 in 10 x 10, slit 1 cm wide over 4 m: 100 - 4 - 0.04 m2, rim 40 + 8 + 2 x 4
    # less two mouths of 1 cm.
    piece = box(0, 0, 10, 10) - box(4, 4, 6, 6)
    lead = Lead(LineString([(0, 5), (4, 5)]), carried=False)
    whole = slit_ground([piece], [lead], 0.01)
    assert whole.area == pytest.approx(96 - 0.04, abs=1e-9)
    assert whole.exterior.length == pytest.approx(56 - 0.02, abs=1e-9)
    away = Lead(LineString([(10, 5), (13, 5)]), carried=True)
    both = slit_ground([piece, box(13, 0, 16, 10)], [lead, away], 0.01)
    assert both.area == pytest.approx(96 - 0.04 + 30 + 0.03, abs=1e-9)
    with pytest.raises(BrokenRim, match="1 pieces with 1 holes"):
        slit_ground([piece], [], 0.01)


def test_the_conductor_starts_left_of_the_station():
    # Station in the middle of the south edge, facing north: left is west.
    wire = conductor(box(0, 0, 10, 6), Point(5, 0), 0.2)
    assert wire.coords[0] == pytest.approx((4.9, 0))
    assert wire.coords[-1] == pytest.approx((5.1, 0))
    assert wire.length == pytest.approx(32 - 0.2)
    assert wire.coords[1] == pytest.approx((0, 0))


def test_rims_come_piece_by_piece_outer_ring_first():
    rims = rims_of([box(0, 0, 10, 10) - box(4, 4, 6, 6), box(20, 0, 30, 10)])
    assert [(rim.piece, rim.hole) for rim in rims] == [(0, None), (0, 0), (1, None)]
    assert [rim.ring.length for rim in rims] == pytest.approx([40, 8, 40])


def anywhere(_arc):
    return True


def test_a_corner_given_twice_is_one_bend():
    corners = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0]])
    twice = corners[[0, 1, 1, 2, 2]]
    np.testing.assert_array_equal(rounded(twice, 1.0, anywhere), rounded(corners, 1.0, anywhere))


def test_a_bend_is_an_arc_that_touches_both_legs():
    # A right angle with legs of 10 m and a radius of 1.5 m: the arc saves 2 x 1.5 - pi / 2 x 1.5.
    line = rounded(np.array([[0, 0], [10, 0], [10, 10.0]]), 1.5, anywhere)
    length = LineString(line).length
    exact = 20 - 3 + math.pi / 2 * 1.5
    # Twelve chords of 7.5 degrees: 0.07 % of the arc.
    assert length == pytest.approx(exact, abs=0.0008 * 1.5 * math.pi / 2)
    centre = Point(8.5, 1.5)
    arc = line[1:-1]
    assert shapely.distance(shapely.points(arc), centre) == pytest.approx(1.5, abs=1e-9)
    assert (arc[0], arc[-1]) == (pytest.approx([8.5, 0]), pytest.approx([10, 1.5]))
    assert bends_deg(line).max() < 8.0


def test_a_bend_without_room_is_drawn_smaller_or_left():
    corners = np.array([[0, 0], [2, 0], [2, 2], [4, 2.0]])
    # Two bends share a leg of 2 m: each may use 1 m.
    line = rounded(corners, 1.5, anywhere)
    assert shapely.distance(shapely.points(line), Point(1.02, 0.98)).min() == pytest.approx(
        0.98, abs=1e-6
    )
    assert (rounded(corners, 1.5, lambda _arc: False) == corners).all()
    kept = rounded(np.array([[0, 0], [3, 0], [3, 3.0]]), 1.5, anywhere, keep_first_m=2.5)
    assert kept[1][0] >= 2.5


def turned(*turns_deg: float, leg_m: float, end_m: float = 6.0) -> np.ndarray:
    """Return corners: a leg of 2 m, turns to the left with ``leg_m`` between, and a last leg."""
    heading = np.radians(np.cumsum([0.0, *turns_deg]))
    length_m = np.array([2.0, *[leg_m] * (len(turns_deg) - 1), end_m])
    runs = length_m[:, None] * np.stack([np.cos(heading), np.sin(heading)], axis=1)
    return np.concatenate([np.zeros((1, 2)), np.cumsum(runs, axis=0)])


@pytest.mark.parametrize("leg_m", [0.8, 1.06, 1.2])
def test_an_arc_is_not_begun_too_close_to_the_corner_before(leg_m: float) -> None:
    # By hand: 60 degrees, a leg, 60 degrees, 0.75 m counting as one bend. The first bend has no
    # room to be an arc, its leg being kept; the second's arc may begin 0.75 m after it at the
    # earliest, and half of the leg is its own: its tangent is min(leg - 0.75, leg / 2) at most.
    corners, most = turned(60, 60, leg_m=leg_m), MostTurn(60.0, 0.75)
    assert sharpest_turn(corners, 0.75)[0] == pytest.approx(60.0)
    assert sharpest_turn(rounded(corners, 1.5, anywhere, 2.0), 0.75)[0] > 62
    line = rounded_gently(corners, 1.5, anywhere, most, 2.0)
    assert sharpest_turn(line, 0.75)[0] <= 60 + 1e-5
    tangent_m = np.hypot(*(corners[2] - line[2]))
    assert tangent_m <= min(leg_m - 0.75, leg_m / 2) + 1e-6
    # Within a step of making it smaller (0.7) of the largest that there could be, or no arc of the
    # smallest radius (0.1 m, tangent 0.058 m) has room.
    assert tangent_m >= 0.7 * min(leg_m - 0.75, leg_m / 2) - 0.01 or leg_m < 0.81


def test_arcs_that_bend_no_more_than_allowed_stay_as_they_are() -> None:
    for corners in (turned(50, 60, leg_m=4.0), turned(20, 25, leg_m=0.9)):
        wide = rounded(corners, 1.5, anywhere)
        np.testing.assert_array_equal(
            rounded_gently(corners, 1.5, anywhere, MostTurn(60.0, 0.75)), wide
        )


def test_corners_that_turn_too_far_are_made_no_sharper_by_arcs() -> None:
    corners = turned(92, 54, leg_m=1.04)
    line = rounded_gently(corners, 1.5, anywhere, MostTurn(60.0, 0.75), 2.0)
    assert sharpest_turn(line, 0.75)[0] == pytest.approx(92.0, abs=1e-5)
    assert len(line) > len(corners)


def test_bends_in_degrees():
    line = np.array([[0, 0], [1, 0], [2, 1], [2, 2], [2, 1.0]])
    assert bends_deg(line) == pytest.approx([45, 45, 180])


def test_mean_and_worst_of_what_is_reached():
    ways = np.array([[1.0, 3.0, math.inf], [math.inf] * 3])
    mean, worst = mean_and_worst(ways)
    assert mean.tolist() == [2.0, math.inf]
    assert worst.tolist() == [3.0, math.inf]


def test_the_same_site_gives_the_same_layout():
    things = [
        thing("flower_bed", box(9, 4, 11, 6)),
        thing("tree", Point(5, 5).buffer(0.2)),
        thing("power_outlet", Point(0, 5)),
        thing("water", Point(15, 5).buffer(1)),
    ]
    site = Site("1", "invented", "EPSG:25832", box(0, 0, 20, 10), features=tuple(things))
    one, other = (plan_site(site, machine=MEDIUM, rules=RULES) for _ in range(2))
    assert one.layout.perimeter == other.layout.perimeter
    assert one.layout.return_lines == other.layout.return_lines
    # By their words: heights that are not known (NaN) equal nothing, not even themselves.
    assert repr(one.works) == repr(other.works)
    assert one.run_info == other.run_info


def test_a_turn_on_a_small_arc_is_as_sharp_as_its_corner() -> None:
    # Back and a metre beside: a half circle of radius 0.5 m in 18 chords, 10 degrees a bend.
    angle = np.radians(np.linspace(-90, 90, 19))
    arc = np.stack([5 + 0.5 * np.cos(angle), 0.5 * np.sin(angle)], axis=1)
    line = np.concatenate([[[0.0, -0.5]], arc, [[0.0, 0.5]]])
    assert bends_deg(line).max() == pytest.approx(10.0)
    # It is 1.57 m long: all of it within 1.6 m, within 0.75 m at 114.6 degrees a metre 86 degrees,
    # a chord more or less.
    assert sharpest_turn(line, 1.6)[0] == pytest.approx(180.0)
    turn, place = sharpest_turn(line, 0.75)
    assert turn == pytest.approx(np.degrees(0.75 / 0.5), abs=10.0)
    assert 5.0 <= place[0] <= 5.5


def test_bends_to_either_side_are_not_added() -> None:
    line = np.array([[0, 0], [1, 0], [1.2, 0.2], [3, 0.2]], float)
    assert sharpest_turn(line, 0.75)[0] == pytest.approx(45.0)
    assert sharpest_turn(line[:2], 0.75)[0] == 0.0


def test_two_corners_close_to_each_other_are_one_bend() -> None:
    corners = np.array([[0, 0], [2, 0], [2.2, 0.2 * np.sqrt(3)], [2.0, 2.0]], float)
    first, second = bends_deg(corners)
    assert first == pytest.approx(60.0)
    assert sharpest_turn(corners, 0.75)[0] == pytest.approx(first + second)
    assert sharpest_turn(corners, 0.1)[0] == pytest.approx(first)


@pytest.mark.parametrize(("leg_m", "dear"), [(0.3, True), (1.0, False)])
def test_bends_beside_a_short_leg_may_turn_by_its_share(leg_m: float, dear: bool) -> None:
    # Two bends of 45 degrees: 0.3 of a smallest leg lets each turn by 18, a whole one by 60.
    cost = LegCost(
        gradient=lambda x, _: (np.zeros_like(x), np.zeros_like(x)),
        closeness=lambda x, _: np.zeros_like(x),
        free=box(-20, -20, 20, 20), limit=np.inf, per_gradient=0.0, per_closeness=0.0,
        per_bend=2.0, largest_bend_deg=60.0, smallest_leg_m=1.0,
    )  # fmt: skip
    out = leg_m / np.sqrt(2)
    corners = np.array([[0, 0], [3, 0], [3 + out, out], [3 + out, 4]], float)
    length_m = np.hypot(*np.diff(corners, axis=0).T).sum()
    # Each bend at 45 / 60 of the largest costs 1.5 m; a short leg 2 m times what it lacks.
    plain_m = length_m + 3.0 + 2.0 * max(1.0 - leg_m, 0.0)
    assert cost.chain(corners) == pytest.approx(plain_m + (40.0 if dear else 0.0))


def test_a_leg_is_barred_where_it_passes_the_limit_by_more_than_allowed() -> None:
    # 20.9 % along a leg under a limit of 20: over by 0.9 of a point. What one price list found for
    # a leg is not what a list that allows more finds for it.
    strict = LegCost(
        gradient=lambda x, _: (np.full_like(x, 0.209), np.zeros_like(x)),
        closeness=lambda x, _: np.zeros_like(x),
        free=box(-20, -20, 20, 20), limit=0.20, per_gradient=0.0, per_closeness=0.0,
        over_limit=0.008,
    )  # fmt: skip
    start, end = np.array([[0.0, 0.0], [0.0, 0.0]]), np.array([[4.0, 0.0], [0.0, 4.0]])
    assert strict.open_legs(start, end).tolist() == [np.inf, pytest.approx(4.0)]
    loose = replace(strict, over_limit=0.01)
    assert loose.open_legs(start, end) == pytest.approx([4.0, 4.0])
    assert loose.legs(start, end)[1].tolist() == [False, False]
    assert strict.legs(start, end)[1].tolist() == [True, False]
