"""When a machine may work in each month: in daylight, outside quiet hours, by the local clock."""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from math import ceil, floor
from zoneinfo import ZoneInfo

import pyproj

from lawnplat.settings.types import NOMINAL_ZONE, ProgrammeRules, RestDay
from lawnplat.survey.types import Site
from lawnplat.works.daylight import daylight

QUARTER_MIN = 15
_DAY_MIN = 24 * 60
_LAST_MIN = _DAY_MIN - QUARTER_MIN
"""A day's last quarter hour: 24:00 cannot be set on a clock."""
_SUMMER_TIME_MIN = 60
_DEGREES_AN_HOUR = 15.0


@dataclass(frozen=True)
class Place:
    """Where a site lies, degrees in WGS 84."""

    latitude_deg: float
    longitude_deg: float


@dataclass(frozen=True)
class Window:
    """Hours of one day, in minutes after midnight by the local clock, on quarters of an hour."""

    start_min: int
    end_min: int

    @property
    def hours(self) -> float:
        """Length in hours; 0 where there is none."""
        return max(self.end_min - self.start_min, 0) / 60.0


def place_of(site: Site) -> Place:
    """Return latitude and longitude of the parcel's middle."""
    to_degrees = pyproj.Transformer.from_crs(site.crs, "EPSG:4326", always_xy=True)
    middle = site.parcel.centroid
    longitude_deg, latitude_deg = to_degrees.transform(middle.x, middle.y)
    return Place(latitude_deg, longitude_deg)


def working_days(rules: ProgrammeRules) -> int:
    """Return how many days of a week a machine may work on."""
    return 7 if rules.rest_weekday is RestDay.NONE else 6


def windows_of(place: Place, year: int, rules: ProgrammeRules) -> tuple[Window, ...]:
    """Return the hours of each month that hold on every one of its days, January first.

    Parameters
    ----------
    place : Place
    year : int
        Whose dates of summer time are taken.
    rules : ProgrammeRules
        Where ``time_zone`` is ``nominal`` the hours hold by a clock that is put forward in summer
        as well as by one that is not.
    """
    return tuple(_window(place, year, month, rules) for month in range(1, 13))


def zone_of(place: Place, rules: ProgrammeRules) -> tzinfo:
    """Return the rules' time zone, or the one of the place's longitude, without summer time."""
    if rules.time_zone != NOMINAL_ZONE:
        return ZoneInfo(rules.time_zone)
    return timezone(timedelta(hours=round(place.longitude_deg / _DEGREES_AN_HOUR)))


def _window(place: Place, year: int, month: int, rules: ProgrammeRules) -> Window:
    start_min, end_min = 60.0 * rules.quiet_to_h, 60.0 * rules.quiet_from_h
    if rules.daylight_only:
        light_from, light_to = _light(place, year, month, zone_of(place, rules))
        if rules.time_zone == NOMINAL_ZONE and light_from > 0:
            light_from += _SUMMER_TIME_MIN
        start_min = max(start_min, light_from + rules.daylight_margin_min * (light_from > 0))
        end_min = min(end_min, light_to - rules.daylight_margin_min * (light_to < _DAY_MIN))
    start = QUARTER_MIN * ceil(round(start_min / QUARTER_MIN, 6))
    end = min(QUARTER_MIN * floor(round(end_min / QUARTER_MIN, 6)), _LAST_MIN)
    return Window(start, end) if start < end else Window(0, 0)


def _light(place: Place, year: int, month: int, zone: tzinfo) -> tuple[float, float]:
    """Return the minutes between which it is light on every day of the month."""
    days = range(1, calendar.monthrange(year, month)[1] + 1)
    spans = [_light_of_day(place, date(year, month, day), zone) for day in days]
    return max(span[0] for span in spans), min(span[1] for span in spans)


def _light_of_day(place: Place, day: date, zone: tzinfo) -> tuple[float, float]:
    found = daylight(place.latitude_deg, place.longitude_deg, day)
    if found.sunrise is None or found.sunset is None:
        return (0.0, float(_DAY_MIN)) if found.polar_day else (float(_DAY_MIN), 0.0)
    rises, sets = (_clock_min(event, day, zone) for event in (found.sunrise, found.sunset))
    return max(rises, 0.0), min(sets, float(_DAY_MIN))


def _clock_min(event: datetime, day: date, zone: tzinfo) -> float:
    """Return what a clock shows, in minutes from the date's midnight by the same clock."""
    shown = event.astimezone(zone).replace(tzinfo=UTC)
    midnight = datetime(day.year, day.month, day.day, tzinfo=UTC)
    return (shown - midnight) / timedelta(minutes=1)
