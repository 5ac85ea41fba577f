"""Sunrise and sunset against another library, a closed form and what is known of the poles."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta, timezone

import astral
import astral.sun
import pytest

from lawnplat.works.daylight import daylight

LATITUDES = range(-55, 66, 10)
DAYS = [date(2026, month, day) for month in range(1, 13) for day in (1, 11, 21)]


@pytest.mark.parametrize("longitude", [-122.0, 0.0, 8.6, 174.8])
@pytest.mark.parametrize("latitude", LATITUDES)
def test_sunrise_and_sunset_are_those_of_astral(latitude, longitude):
    # Reference: astral 3.2 (PyPI). Two minutes: astral takes the sun's edge 0.04 degrees higher
    # (0.79 below the horizon, NOAA 0.833), at 65 degrees in June as much as 1.8 minutes; the
    # programme rounds to 15.
    observer = astral.Observer(latitude, longitude)
    by_the_sun = timezone(timedelta(minutes=round(4 * longitude)))
    for day in DAYS:
        ours = daylight(latitude, longitude, day)
        rises = astral.sun.sunrise(observer, day, tzinfo=by_the_sun)
        sets = astral.sun.sunset(observer, day, tzinfo=by_the_sun)
        assert abs(rises - ours.sunrise) < timedelta(minutes=2), day
        assert abs(sets - ours.sunset) < timedelta(minutes=2), day


@pytest.mark.parametrize("latitude", LATITUDES)
def test_the_sun_stands_where_noaa_has_it_rise_and_set(latitude):
    # Reference: the sun's height by astral at our moments, 0.833 degrees below the horizon (34' of
    # refraction and 16' of the sun's half width). A hundredth of a degree: both are good to it.
    observer = astral.Observer(latitude, 8.6)
    for day in DAYS:
        found = daylight(latitude, 8.6, day)
        for event in (found.sunrise, found.sunset):
            height = astral.sun.elevation(observer, event, with_refraction=False)
            assert height == pytest.approx(-0.833, abs=0.01), day


@pytest.mark.parametrize("longitude", [-179.0, -75.0, 0.0, 100.0, 179.0])
def test_a_day_is_that_of_the_place(longitude):
    # Noon by the sun is within 17 minutes of noon by the mean sun (equation of time: -14 to +16.5
    # minutes over the year, any almanac), 4 minutes a degree from Greenwich.
    for day in DAYS:
        found = daylight(45.0, longitude, day)
        noon = found.sunrise + (found.sunset - found.sunrise) / 2
        mean = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
        mean -= timedelta(minutes=4 * longitude)
        assert abs(noon - mean) < timedelta(minutes=17)


@pytest.mark.parametrize("latitude", [-60, -30, 0, 30, 60])
def test_the_equinox_by_its_closed_form(latitude):
    # Closed form: with the sun on the equator cos H = sin(-0.833 deg) / cos(latitude), the day is
    # 2 H / 15 hours. The equinox of 2026 falls on 20 March, 14:46 UTC (almanac, from memory). Two
    # minutes: the sun moves 0.4 degrees a day, 0.15 from sunrise to then, at 60 degrees a minute.
    found = daylight(latitude, 0.0, date(2026, 3, 20))
    half = math.degrees(
        math.acos(math.sin(math.radians(-0.833)) / math.cos(math.radians(latitude)))
    )
    hours = (found.sunset - found.sunrise) / timedelta(hours=1)
    assert hours == pytest.approx(2 * half / 15, abs=2 / 60)


def test_a_published_day():
    # From memory of tables for London (51.5 N, 0.13 W): 21 June rises 03:43, sets 20:21 UTC; 21
    # December rises 08:04, sets 15:53. Two minutes: tables are for a town and rounded.
    for day, rises, sets in (
        (date(2026, 6, 21), (3, 43), (20, 21)),
        (date(2026, 12, 21), (8, 4), (15, 53)),
    ):
        found = daylight(51.5, -0.13, day)
        at = datetime(day.year, day.month, day.day, tzinfo=UTC)
        for event, (hour, minute) in ((found.sunrise, rises), (found.sunset, sets)):
            assert abs(event - at.replace(hour=hour, minute=minute)) <= timedelta(minutes=2)


@pytest.mark.parametrize(
    ("latitude", "day", "polar_day"),
    [
        (70.0, date(2026, 6, 21), True),
        (70.0, date(2026, 12, 21), False),
        (-70.0, date(2026, 12, 21), True),
        (-70.0, date(2026, 6, 21), False),
        (90.0, date(2026, 6, 21), True),
        (-90.0, date(2026, 6, 21), False),
    ],
)
def test_where_the_sun_does_not_rise_or_not_set(latitude, day, polar_day):
    found = daylight(latitude, 20.0, day)
    assert (found.sunrise, found.sunset) == (None, None)
    assert (found.polar_day, found.polar_night) == (polar_day, not polar_day)
    with pytest.raises(ValueError, match="Sun"):
        # Reference: astral has no such event either.
        astral.sun.sunrise(astral.Observer(latitude, 20.0), day)


def test_a_year_at_the_polar_circle_has_both_and_no_gap_in_between():
    # Along the circle (66.56 N) refraction makes midnight sun of some weeks round 21 June; on every
    # other day the sun rises before it sets, and the day is never longer than 24 hours.
    first = date(2026, 1, 1)
    days = [daylight(66.56, 25.0, first + timedelta(days=n)) for n in range(365)]
    assert any(each.polar_day for each in days)
    assert not any(each.polar_night for each in days)
    for each in days:
        if each.sunrise is not None:
            assert timedelta(0) < each.sunset - each.sunrise <= timedelta(hours=24, minutes=10)
