"""Sunrise and sunset at a place on a date."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from math import acos, asin, cos, degrees, radians, sin, tan

_RISING, _SETTING = -1, 1
_SUN_EDGE_DEG = 90.833
"""From overhead to the sun's centre when its upper edge is seen on a level horizon: 34 minutes of
arc of refraction, 16 of the sun's half width."""
_MINUTES_A_DEGREE = 4.0
_ROUNDS = 3
"""The sun moves while the day runs: each round takes its place at the time found before."""
_DAYS_A_CENTURY = 36525.0
_NOON_2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)


@dataclass(frozen=True)
class Daylight:
    """The light of one day. Times are UTC, both None where the sun does not rise or not set."""

    sunrise: datetime | None
    sunset: datetime | None
    polar_day: bool = False
    """The sun does not set."""

    @property
    def polar_night(self) -> bool:
        """Whether the sun does not rise."""
        return self.sunrise is None and not self.polar_day


@dataclass(frozen=True)
class _Sun:
    declination_deg: float
    equation_of_time_min: float


def daylight(latitude_deg: float, longitude_deg: float, day: date) -> Daylight:
    """Return when the sun rises and sets, by NOAA's solar calculator.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        WGS 84, north and east positive.
    day : date
        The date at the place, by its sun.

    Returns
    -------
    Daylight
        Sunrise and sunset of a level horizon, good to a minute or two off the polar circles.
        Hills, trees and the air's state are not known.

    Notes
    -----
    The equations are those of J. Meeus, Astronomical Algorithms, as NOAA's calculator uses them
    (from memory; held against another library in the tests).
    """
    midnight = datetime(day.year, day.month, day.day, tzinfo=UTC)
    noon = midnight + timedelta(hours=12, minutes=-_MINUTES_A_DEGREE * longitude_deg)
    at_noon = _hour_angle_deg(latitude_deg, _sun(noon).declination_deg)
    if isinstance(at_noon, bool):
        return Daylight(None, None, polar_day=at_noon)
    sunrise, sunset = (
        _event(latitude_deg, noon, side, first=at_noon) for side in (_RISING, _SETTING)
    )
    return Daylight(sunrise, sunset)


def _event(latitude_deg: float, noon: datetime, side: int, *, first: float) -> datetime:
    """Return when the sun stands on the horizon on one side of noon."""
    hour_angle_deg = first
    at = noon
    for _ in range(_ROUNDS):
        sun = _sun(at)
        found = _hour_angle_deg(latitude_deg, sun.declination_deg)
        if not isinstance(found, bool):
            hour_angle_deg = found
        turned_min = side * _MINUTES_A_DEGREE * hour_angle_deg
        at = noon + timedelta(minutes=turned_min - sun.equation_of_time_min)
    return at


def _hour_angle_deg(latitude_deg: float, declination_deg: float) -> float | bool:
    """Return the sun's hour angle on the horizon; True where it stays above, False below."""
    latitude, declination = radians(latitude_deg), radians(declination_deg)
    # A pole itself has no hour angle: cos(latitude) is tiny there, not nought.
    seen_edge = cos(radians(_SUN_EDGE_DEG)) / (cos(latitude) * cos(declination))
    cosine = seen_edge - tan(latitude) * tan(declination)
    if abs(cosine) > 1.0:
        return cosine < 0.0
    return degrees(acos(cosine))


def _sun(at: datetime) -> _Sun:
    """Return the sun's declination and the equation of time."""
    century = (at - _NOON_2000) / timedelta(days=_DAYS_A_CENTURY)
    mean_longitude = radians(280.46646 + century * (36000.76983 + 0.0003032 * century))
    anomaly = radians(357.52911 + century * (35999.05029 - 0.0001537 * century))
    eccentricity = 0.016708634 - century * (0.000042037 + 0.0000001267 * century)
    centre = radians(
        sin(anomaly) * (1.914602 - century * (0.004817 + 0.000014 * century))
        + sin(2 * anomaly) * (0.019993 - 0.000101 * century)
        + sin(3 * anomaly) * 0.000289
    )
    node = radians(125.04 - 1934.136 * century)
    longitude = mean_longitude + centre - radians(0.00569 + 0.00478 * sin(node))
    tilt = radians(_mean_tilt_deg(century) + 0.00256 * cos(node))
    y = tan(tilt / 2) ** 2
    equation = (
        y * sin(2 * mean_longitude)
        - 2 * eccentricity * sin(anomaly)
        + 4 * eccentricity * y * sin(anomaly) * cos(2 * mean_longitude)
        - 0.5 * y * y * sin(4 * mean_longitude)
        - 1.25 * eccentricity**2 * sin(2 * anomaly)
    )
    return _Sun(degrees(asin(sin(tilt) * sin(longitude))), _MINUTES_A_DEGREE * degrees(equation))


def _mean_tilt_deg(century: float) -> float:
    """Return the mean obliquity of the ecliptic."""
    seconds = 21.448 - century * (46.815 + century * (0.00059 - 0.001813 * century))
    return 23.0 + (26.0 + seconds / 60.0) / 60.0
