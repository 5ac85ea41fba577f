"""Setting out on cases small enough to work out by hand. All sites are invented."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from lawnplat.plan import plan_site
from lawnplat.planned import Plan
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.works.arcs import stretches
from lawnplat.works.edge_offsets import edge_offsets
from lawnplat.works.fixed_points import BUILT, HOUSE, PARCEL, Candidate, candidates
from lawnplat.works.setting_out import letters
from lawnplat.works.tapes import Square, choose_tapes, solid_ground, square_off, two_tape_point

BOOK = load_rule_book()
RULES = BOOK.setting_out
NOTHING = Polygon()


def site_of(*things: tuple[str, shapely.Geometry], side_m: float = 40) -> Site:
    parcel = box(0, 0, side_m, side_m)
    features = tuple(Feature(kind, shape, "invented") for kind, shape in things)
    return Site("1", "invented", "EPSG:25832", parcel, features=features)


def fixed(*places: tuple[float, float], rank: int = HOUSE) -> list[Candidate]:
    return [Candidate(rank, "corner", Point(place)) for place in places]


def chosen(mark: tuple[float, float], points: list[Candidate], solid=NOTHING, rules=RULES):
    return choose_tapes(np.array([mark], dtype=float), points, solid, rules)[0]


def test_two_tapes_of_a_3_4_5_triangle() -> None:
    # The right angle's foot on the hypotenuse: 9 / 5 along, 12 / 5 off.
    assert two_tape_point((0, 0), (5, 0), 3, 4, "left") == pytest.approx((1.8, 2.4))
    assert two_tape_point((0, 0), (5, 0), 3, 4, "right") == pytest.approx((1.8, -2.4))


@pytest.mark.parametrize(
    ("dist_a", "dist_b", "side"), [(1, 1, "left"), (9, 1, "left"), (3, 4, "above")]
)
def test_tapes_that_do_not_meet_are_refused(dist_a: float, dist_b: float, side: str) -> None:
    with pytest.raises(ValueError, match=r"meet|left or right"):
        two_tape_point((0, 0), (5, 0), dist_a, dist_b, side)


def test_the_square_cut_is_chosen() -> None:
    # Seen from (0, 0): A to the west and B to the north cut at 90, C at 45 degrees to both.
    tapes = chosen((0, 0), fixed((-8, 0), (0, 8), (-6, 6)))
    assert (tapes.a, tapes.b, tapes.cut_deg) == (0, 1, pytest.approx(90))
    assert (tapes.dist_a_m, tapes.dist_b_m) == (8, 8)
    # From (-8, 0) towards (0, 8) the mark lies to the right.
    assert tapes.side == "right"


@pytest.mark.parametrize(
    ("degrees", "reached"), [(29.9, False), (30.1, True), (149.9, True), (150.1, False)]
)
def test_cuts_from_30_to_150_degrees(degrees: float, reached: bool) -> None:
    turn = math.radians(degrees)
    points = fixed((10, 0), (10 * math.cos(turn), 10 * math.sin(turn)))
    assert (chosen((0, 0), points) is not None) is reached


@pytest.mark.parametrize(("metres", "reached"), [(29.9, True), (30.1, False)])
def test_tapes_of_30_m_at_most(metres: float, reached: bool) -> None:
    assert (chosen((0, 0), fixed((metres, 0), (0, 10))) is not None) is reached


def test_a_house_corner_is_preferred_when_cuts_are_comparable() -> None:
    house = Candidate(HOUSE, "building corner", Point(10, 0))
    built = Candidate(BUILT, "wall corner", Point(9.95, -1.0))
    turned = [*fixed((0, 10)), house, built]
    # The wall's corner cuts at 95.7 degrees, the house's at 90.
    assert chosen((0, 0), turned).b == 1
    # From the house's corner the cut is 85, from the wall's 90: five degrees are not worth it.
    near = [*fixed((0, 10), (9.96, 0.87)), Candidate(BUILT, "", Point(10, 0))]
    assert chosen((0, 0), near).b == 1
    # At 50 degrees it is: forty against ten.
    far = [*fixed((0, 10), (7.66, 6.43)), Candidate(BUILT, "", Point(10, 0))]
    few = replace(RULES, score_point=0.0)
    assert chosen((0, 0), far, rules=few).b == 2


def test_no_tape_runs_through_a_house_nor_between_two_that_touch() -> None:
    points = fixed((-10, 0), (0, 10), (10, 0))
    house = site_of(("building", box(3, -1, 5, 1)))
    assert {chosen((0, 0), points, solid_ground(house, BOOK)).a} == {0}
    # The joint of two houses lies just on the tape.
    twins = site_of(("building", box(3, 0, 5, 2)), ("building", box(3, -2, 5, 0)))
    assert chosen((0, 0), points[1:], solid_ground(twins, BOOK)) is None
    # Over a terrace and a bed a tape is held.
    flat = site_of(("paving_flush", box(3, -1, 5, 1)), ("flower_bed", box(-5, -1, -3, 1)))
    assert chosen((0, 0), points[1:], solid_ground(flat, BOOK)) is not None


def test_a_tape_starts_at_the_end_of_a_fence_but_does_not_pass_it() -> None:
    site = site_of(("fence", LineString([(10, 0), (10, 8)])))
    solid = solid_ground(site, BOOK)
    assert chosen((0, 0), fixed((10, 0), (0, 10)), solid) is not None
    assert chosen((0, 0), fixed((12, 2), (0, 10)), solid) is None


def test_fewer_fixed_points_serve_where_cuts_stay_good() -> None:
    # Two marks, each with a best third point of its own that is better by a few degrees alone.
    marks = np.array([(0.0, 0.0), (1.0, 0.0)])
    points = fixed((-8, 0), (0, 8), (1, 8.2))
    pairs = choose_tapes(marks, points, NOTHING, RULES)
    assert len({index for each in pairs for index in (each.a, each.b)}) == 2
    every = choose_tapes(marks, points, NOTHING, replace(RULES, score_point=0.0))
    assert len({index for each in every for index in (each.a, each.b)}) == 3


def test_a_mark_by_a_wall_between_its_corners_is_set_off_square() -> None:
    # 3 m from the first corner of a wall 8 m long, 0.35 m off: the tapes cut at some 170 degrees.
    points = fixed((0, 0), (8, 0))
    assert chosen((3, 0.35), points) is None
    square = square_off(np.array([3, 0.35]), points, NOTHING, RULES)
    assert square == Square(a=0, b=1, along_m=3.0, off_m=0.35, side="left")
    assert square_off(np.array([3, 2.35]), points, NOTHING, RULES) is None
    # A fence's line passes nearer, but a house's wall is there to lay the tape along.
    fence = fixed((-1, 0.35), (9, 0.35), rank=BUILT)
    assert square_off(np.array([3, 0.35]), [*points, *fence], NOTHING, RULES) == square
    # And none is taken that runs through something solid.
    assert square_off(np.array([3, 0.35]), points, box(5, -1, 6, 1), RULES) is None


def test_a_right_angled_arc_has_the_sagitta_of_its_radius() -> None:
    # 5 m east, an arc of radius 2 m to the north, 5 m north; s = r (1 - cos 45) = 0.5858 m, to
    # the right of the way: the curve bows outward from a left turn.
    turn = np.linspace(-np.pi / 2, 0, 40)
    arc = np.stack([5 + 2 * np.cos(turn), 2 + 2 * np.sin(turn)], axis=1)
    line = LineString([(0, 0), *arc, (7, 7)])
    found = stretches(line, [0.0, line.length], RULES)
    assert [each.offset_m == 0 for each in found] == [True, False, True]
    # A centimetre: the arc is cut at vertices of its drawing, a little beside its tangent points.
    assert found[1].offset_m == pytest.approx(-2 * (1 - math.cos(math.pi / 4)), abs=0.01)
    assert found[1].from_m == pytest.approx(5, abs=0.2)
    assert found[1].to_m == pytest.approx(line.length - 5, abs=0.2)


def test_a_bend_of_two_straights_is_one_mark_and_a_straight_none() -> None:
    line = LineString([(0, 0), (3, 0), (6, 0), (6, 9)])
    assert [(each.from_m, each.to_m) for each in stretches(line, [0, 15], RULES)] == [
        (0, 6), (6, 15),
    ]  # fmt: skip


def test_a_circle_is_told_in_even_arcs_none_too_long() -> None:
    # Radius 3 m: 18.8 m round, at most 120 degrees or 10 m an arc: three or, as drawn, four.
    ring = LineString(Point(0, 0).buffer(3, quad_segs=32).exterior.coords)
    found = stretches(ring, [0, ring.length], RULES)
    lengths = [each.to_m - each.from_m for each in found]
    assert len(found) in {3, 4}
    assert max(lengths) <= 10
    assert max(lengths) < 1.6 * min(lengths)
    for each in found:
        half = (each.to_m - each.from_m) / 3 / 2
        # To the right going round as it is drawn, clockwise: the circle bows left.
        assert each.offset_m == pytest.approx(3 * (1 - math.cos(half)), abs=0.01)


def test_fixed_points_by_hand() -> None:
    site = site_of(
        ("building", box(10, 10, 20, 20)),
        ("building", box(20, 12, 24, 16)),  # touches: two of its corners are re-entrant
        ("path", box(15, 5, 16, 15)),  # ends inside the house
        ("fence", LineString([(0, 0), (0, 40), (40, 40)])),
        ("rock", Point(30, 30).buffer(1)),
        ("building", box(50, 10, 60, 20)),  # next door
    )
    found = candidates(site, RULES)
    told = sorted((each.rank, each.what, each.point.x, each.point.y) for each in found)
    assert told == [
        (HOUSE, "building corner", 10, 10),
        (HOUSE, "building corner", 10, 20),
        (HOUSE, "building corner", 20, 10),
        (HOUSE, "building corner", 20, 20),
        (HOUSE, "building corner", 24, 12),
        (HOUSE, "building corner", 24, 16),
        (BUILT, "fence corner", 0, 40),
        (BUILT, "fence end", 0, 0),
        (BUILT, "fence end", 40, 40),
        (BUILT, "path corner", 15, 5),
        (BUILT, "path corner", 16, 5),
        (PARCEL, "parcel corner", 40, 0),
    ]
    assert [each.rank for each in found] == sorted(each.rank for each in found)


def test_a_round_or_a_nearly_straight_outline_has_no_corners() -> None:
    flat = Polygon([(10, 10), (15, 9.5), (20, 10), (20, 20), (10, 20)])  # bends by 11 degrees
    found = [each.point for each in candidates(site_of(("building", flat)), RULES)]
    assert Point(10, 10) in found
    assert Point(15, 9.5) not in found
    tank = site_of(("building", Point(20, 20).buffer(2)))
    assert {each.what for each in candidates(tank, RULES)} == {"parcel corner"}
    post = site_of(("building", Point(20, 20).buffer(0.3, quad_segs=2)))  # legs of 0.23 m
    assert {each.what for each in candidates(post, RULES)} == {"parcel corner"}


def test_names_of_fixed_points() -> None:
    assert [letters(n) for n in (0, 1, 25, 26, 27, 52)] == ["A", "B", "Z", "A1", "B1", "A2"]


def test_the_ruler_goes_to_the_hard_edge_then_to_what_is_seen_then_to_the_boundary() -> None:
    site = site_of(
        ("building", box(10, 10, 20, 20)),
        ("flower_bed", box(20, 10, 21, 20)),
        ("water", box(30, 30, 34, 34)),
        ("buried_service", LineString([(35, 0), (35, 40)])),
    )
    marks = np.array([(21.3, 15), (29, 32), (36, 20), (15, 9.5), (39, 5), (26.9, 12), (26, 15)])
    found = edge_offsets(marks, site, RULES)
    assert [(round(away, 3), kind) for away, kind in found[:5]] == [
        (1.3, "building"),  # the bed is nearer, but a wall is what a ruler is laid to
        (1.0, "water"),
        (4.0, "parcel_boundary"),
        (0.5, "building"),
        (1.0, "parcel_boundary"),
    ]
    assert math.isnan(found[5][0])
    assert found[5][1] == ""
    assert found[6] == (5.0, "flower_bed")


@pytest.fixture(scope="module")
def plan() -> Plan:
    things = (
        ("building", box(0, 0, 20, 6)),
        ("flower_bed", box(9, 12, 11, 14)),
        ("power_outlet", Point(10, 6)),
    )
    site = site_of(*things, side_m=20)
    return plan_site(site, machine=load_machine("medium"), rules=BOOK)


def test_a_planned_garden_marks_its_lead_once(plan: Plan) -> None:
    marks = plan.works.marks
    sections = [each.section for each in plan.layout.perimeter.sections]
    assert "lead_back" in sections
    (off,) = [each for each in marks if each.what == "lead-off" and not each.name.endswith("r")]
    (back,) = [each for each in marks if each.name == f"{off.name}r"]
    assert off.point.distance(back.point) < 0.02
    (end,) = [each for each in marks if each.what == "lead end"]
    assert off.to_mark == end.name
    # The last mark round the island leads to the lead's end again.
    assert [each.name for each in marks if each.to_mark == end.name and each is not off]
    on_way = [
        each
        for each in marks
        for s in plan.layout.perimeter.sections
        if s.section == "lead_back" and s.from_m + 0.01 < each.chainage_m < s.to_m - 0.01
        and each.on == "perimeter" and each.what != "splice"
    ]  # fmt: skip
    assert on_way == []


def test_marks_are_numbered_and_the_station_comes_first(plan: Plan) -> None:
    marks = plan.works.marks
    assert [each.what for each in marks[:3]] == ["station", "base back", "terminal"]
    numbers = [int(each.name) for each in marks if not each.name.endswith("r")]
    assert numbers == list(range(1, len(numbers) + 1))
    station, back = marks[0].point, marks[1].point
    assert station.distance(back) == pytest.approx(plan.machine.base_behind_wire_m)


def test_the_return_line_ends_at_the_mark_of_its_joint(plan: Plan) -> None:
    by_name = {each.name: each for each in plan.works.marks}
    last = [each for each in plan.works.marks if each.on == "return_1"][-1]
    joint = by_name[last.to_mark]
    assert (joint.what, joint.on) == ("joint", "perimeter")
    end = plan.layout.return_lines[0].line.coords[-1]
    assert joint.point.distance(Point(end)) < 0.01


def test_the_same_site_gives_the_same_marks(plan: Plan) -> None:
    again = plan_site(plan.site, machine=plan.machine, rules=BOOK)
    assert [repr(each) for each in again.works.marks] == [repr(each) for each in plan.works.marks]
    assert again.works.fixed_points == plan.works.fixed_points


def bent_straight_bent(first_m: float, straight_m: float, second_m: float) -> LineString:
    """Return an arc to the left, a straight and an arc to the left again, each a quarter circle."""
    turn = np.linspace(0, np.pi / 2, 13)
    one = first_m * np.stack([np.sin(turn), 1 - np.cos(turn)], axis=1)
    end = one[-1] + (0, straight_m)
    other = end + second_m * np.stack([np.cos(turn) - 1, np.sin(turn)], axis=1)
    return LineString([*one, *other])


@pytest.mark.parametrize("straight_m", [0.12, 0.18, 0.24])
@pytest.mark.parametrize("radii_m", [(0.3, 0.3), (0.35, 0.5), (0.5, 0.35), (0.42, 0.42)])
def test_a_short_straight_between_two_bends_is_held_in_its_middle_too(
    straight_m: float, radii_m: tuple[float, float]
) -> None:
    # Held against its arc at the ends of the straight alone, the wire left it by up to 4 cm.
    line = bent_straight_bent(radii_m[0], straight_m, radii_m[1])
    for each in stretches(line, [0.0, line.length], RULES):
        at_m = np.linspace(each.from_m, each.to_m, 400)
        way = shapely.get_coordinates(line.interpolate(at_m)) @ np.array([1, 1j])
        chord = way[-1] - way[0]
        # The circle through both ends and the arc's middle: R = c^2 / 8h + h / 2.
        middle = way[0] + chord / 2 + 1j * chord / abs(chord) * each.offset_m
        if each.offset_m == 0:
            off_m = np.abs(((way - way[0]) * np.conj(chord / abs(chord))).imag)
        else:
            radius_m = abs(chord) ** 2 / (8 * each.offset_m) + each.offset_m / 2
            centre = middle - 1j * chord / abs(chord) * radius_m
            off_m = np.abs(np.abs(way - centre) - abs(radius_m))
        # Between two samples a straight of 0.1 m lies s^2 / 8R = 4 mm off at a radius of 0.3 m.
        assert off_m.max() <= RULES.curve_offset_m + 0.004
