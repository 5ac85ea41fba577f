"""The programme by hand: hours, days and times by month, and the cutting heights."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Polygon, box

from lawnplat.ground.types import Ground, Part, WireGround
from lawnplat.settings.climate import load_climate
from lawnplat.settings.load import load_machine, load_price_book, load_rule_book, shipped_classes
from lawnplat.settings.types import Climate, RestDay, Terms, TimeZone
from lawnplat.survey.types import Site
from lawnplat.terrain.types import Grid, Terrain
from lawnplat.works.heights import Pace, height_steps
from lawnplat.works.job import Job
from lawnplat.works.programme import programme_findings, programme_of
from lawnplat.works.working_hours import Place, place_of, windows_of, working_days

RULES = load_rule_book()
HOURS = RULES.programme
MEDIUM = load_machine("medium")
PRICES = load_price_book()
SUMMER = (20.0,) * 12
"""Full growth all the year."""
GREENWICH = Place(51.48, 0.0)
BERLIN = Place(52.52, 13.40)


def with_hours(**changes):
    return replace(RULES, programme=replace(HOURS, **changes))


def job_of(area_m2, *, machine=MEDIUM, rules=RULES, means=SUMMER, parts=None, crs="EPSG:25832"):
    """Return a job with one square lawn of this area at 9 E, 48.7 N, or with parts given."""
    side = math.sqrt(area_m2)
    lawn = box(500_000, 5_400_000, 500_000 + side, 5_400_000 + side)
    nothing = Polygon()
    ground = Ground(
        lawn=MultiPolygon([lawn]),
        zones=(),
        keep_outs=(),
        parts=parts or (Part(1, "main", lawn),),
        passages=(),
        hand_trim=(),
        wire_ground=WireGround((lawn,), (), (), nothing),
        open_edges=None,
        findings=(),
    )
    level = np.zeros((2, 2))
    terrain = Terrain(Grid(0, 0, 1, 2, 2), level, level, level, level == 0, (), "none", math.nan)
    climate = Climate("drawn", tuple(means), "by a test")
    site = Site("A-1", "", crs, lawn)
    return Job(site, terrain, ground, (), machine, rules, Terms(PRICES, climate))


def minutes(clock):
    hours, _, rest = clock.partition(":")
    return 60 * int(hours) + int(rest)


def given_hours(programme):
    return [(m.hours_per_week, m.days_per_week, m.start, m.end) for m in programme.months]


def hours_given(month):
    return month.days_per_week * (minutes(month.end) - minutes(month.start)) / 60


# Hours by month


def test_hours_of_a_lawn_by_hand():
    # 650 m2 at 65 m2/h: 10 h of mowing a cut, with 60 min of charging for 90 of mowing 16.667 h.
    # Full growth 5.44 mm a day, 38.08 a week; 25 mm between cuts at 50 mm: 1.5232 cuts a week,
    # 25.387 h, on quarters 25.50. Two days of 12.75 h fit into 07:00 to 20:00 in June alone.
    june = programme_of(job_of(650)).months[5]
    assert june.asked_hours_per_week == pytest.approx(25.387, abs=0.001)
    assert (june.hours_per_week, june.days_per_week, june.growth_factor) == (25.5, 3, 1.0)
    assert (june.start, june.end, june.note) == ("07:00", "15:30", "")


def test_two_long_days_where_the_light_lasts():
    rules = with_hours(daylight_only=False)
    june = programme_of(job_of(650, rules=rules)).months[5]
    assert (june.days_per_week, june.start, june.end) == (2, "07:00", "19:45")


def test_half_the_rate_counted_makes_twice_the_hours():
    slow = programme_of(job_of(325, rules=with_hours(work_efficiency_share=0.5)))
    assert given_hours(slow) == given_hours(programme_of(job_of(650)))


def test_no_mowing_where_hardly_anything_grows():
    # 5 C: growth 0.0243 (published), under the rule's 0.05.
    for month in programme_of(job_of(650, means=(5.0,) * 12)).months:
        assert month.growth_factor == pytest.approx(0.0243, abs=5e-5)
        assert (month.hours_per_week, month.days_per_week, month.start, month.end) == (0, 0, "", "")
        assert "no mowing" in month.note


def test_a_lawn_too_large_for_the_hours_is_said_with_its_figures():
    # 6500 m2: ten times 25.387 h. In June 07:00 to 19:15 (or a little less) on six days.
    programme = programme_of(job_of(6500))
    june = programme.months[5]
    assert june.days_per_week == 6
    assert june.hours_per_week == hours_given(june) < 6 * 13
    assert "253.9 h" in june.note
    (finding,) = programme_findings(programme)
    assert (finding.rule, finding.severity) == ("programme", "warn")
    assert finding.measured == pytest.approx(253.87, abs=0.01)
    # The worst month is the darkest one.
    assert finding.limit == min(month.hours_per_week for month in programme.months)
    assert "January" in finding.text


def test_what_fits_is_not_warned_of():
    assert programme_findings(programme_of(job_of(200))) == ()


def test_the_largest_working_area_counts_and_carried_parts_do_not():
    def lawn(number, role, loop, area_m2):
        return Part(number, role, box(0, 0, area_m2, 1), loop=loop)

    parts = (
        lawn(1, "main", 1, 400), lawn(2, "linked", 1, 250), lawn(3, "main", 2, 600),
        lawn(4, "carried", 2, 300),
    )  # fmt: skip
    several = programme_of(job_of(100, parts=parts))
    assert given_hours(several) == given_hours(programme_of(job_of(650)))
    assert any("part 4 (300 m2, about 8 h a cut)" in told for told in several.first_weeks)


@pytest.mark.parametrize("machine", shipped_classes(), ids=lambda machine: machine.name)
@pytest.mark.parametrize("share", [0.02, 0.5, 1.0])
def test_every_shipped_class_keeps_its_own_capacity_under_the_shipped_climate(machine, share):
    rules = with_hours(time_zone=TimeZone("Europe/Berlin"))
    area_m2, means = share * machine.capacity_m2, load_climate().mean_c
    programme = programme_of(job_of(area_m2, machine=machine, rules=rules, means=means))
    assert_consistent(programme, rules)
    # A class that cannot serve its own capacity in the hours of an ordinary summer is mis-stated.
    for month in programme.months[4:8]:
        assert month.note == "", month
    assert programme.heights[0].height_mm == machine.cutting_highest_mm


def assert_consistent(programme, rules):
    """Hold what every programme promises, whatever the lawn."""
    assert [month.month for month in programme.months] == list(range(1, 13))
    for month in programme.months:
        assert (month.hours_per_week * 4).is_integer()
        if month.days_per_week == 0:
            assert (month.start, month.end, month.hours_per_week) == ("", "", 0)
            continue
        start, end = minutes(month.start), minutes(month.end)
        assert start % 15 == end % 15 == 0
        assert 60 * rules.programme.quiet_to_h <= start < end <= 60 * rules.programme.quiet_from_h
        assert hours_given(month) >= month.hours_per_week
        assert month.days_per_week <= working_days(rules.programme)
        if month.note == "":
            # A quarter of an hour a day at most is given beyond what is asked for.
            asked = month.asked_hours_per_week
            assert month.hours_per_week >= asked - 1e-6
            assert hours_given(month) < asked + 0.25 * month.days_per_week + 1e-6
        else:
            assert month.hours_per_week < month.asked_hours_per_week
    heights = [step.height_mm for step in programme.heights]
    assert heights == sorted(heights, reverse=True)
    assert [step.day for step in programme.heights] == sorted({s.day for s in programme.heights})


@settings(max_examples=60, deadline=None)
@given(
    area=st.floats(5, 20_000),
    machine=st.sampled_from(shipped_classes()),
    mean=st.lists(st.floats(-30, 45), min_size=12, max_size=12),
    changed=st.fixed_dictionaries(
        {
            "target_height_mm": st.floats(5, 150),
            "present_height_mm": st.one_of(st.just(0.0), st.floats(1, 400)),
            "rest_weekday": st.sampled_from(RestDay),
            "daylight_margin_min": st.floats(0, 360),
            "time_zone": st.sampled_from(["nominal", "Europe/Berlin", "Pacific/Auckland"]),
        }
    ),
)
def test_any_programme_is_consistent(area, machine, mean, changed):
    rules = with_hours(**changed)
    programme = programme_of(job_of(area, machine=machine, rules=rules, means=mean))
    assert_consistent(programme, rules)
    target = max(changed["target_height_mm"], machine.cutting_lowest_mm)
    if all(month.note == "" or month.days_per_week == 0 for month in programme.months):
        # Hours that keep the target can reach it, but for the whole millimetres near the limit.
        assert programme.heights[-1].height_mm <= target + 3
    for step in programme.heights:
        assert machine.cutting_lowest_mm <= step.height_mm <= machine.cutting_highest_mm


# The working hours of a day


def clock(windows, month):
    window = windows[month - 1]
    return (window.start_min / 60, window.end_min / 60)


def test_summer_time_moves_the_hours():
    # Greenwich, June (tables, from memory): rises by 04:48, sets from 21:06 summer time; a margin
    # of one hour and quiet hours from 20:00 to 07:00 leave 07:00 to 20:00. December: latest rise
    # 08:06, earliest set 15:51.
    rules = replace(HOURS, time_zone=TimeZone("Europe/London"))
    windows = windows_of(GREENWICH, 2026, rules)
    assert clock(windows, 6) == (7.0, 20.0)
    assert clock(windows, 12) == (9.25, 14.75)
    open_all_night = replace(rules, quiet_to_h=0.0, quiet_from_h=24.0)
    assert clock(windows_of(GREENWICH, 2026, open_all_night), 6) == (6.0, 20.0)


def test_a_month_in_which_clocks_change_holds_on_both_sides():
    # Berlin 2026: summer time from 29 March to 25 October (last Sundays; times from memory). March:
    # the latest rises are on the 1st, winter time (06:51), and on the 29th, summer time (06:48);
    # the earliest set is on the 1st (17:46). October: the latest rise is on the 24th by summer time
    # (07:47), the earliest set on the 31st by winter time (16:38).
    rules = replace(HOURS, time_zone=TimeZone("Europe/Berlin"))
    windows = windows_of(BERLIN, 2026, rules)
    assert clock(windows, 10) == (9.0, 15.5)
    assert clock(windows, 3) == (8.0, 16.75)


def test_without_a_zone_the_hours_hold_with_and_without_summer_time():
    nominal = windows_of(BERLIN, 2026, HOURS)
    winter = windows_of(BERLIN, 2026, replace(HOURS, time_zone=TimeZone("Etc/GMT-1")))
    summer = windows_of(BERLIN, 2026, replace(HOURS, time_zone=TimeZone("Etc/GMT-2")))
    for either, one, other in zip(nominal, winter, summer, strict=True):
        assert either.start_min == max(one.start_min, other.start_min)
        assert either.end_min == min(one.end_min, other.end_min)


def test_far_north_and_far_south():
    rules = replace(HOURS, time_zone=TimeZone("Europe/Oslo"))
    north = windows_of(Place(69.65, 18.96), 2026, rules)
    assert north[0].hours == 0  # the sun does not rise
    assert clock(north, 6) == (7.0, 20.0)  # it does not set: quiet hours alone
    all_day = replace(rules, quiet_to_h=0.0, quiet_from_h=24.0)
    # No margin off a sun that does not set; 24:00 cannot be set on a clock.
    assert clock(windows_of(Place(69.65, 18.96), 2026, all_day), 6) == (0.0, 23.75)
    south = windows_of(Place(-45.0, 170.5), 2026, replace(HOURS, time_zone=TimeZone("Etc/GMT-12")))
    assert south[0].hours > south[6].hours


def test_a_polar_winter_with_growth_is_said():
    rules = with_hours(time_zone=TimeZone("Europe/Oslo"))
    far = job_of(300, rules=rules, crs="+proj=utm +zone=33 +datum=WGS84")
    far = replace(far, site=replace(far.site, parcel=box(500_000, 7_750_000, 500_020, 7_750_020)))
    assert place_of(far.site).latitude_deg > 69
    programme = programme_of(far)
    assert "no hours allowed" in programme.months[11].note
    (finding,) = programme_findings(programme)
    assert finding.limit == 0
    assert "December" in finding.text


def test_the_place_is_the_parcels():
    # UTM zone 32: its middle meridian is 9 E, its scale there 0.9996; a quarter of the meridian is
    # 10 002 km for 90 degrees, so that 5 400 km lie at 48.6 N on a sphere, and 0.14 degrees further
    # on the ellipsoid (degrees are shorter by the equator). Two hundredths of a degree.
    place = place_of(job_of(100).site)
    assert place.longitude_deg == pytest.approx(9.0, abs=0.001)
    assert place.latitude_deg == pytest.approx(48.75, abs=0.02)


def test_the_basis_says_where_the_figures_come_from():
    told = "; ".join(programme_of(job_of(650)).basis)
    for part in (
        "drawn (by a test)", "Gelernter", "650 m2 at 65", "16.7 h a cut", "48.75 N",
        "not on Sundays", "07:00 to 20:00", "no time zone is set",
    ):  # fmt: skip
        assert part in told
    zoned = programme_of(job_of(650, rules=with_hours(time_zone=TimeZone("Europe/Berlin"))))
    assert "Europe/Berlin" in zoned.basis[-1]
    assert "no time zone" not in zoned.basis[-1]


# Cutting heights


def steps(machine=MEDIUM, pace=Pace(1, 5.0, 5.0), **changes):  # noqa: B008 - frozen
    found = height_steps(machine, replace(HOURS, **changes), pace)
    return [(step.day, step.height_mm) for step in found]


def test_heights_by_hand():
    # From 60 mm, at the highest for 14 days, 5 mm at a time; 5 mm grow back in a day.
    assert steps() == [(1, 60), (15, 55), (16, 50)]
    # Half a millimetre a day: ten days for the 5 mm.
    assert steps(pace=Pace(1, 5.0, 0.5)) == [(1, 60), (15, 55), (25, 50)]
    # A pass of 20 days: not lowered before it is done.
    assert steps(pace=Pace(20, 10.0, 0.5)) == [(1, 60), (21, 55), (41, 50)]


def test_large_steps_are_held_to_a_third_of_the_leaf():
    # 60 mm and 5 of growth: a third of 65 off leaves 43.3, whole millimetres 44; then 49: 32.7, 33;
    # then 38: 25.3, 26; 31: 20.7, 21; then the target of 20.
    found = steps(height_step_mm=100.0, target_height_mm=20.0)
    assert [height for _, height in found] == [60, 44, 33, 26, 21, 20]
    for (_, high), (_, low) in pairwise(found):
        assert high + 5 - low <= (high + 5) * (1 / 3) + 1e-4


def test_growth_that_outruns_the_machine_stops_the_steps_and_is_said():
    # 40 mm grow in a pass of 8 days: two thirds of 60 and 40 mm are over 60, nothing can come off.
    found = height_steps(MEDIUM, HOURS, Pace(8, 40.0, 5.0))
    assert [step.height_mm for step in found] == [60]
    assert "would take more than a third" in found[-1].note


@pytest.mark.parametrize(
    ("present", "first", "said"),
    [
        (0.0, 60, "where the grass stands over 90 mm"),
        (40.0, 50, "nearest to the 50 mm"),
        (55.0, 55, "nearest to the 55 mm"),
        (80.0, 60, "the highest"),
        (120.0, 60, "stands at 120 mm"),
    ],
)
def test_the_first_height_follows_the_grass(present, first, said):
    found = height_steps(MEDIUM, replace(HOURS, present_height_mm=present), Pace(1, 5.0, 5.0))
    assert found[0].height_mm == first
    assert said in found[0].note


@pytest.mark.parametrize(("target", "last"), [(5.0, 20), (50.0, 50), (200.0, 60)])
def test_the_machine_bounds_the_target(target, last):
    assert steps(target_height_mm=target)[-1][1] == last
