"""Setbacks, lawn, account and firm obstacles of the ground room, on rectangles, by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon, box

from lawnplat.errors import NotPlannable
from lawnplat.ground.build import build_ground, settled
from lawnplat.ground.firm import split_firm
from lawnplat.ground.given_up import account, hand_trim
from lawnplat.ground.lawn import lawn_of
from lawnplat.ground.setbacks import (
    feature_causes,
    is_wired,
    open_edge_cause,
    setback_of,
    steep_cause,
)
from lawnplat.ground.types import Cause
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.build import build_terrain, choose_grid
from lawnplat.terrain.types import ElevationWindow

RULES = load_rule_book()
MEDIUM = load_machine("medium")
LAWN = MultiPolygon([box(0, 0, 20, 10)])
ROUNDING_M2 = 1e-6


def thing(kind, geometry, setback_m=None):
    return Feature(kind, geometry, "invented", setback_m=setback_m)


def site_of(*features, parcel=None, lawns=()):
    parcel = box(0, 0, 20, 10) if parcel is None else parcel
    return Site("1", "invented", "EPSG:25832", parcel, lawns=lawns, features=features)


def ground_of(*features, parcel=None, lawns=(), surface=None):
    site = site_of(*features, parcel=parcel, lawns=lawns)
    window = None
    if surface is not None:
        grid = choose_grid(site, MEDIUM, RULES)
        window = ElevationWindow(grid, surface(*np.meshgrid(*grid.centres())), 0.25)
    terrain = build_terrain(site, MEDIUM, RULES, window)
    return build_ground(site, terrain, MEDIUM, RULES)


def given_up(ground):
    return {keep_out.kind: keep_out.area.area for keep_out in ground.keep_outs}


@pytest.mark.parametrize(
    # Common practice, no source: the trade's figures that the rule book ships.
    ("kind", "setback_m"),
    [("building", 0.35), ("wall", 0.35), ("fence", 0.35), ("path", 0.30), ("flower_bed", 0.30),
     ("paving_flush", 0.10), ("stepping_stones", 0.0)],
)  # fmt: skip
def test_setbacks_are_the_trades(kind, setback_m):
    assert setback_of(thing(kind, box(0, 0, 1, 1)), RULES) == setback_m
    assert setback_of(thing(kind, box(0, 0, 1, 1), 0.9), RULES) == 0.9


@pytest.mark.parametrize(
    ("kind", "wired"),
    [("wall", True), ("paving_flush", True), ("stepping_stones", False), ("tree", False),
     ("crossing", False), ("power_outlet", False), ("buried_service", False), ("water", True)],
)  # fmt: skip
def test_what_the_wire_goes_round(kind, wired):
    assert is_wired(thing(kind, box(0, 0, 1, 1)), RULES) is wired


def test_causes_are_one_a_kind_and_setback_in_the_rule_books_order():
    things = [
        thing("water", box(0, 0, 1, 1)),
        thing("path", box(4, 0, 5, 1)),
        thing("path", box(6, 0, 7, 1)),
        thing("path", box(8, 0, 9, 1), 0.6),
        thing("building", box(2, 2, 3, 3)),
    ]
    causes = feature_causes(things, RULES)
    assert [(c.kind, c.setback_m) for c in causes] == [
        ("building", 0.35), ("path", 0.3), ("path", 0.6), ("water", 1.0),
    ]  # fmt: skip
    assert causes[1].body.area == pytest.approx(2.0)


def test_edges_with_nothing_by_them_are_open():
    # A fence along the south; edges within 0.3 m of it are its own, so the open ones are 10 + 20 +
    # 10 m less 0.3 m at each end.
    fence = thing("fence", LineString([(0, 0), (20, 0)]))
    cause = open_edge_cause(LAWN, [fence], RULES)
    assert cause.kind == "open_edge"
    assert cause.setback_m == RULES.ground.open_edge_m
    assert cause.body.length == pytest.approx(40 - 2 * RULES.ground.edge_match_m, abs=1e-9)


def test_edges_that_are_all_some_features_are_none_of_them_open():
    fence = thing("fence", LineString(box(0, 0, 20, 10).exterior.coords))
    assert open_edge_cause(LAWN, [fence], RULES) is None


@pytest.mark.parametrize("kind", ["tree", "power_outlet", "buried_service"])
def test_what_is_not_wired_governs_no_edge(kind):
    mark = thing(kind, LineString(box(0, 0, 20, 10).exterior.coords))
    assert open_edge_cause(LAWN, [mark], RULES).body.length == pytest.approx(60)


def test_a_given_lawn_is_cut_at_the_parcel():
    site = site_of(lawns=(box(-5, 2, 12, 6),))
    assert lawn_of(site, RULES).equals(box(0, 2, 12, 6))


def test_a_derived_lawn_is_the_parcel_less_what_is_not_grass():
    # 200 less a house of 6 x 5 and a bed of 2 x 2; the trunk, the stones and the fence line stand
    # in grass or have no width.
    site = site_of(
        thing("building", box(0, 0, 6, 5)),
        thing("flower_bed", box(12, 4, 14, 6)),
        thing("tree", Point(9, 5).buffer(0.2)),
        thing("stepping_stones", box(8, 1, 12, 1.5)),
        thing("fence", LineString([(0, 10), (20, 10)])),
    )
    assert lawn_of(site, RULES).area == pytest.approx(200 - 30 - 4, abs=ROUNDING_M2)


def test_a_crossing_is_grass_where_it_runs_out_beyond_a_path():
    # 200 less a path of 2 x 10 right across; the crossing, 8 x 2, is a right of way over it.
    over = thing("crossing", box(6, 4, 14, 6))
    path = thing("path", box(9, -1, 11, 11))
    assert lawn_of(site_of(over, path), RULES).area == pytest.approx(180, abs=ROUNDING_M2)


def test_a_crossing_that_fills_a_gap_in_a_path_is_no_grass():
    parts = [thing("path", box(9, -1, 11, 4)), thing("path", box(9, 6, 11, 11))]
    for over in (box(9, 4, 11, 6), box(9, 3.8, 11, 6.2)):
        site = site_of(thing("crossing", over), *parts)
        assert lawn_of(site, RULES).area == pytest.approx(180, abs=ROUNDING_M2)


def test_a_crossing_over_nothing_is_itself_no_grass():
    site = site_of(thing("crossing", box(6, 4, 14, 6)))
    assert lawn_of(site, RULES).area == pytest.approx(200 - 16, abs=ROUNDING_M2)


def test_scraps_of_lawn_are_left_out():
    site = site_of(thing("path", box(-1, 0.2, 20, 10)))
    strip = lawn_of(site, RULES)
    assert strip.area == pytest.approx(4.0)
    tiny = site_of(thing("path", box(-1, 0.002, 20, 10)))
    assert lawn_of(tiny, RULES).is_empty


def test_no_lawn_at_all_is_not_plannable():
    with pytest.raises(NotPlannable, match="no lawn"):
        ground_of(thing("building", box(0, 0, 20, 10)))


def test_the_account_takes_in_order_and_never_twice():
    # Reaches [0,4] and [3,6] of a lawn of 10 x 1, mown is [8,10]: 4, then 2 of the second's 3, then
    # the scrap [7,8] as too small and [6,7] as too narrow.
    lawn = MultiPolygon([box(0, 0, 10, 1)])
    causes = [
        Cause("fence", 0.35, box(0, 0, 1, 1), box(0, 0, 4, 1)),
        Cause("path", 0.3, box(5, 0, 6, 1), box(3, 0, 6, 1)),
    ]
    shares = account(lawn, box(8, 0, 10, 1), causes, box(7, 0, 8, 1))
    assert [(s.kind, s.setback_m, s.area.area) for s in shares] == [
        ("fence", 0.35, 4.0), ("path", 0.3, 2.0), ("too_small", 0.0, 1.0), ("too_narrow", 0.0, 1.0),
    ]  # fmt: skip


def test_no_footprint_is_trimmed():
    # The bed of 1 m2 within the keep-out of 4 m2 is no grass; the swing's ground is.
    lawn = MultiPolygon([box(0, 0, 10, 1)])
    bed = Cause("flower_bed", 0.3, box(1, 0, 2, 1), box(0, 0, 4, 1))
    swing = Cause("play_equipment", 0.35, box(6, 0, 7, 1), box(5, 0, 8, 1))
    shares = account(lawn, Polygon(), [bed, swing], Polygon())
    trimmed = {t.against: t.area.area for t in hand_trim(shares, [bed, swing], RULES)}
    assert trimmed == pytest.approx({"flower_bed": 3.0, "play_equipment": 3.0, "too_narrow": 3.0})


def test_a_tree_well_inside_gets_no_wire():
    trunk = thing("tree", Point(10, 5).buffer(0.3))
    ground = ground_of(trunk)
    assert ground.wire_ground.firm == (trunk,)
    assert len(ground.wire_ground.pieces[0].interiors) == 0
    # It is a hole in what is mown, as large as its trunk, and its ground is accounted for.
    (part,) = ground.parts
    assert Polygon(part.area.interiors[0]).area == pytest.approx(trunk.geometry.area, abs=1e-9)
    assert given_up(ground)["tree"] == pytest.approx(trunk.geometry.area, abs=1e-9)


@pytest.mark.parametrize(
    # The wire runs 0.35 m in; the trunk of 0.3 m keeps 0.3 m: free from x = 0.95 on.
    ("x", "wired"), [(0.94, True), (0.96, False), (0.5, True), (-0.55, False)],
)  # fmt: skip
def test_a_tree_by_the_wire_is_wired(x, wired):
    trunk = thing("tree", Point(x, 5).buffer(0.3, quad_segs=64))
    left = box(0.35, 0.35, 19.65, 9.65)
    split = split_firm(left, (trunk,), RULES)
    assert (split.wired == (trunk,)) is wired
    assert (split.inside == (trunk,)) is (x > 0.95)


def test_a_wired_tree_bends_the_rim_round_it():
    trunk = thing("tree", Point(0.5, 5).buffer(0.3, quad_segs=64))
    ground = ground_of(trunk)
    assert ground.wire_ground.firm == ()
    assert shapely.distance(ground.parts[0].area, trunk.geometry) == pytest.approx(0.3, abs=2e-3)


def test_no_firm_things_are_split_into_none():
    split = split_firm(box(0, 0, 1, 1), (thing("wall", box(0, 0, 1, 1)),), RULES)
    assert (split.inside, split.wired) == ((), ())


def test_stepping_stones_are_driven_over():
    ground = ground_of(thing("stepping_stones", box(5, 0, 5.5, 10)))
    assert given_up(ground).keys() == {"open_edge", "too_narrow"}
    assert len(ground.parts) == 1


def test_steep_ground_is_given_up():
    # A plane of 40 % against the medium class's 35 %: nothing is mown, all is named.
    ground = ground_of(surface=lambda _x, y: 0.4 * y)
    assert ground.parts == ()
    assert sum(given_up(ground).values()) == pytest.approx(200, abs=ROUNDING_M2)
    assert given_up(ground)["too_steep"] == pytest.approx(19.3 * 9.3, abs=0.01)


@pytest.mark.parametrize("slope", [0.0, 0.2, 0.34])
def test_ground_within_the_limit_is_not(slope):
    ground = ground_of(surface=lambda _x, y: slope * y)
    assert "too_steep" not in given_up(ground)
    assert sum(zone.area.area for zone in ground.zones) == pytest.approx(200, abs=ROUNDING_M2)


def test_level_ground_has_no_steep_cause():
    site = site_of()
    assert steep_cause(build_terrain(site, MEDIUM, RULES, None)) is None


def test_a_lawn_too_narrow_for_the_machine_is_accounted_for():
    # 1.3 m wide less 0.35 on both sides is 0.6 m, under the 0.7 m of the class.
    ground = ground_of(parcel=box(0, 0, 20, 1.3))
    assert ground.parts == ()
    assert given_up(ground).keys() == {"open_edge", "too_narrow"}
    assert given_up(ground)["too_narrow"] == pytest.approx(19.3 * 0.6, abs=ROUNDING_M2)


def test_a_lawn_just_wide_enough_is_mown():
    # 0.71 m wide inside the setbacks.
    ground = ground_of(parcel=box(0, 0, 20, 1.41))
    assert ground.parts[0].area.area == pytest.approx(
        19.3 * 0.71 - 0.35**2 * (4 - math.pi), abs=1e-3
    )


def test_a_lawn_too_small_is_named_so():
    # 2.6 x 2.6 m less 0.35 all round is 1.9 x 1.9 = 3.61 m2, under 4 m2 (less its corners).
    ground = ground_of(parcel=box(0, 0, 2.6, 2.6))
    assert ground.parts == ()
    assert given_up(ground)["too_small"] == pytest.approx(3.61 - 0.35**2 * (4 - math.pi), abs=1e-3)


def test_areas_balance_with_everything_at_once():
    # The contract: lawn = mowable + given up, within 0.1 %.
    ground = ground_of(
        thing("building", box(0, 0, 6, 5)),
        thing("water", Point(14, 5).buffer(1)),
        thing("tree", Point(9, 5).buffer(0.2)),
        thing("path", box(6, 0, 7, 10)),
        surface=lambda x, y: 0.3 * np.maximum(x - 15, 0) * (y / 10),
    )
    mown = sum(part.area.area for part in ground.parts)
    total = ground.lawn.area
    assert mown + sum(given_up(ground).values()) == pytest.approx(total, rel=1e-6)
    shapes = [part.area for part in ground.parts] + [k.area for k in ground.keep_outs]
    assert shapely.union_all(shapes).area == pytest.approx(total, rel=1e-6)


def test_the_part_with_the_station_is_main_and_what_is_cut_off_is_carried():
    wall = thing("wall", box(11.9, -1, 12.1, 11))
    ground = ground_of(wall)
    assert [part.role for part in ground.parts] == ["main", "carried"]
    smaller_first = settled(ground, Point(16, 0.35), (), RULES)
    assert [part.role for part in smaller_first.parts] == ["carried", "main"]


def test_a_lawn_that_no_wire_reaches_is_given_up():
    wall = thing("wall", box(11.9, -1, 12.1, 11))
    ground = ground_of(wall)
    left = settled(ground, Point(0.35, 5), (1,), RULES)
    assert len(left.parts) == len(left.wire_ground.pieces) == 1
    lost = given_up(left)["unreached"]
    assert lost == pytest.approx(ground.parts[1].area.area, abs=ROUNDING_M2)
    assert left.parts[0].area.area + sum(given_up(left).values()) == pytest.approx(
        ground.lawn.area, abs=ROUNDING_M2
    )


def test_a_second_lawn_too_small_to_carry_the_machine_to_is_left():
    # West of the wall 17 x 9.3 m, east of it 1.7 m wide: 1.2 x 9.3 = 11 m2, under 15 m2.
    ground = ground_of(thing("wall", box(17.9, -1, 18.1, 11)))
    assert len(ground.parts) == 1
    assert given_up(ground)["too_small"] == pytest.approx(
        (20 - 0.35 - 18.1 - 0.35) * 9.3 - 0.35**2 * (4 - math.pi), abs=1e-3
    )


def test_the_same_site_gives_the_same_ground():
    things = [thing("tree", Point(x, 5).buffer(0.2)) for x in (3, 6, 9)]
    things += [thing("flower_bed", box(12, 3, 14, 5)), thing("water", box(16, 4, 17, 5))]
    one, other = ground_of(*things), ground_of(*things)
    assert one == other
    turned = ground_of(*reversed(things))
    assert given_up(turned) == pytest.approx(given_up(one), abs=1e-9)


def test_rules_are_read_and_not_written_in_the_code():
    wider = replace(RULES, ground=replace(RULES.ground, open_edge_m=1.0))
    site = site_of()
    ground = build_ground(site, build_terrain(site, MEDIUM, wider, None), MEDIUM, wider)
    assert ground.parts[0].area.bounds == pytest.approx((1, 1, 19, 9), abs=1e-9)
