"""What the simulation says of lawns whose answer can be seen."""

from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from lawnplat.proving.recorded import RecordedPlan, Row
from lawnplat.proving.simulation.build import simulate, with_options
from lawnplat.proving.simulation.departures import chosen_departures, equal_departures
from lawnplat.proving.simulation.patches import classes_of
from lawnplat.proving.simulation.programme import asked_of
from lawnplat.proving.simulation.runs import run_all
from lawnplat.proving.simulation.ways import ways_of
from lawnplat.proving.simulation.world import world_of
from lawnplat.settings.load import shipped_classes
from lawnplat.survey.types import Site
from lawnplat.terrain.build import build_terrain, choose_grid
from lawnplat.terrain.types import ElevationWindow
from simulated import MACHINE, RULES, arrays, rules, world

TWO_ROOMS = box(0, 0, 14, 10) | box(14, 4.5, 18, 5.4) | box(18, 0, 28, 10)


def plan(wire, mowable, *, lines=(), trees=(), schedule=(), **layers):
    """A written plan of one loop, by hand: rows of the layers that the simulation reads."""
    start = wire.exterior.coords[0]
    front = box(start[0], start[1], start[0] + 2, start[1] + 0.6)

    def row(geometry, **values):
        return Row(geometry, MappingProxyType(values))

    found = {
        "perimeter_wire": [row(LineString(wire.exterior.coords), loop=1)],
        "station": [row(Point(start), loop=1)],
        "station_area": [row(front, part="front", loop=1)],
        "mowable": [
            row(area, part=i, role=role, area_m2=area.area, loop=1)
            for i, (area, role) in enumerate(mowable, start=1)
        ],
        "return_lines": [
            row(LineString(line), line_no=i, steepest_pct=0.0, loop=1)
            for i, line in enumerate(lines, start=1)
        ],
        "feature_points": [row(tree, kind="tree") for tree in trees],
        "schedule": [row(None, **each) for each in schedule],
        **layers,
    }
    tables = {name: tuple(rows) for name, rows in found.items()}
    return RecordedPlan("G-1", "EPSG:25832", MappingProxyType(tables))


def test_leads_are_driven_over_and_islands_are_not():
    bed = box(6, 4, 8, 6)
    slit = box(7 - 0.005, 0, 7 + 0.005, 4)
    lawn = box(0, 0, 14, 10) - bed
    wire = lawn - slit
    found = world_of(plan(wire, [(lawn, "main")]), MACHINE, RULES)
    ground = shapely.transform(found.ground, lambda points: points + np.array(found.origin))
    assert len(ground.interiors) == 1
    # Corners and the slit's ends are redrawn to the centimetre.
    assert ground.symmetric_difference(lawn).area < 0.02


def test_a_tree_is_kept_off_by_half_the_machine_and_a_carried_part_is_not_reached():
    tree = Point(5, 5).buffer(0.2)
    main, carried = box(0, 0, 14, 10), box(16, 0, 20, 10)
    wire = main | box(14, 5, 16, 5.01) | carried
    found = world_of(
        plan(wire, [(main, "main"), (carried, "carried")], trees=[tree]), MACHINE, RULES
    )
    free_m = 0.2 + MACHINE.body_length_m / 2
    assert found.ground.area == pytest.approx(140 - np.pi * free_m**2, abs=0.05)
    assert found.wanted_m2 == pytest.approx(140 - tree.area, abs=1e-6)
    assert found.missed.is_empty


def test_lawn_behind_a_closed_gap_is_missed_and_said():
    # A gap of 1 m with a trunk in its middle: no way for a machine 0.62 m long.
    rooms = box(0, 0, 10, 8) | box(10, 3.5, 11, 4.5) | box(11, 0, 17, 8)
    written = plan(rooms, [(rooms, "main")], trees=[Point(10.5, 4).buffer(0.25)])
    result = simulate(written, MACHINE, with_options(RULES, days=2, runs=2), ())
    (finding,) = [each for each in result.findings if each.rule == "not_reached"]
    assert finding.measured == pytest.approx(48, abs=1.5)
    assert box(10, 0, 17, 8).contains(finding.place)


def test_what_is_behind_a_narrow_passage_starves_without_a_line():
    rooms = box(0, 0, 14, 10) | box(14, 4.8, 18, 5.1) | box(18, 0, 28, 10)
    a_world = world(rooms, [(0, 5), (6, 2), (6, 0)], station=(0, 5))
    _, pace, points = arrays(a_world)
    ways = ways_of(a_world, equal_departures(a_world), RULES)
    runs = run_all(ways, pace, np.ones(1), np.full(3, 4000.0), points, seed=(1,), runs=20)
    classes = {
        each.cut: each for each in classes_of(runs.passes, points, a_world, RULES.simulation)
    }
    assert classes["starves"].place.x > 18
    assert classes["starves"].area.intersection(box(18, 0, 28, 10)).area > 80
    assert sum(each.area.area for each in classes.values()) == pytest.approx(
        a_world.lawn.area, abs=1e-6
    )
    overlap = shapely.union_all([each.area for each in classes.values()]).area
    assert overlap == pytest.approx(a_world.lawn.area, abs=1e-6)


@pytest.mark.parametrize("seed", [1, 2])
def test_departures_even_out_two_rooms(seed):
    a_world = world(TWO_ROOMS, [(0, 5), (10, 5), (25, 5)], [(0, 5), (6, 2), (6, 0)], station=(0, 5))
    _, pace, points = arrays(a_world)
    found = chosen_departures(a_world, pace, points, rules(runs=20), seed)
    assert sum(each.share for each in found.chosen) == pytest.approx(1)
    # The first line's middle lies in the first room: equal shares leave the second hungry.
    assert found.chosen[0].start_distance_m > 14
    assert found.unevenness < 0.5 * found.equal_unevenness


def test_without_departures_better_than_equal_ones_equal_ones_stay():
    a_world = world(box(0, 0, 12, 9), [(0, 0), (6, 5), (12, 6)])
    _, pace, points = arrays(a_world)
    found = chosen_departures(a_world, pace, points, rules(runs=5, departure_journeys=4), 1)
    assert found.unevenness <= found.equal_unevenness


MAY = {"month": 5, "growth_factor": 0.5, "hours_per_week": 12.0, "days_per_week": 2}
JULY = {"month": 7, "growth_factor": 1.0, "hours_per_week": 24.0, "days_per_week": 3}


def test_the_programme_is_that_of_the_busiest_month():
    asked = asked_of(plan(TWO_ROOMS, [], schedule=[MAY, JULY]), MACHINE, RULES)
    assert (asked.hours_a_day, asked.days_a_week, asked.working_days) == (8.0, 3, 6)
    # 5.44 mm a day; from 50 mm cut when a third is 25 mm: 7 x 5.44 / 25.
    assert asked.cuts_a_week == pytest.approx(7 * 5.44 / 25, rel=1e-4)
    windows = asked.windows_s(14)
    assert (windows > 0).sum() == 6
    assert set(windows) == {0.0, 8 * 3600.0}


def test_hours_of_each_class_grow_with_what_it_is_asked_and_fall_with_its_rate():
    lawn = box(0, 0, 25, 20)
    lines = [[(0, 0), (2, 0.3), (12, 10), (12, 20)]]
    few, many = (
        simulate(
            plan(lawn, [(lawn, "main")], lines=lines, schedule=[month]),
            MACHINE,
            with_options(RULES, days=1, runs=1),
            shipped_classes(),
        )
        for month in (MAY, JULY)
    )
    hours = {fit.machine_class: fit.hours_per_day for fit in many.fits}
    assert hours["large"] < hours["medium"] < hours["small"]
    for less, more in zip(few.fits, many.fits, strict=True):
        ratio = (7 * 5.44 / 25) / max(7 * 5.44 * 0.5 / 25, 1.0)
        assert more.hours_per_day == pytest.approx(ratio * less.hours_per_day, rel=1e-4)
    # Koopman: nine tenths need 2.303 times the lawn; the strip by the wire and the first minutes
    # take some more, charging two thirds of the mowing time with a fifth held back.
    width_m, speed_m_h = MACHINE.cutting_width_m, 65 / (0.2 * 0.35)
    mowing_h = -np.log(0.1) * lawn.area / (width_m * speed_m_h)
    least = mowing_h * (7 * 5.44 / 25) / 6
    assert least < hours["medium"] < 2.5 * least


def test_a_class_that_the_plan_cannot_judge_is_neither_fit_nor_unfit():
    lawn = box(0, 0, 15, 10)
    zone = Row(lawn, MappingProxyType({"zone": "workable", "from_pct": 15.0, "to_pct": 35.0}))
    written = plan(lawn, [(lawn, "main")], schedule=[JULY], slope_zones=[zone])
    small, medium = simulate(
        written, MACHINE, with_options(RULES, days=1, runs=1), shipped_classes()[:2]
    ).fits
    assert small.fits is None
    assert "150 m2 of sloping ground is over 25 %" in small.reasons
    assert medium.fits is True


@pytest.mark.parametrize(("slope", "fits"), [(0.20, True), (0.30, False)])
def test_heights_tell_what_a_zone_does_not(slope, fits):
    # A plane: its slope is the gradient by definition. The small class climbs 25 %.
    lawn = box(0, 0, 15, 10)
    zone = Row(lawn, MappingProxyType({"zone": "workable", "from_pct": 15.0, "to_pct": 35.0}))
    written = plan(lawn, [(lawn, "main")], schedule=[JULY], slope_zones=[zone])
    site = Site("1", "invented", "EPSG:25832", lawn)
    grid = choose_grid(site, MACHINE, RULES)
    x, _ = np.meshgrid(*grid.centres())
    ground = build_terrain(site, MACHINE, RULES, ElevationWindow(grid, 50 + slope * x, 0.25))
    small, medium = simulate(
        written, MACHINE, with_options(RULES, days=1, runs=1), shipped_classes()[:2], ground
    ).fits
    assert small.fits is fits
    assert ("150 m2 of the ground are steeper" in small.reasons) is not fits
    assert medium.fits is True


def test_a_battery_too_small_to_find_home_is_said():
    lawn = box(0, 0, 40, 30)
    weak = replace(MACHINE, run_min=6.0)
    written = plan(lawn, [(lawn, "main")], schedule=[JULY])
    result = simulate(written, weak, with_options(RULES, days=7, runs=4), ())
    (finding,) = [each for each in result.findings if each.rule == "homing"]
    assert finding.measured > finding.limit == RULES.simulation.late_share


def test_a_plan_without_a_wire_is_not_simulated():
    nothing = RecordedPlan("G-1", "EPSG:25832", MappingProxyType({}))
    result = simulate(nothing, MACHINE, RULES, shipped_classes())
    assert result.loops == result.fits == result.findings == ()


def test_the_same_seed_gives_the_same_and_it_is_recorded():
    lawn = Polygon([(0, 0), (14, 0), (14, 5), (6, 5), (6, 11), (0, 11)])
    written = plan(lawn, [(lawn, "main")], lines=[[(0, 0), (3, 3), (6, 8)]], schedule=[JULY])
    first, again, other = (
        simulate(written, MACHINE, with_options(RULES, days=3, runs=3, seed=seed), ())
        for seed in (5, 5, 6)
    )
    assert first == again
    assert first.loops != other.loops
    assert dict(other.record)["simulation_seed"] == "6"


@pytest.mark.parametrize(("share", "fits"), [(0.9, True), (1.1, False)])
def test_a_line_may_pass_the_limit_by_the_rule_books_point(share, fits):
    lawn = box(0, 0, 15, 10)
    steepest_pct = MACHINE.slope_return_pct + share * RULES.return_line.over_limit_pct
    values = {"line_no": 1, "steepest_pct": steepest_pct, "loop": 1}
    line = Row(LineString([(0, 0), (15, 10)]), MappingProxyType(values))
    written = plan(lawn, [(lawn, "main")], schedule=[JULY], return_lines=[line])
    (found,) = simulate(written, MACHINE, with_options(RULES, days=1, runs=1), [MACHINE]).fits
    assert found.fits is fits
    assert ("comes home on" in found.reasons) is not fits
