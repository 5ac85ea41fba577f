"""The mowing programme: hours by month, cutting heights, the first weeks."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from math import ceil

from lawnplat.settings.types import NOMINAL_ZONE, ProgrammeRules, RestDay, Season
from lawnplat.survey.types import Finding
from lawnplat.works.first_weeks import first_weeks
from lawnplat.works.growth import cuts_a_week, growth_between_cuts_mm, monthly_growth
from lawnplat.works.heights import Pace, height_steps, share_words, target_height_mm
from lawnplat.works.job import Job
from lawnplat.works.mowing_time import cut_hours, largest_area_m2
from lawnplat.works.types import MonthHours, Programme
from lawnplat.works.working_hours import (
    QUARTER_MIN,
    Place,
    Window,
    place_of,
    windows_of,
    working_days,
    zone_of,
)

_YEAR = 2025
"""Whose dates of summer time are taken where the job has no date."""
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
_LONGEST_PASS_DAYS = 365
"""A machine that takes longer for one cut is no machine for the lawn; the warning says so."""
_QUARTERS = 60 // QUARTER_MIN


@dataclass(frozen=True)
class Asked:
    """What one month asks for: cuts of the whole lawn, and hours with charging for them, a week."""

    month: int
    growth: float
    cuts: float
    hours: float
    window: Window
    days: int
    """Days of a week on which the machine may work."""

    @property
    def allowed_hours(self) -> float:
        """Hours of a week in which the machine may work."""
        return self.days * self.window.hours

    @property
    def fits(self) -> bool:
        """Whether the hours asked for are allowed."""
        return _quarters_up(self.hours / self.days) <= self.window.hours


def programme_of(job: Job) -> Programme:
    """Return how the machines of one site are set.

    Several loops have a machine each; the programme is that of the largest working area and does
    for all. Parts to which a machine is carried are not in it.
    """
    months = asked_of(job)
    rules = job.rules.programme
    return Programme(
        months=tuple(_month_hours(each) for each in months),
        heights=height_steps(job.machine, rules, _pace(months, job)),
        first_weeks=first_weeks(job),
        basis=_basis(job, place_of(job.site)),
    )


def programme_findings(programme: Programme) -> tuple[Finding, ...]:
    """Return a warning where the hours allowed do not suffice in some month; else nothing.

    ``measured`` and ``limit`` are the hours a week asked for and allowed in the worst month.
    """
    short = [each for each in programme.months if each.asked_hours_per_week > each.hours_per_week]
    if not short:
        return ()
    worst = max(short, key=lambda each: each.asked_hours_per_week - each.hours_per_week)
    asked, allowed = worst.asked_hours_per_week, worst.hours_per_week
    named = ", ".join(_MONTHS[each.month - 1] for each in short)
    text = (
        f"the hours allowed do not suffice in {named}: {_MONTHS[worst.month - 1]} asks for "
        f"{asked:.1f} h a week, {allowed:.1f} h are allowed; expect long grass, or take a "
        "faster machine class or a higher cut"
    )
    return (Finding("programme", "warn", text, measured=asked, limit=allowed),)


def asked_of(job: Job) -> tuple[Asked, ...]:
    """Return what each month asks for, January first."""
    rules = job.rules.programme
    windows = windows_of(place_of(job.site), _year(job), rules)
    height_mm = target_height_mm(job.machine, rules)
    hours = cut_hours(job, largest_area_m2(job))
    found = []
    for month, (growth, window) in enumerate(
        zip(monthly_growth(job.terms.climate, rules), windows, strict=True), start=1
    ):
        cuts = cuts_a_week(growth, height_mm, rules)
        found.append(Asked(month, growth, cuts, cuts * hours, window, working_days(rules)))
    return tuple(found)


def _year(job: Job) -> int:
    return int(job.terms.issued[:4]) if job.terms.issued else _YEAR


def _quarters_up(hours: float) -> float:
    return ceil(round(hours * _QUARTERS, 6)) / _QUARTERS


def _month_hours(asked: Asked) -> MonthHours:
    """Return the programme of one month."""
    resting = partial(MonthHours, asked.month, asked.growth, 0.0, 0, "", "")
    if asked.cuts <= 0:
        return resting("no mowing: hardly any growth")
    if asked.window.hours <= 0:
        note = f"no hours allowed, {asked.hours:.1f} h a week asked for"
        return resting(note, asked_hours_per_week=asked.hours)
    start = asked.window.start_min
    if asked.fits:
        weekly, note = _quarters_up(asked.hours), ""
        days = _days(asked)
        end = start + round(60 * _quarters_up(asked.hours / days))
    else:
        weekly, days, end = asked.allowed_hours, asked.days, asked.window.end_min
        note = f"all hours allowed, {asked.hours:.1f} h a week asked for: expect long grass"
    clock = (_clock(start), _clock(end))
    return MonthHours(asked.month, asked.growth, weekly, days, *clock, note, asked.hours)


def _days(asked: Asked) -> int:
    """Return the fewest days of a week, no fewer than the cuts, on which the hours find room."""
    least = min(max(1, ceil(round(asked.cuts, 6))), asked.days)
    return next(
        days
        for days in range(least, asked.days + 1)
        if _quarters_up(asked.hours / days) <= asked.window.hours
    )


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _pace(months: tuple[Asked, ...], job: Job) -> Pace:
    """Return the pace of stepping down, from the months with mowing, or from full growth."""
    full_mm_day = job.rules.programme.full_growth_mm_day
    mown = [each for each in months if each.cuts > 0 and each.allowed_hours > 0]
    if not mown:
        return Pace(1, full_mm_day, full_mm_day)
    hours = cut_hours(job, largest_area_m2(job))
    growths = [each.growth * full_mm_day for each in mown]
    days = [min(7 * hours / each.allowed_hours, _LONGEST_PASS_DAYS) for each in mown]
    return Pace(
        pass_days=max(1, ceil(round(max(days), 6))),
        pass_growth_mm=max(d * mm_day for d, mm_day in zip(days, growths, strict=True)),
        slowest_mm_day=min(growths),
    )


def _basis(job: Job, place: Place) -> tuple[str, ...]:
    rules, machine = job.rules.programme, job.machine
    return (
        f"climate: {job.terms.climate.label} ({job.terms.climate.source})",
        _growth_words(rules, target_height_mm(machine, rules)),
        _hours_words(job),
        _light_words(rules, place),
        _clock_words(rules, place, job),
    )


def _growth_words(rules: ProgrammeRules, height_mm: float) -> str:
    warm = rules.season is Season.WARM
    optimum = rules.warm_optimum_c if warm else rules.cool_optimum_c
    spread = rules.warm_spread_c if warm else rules.cool_spread_c
    between = growth_between_cuts_mm(height_mm, rules.largest_cut_share)
    return (
        f"growth: {rules.season}-season grass, exp(-0.5 ((T - {optimum:g}) / {spread:g})^2) of "
        f"{rules.full_growth_mm_day:g} mm a day (Gelernter & Stowell), no mowing under "
        f"{rules.least_growth:g}; cut at {height_mm:g} mm each time {between:.0f} mm have grown, "
        f"so that no cut takes more than {share_words(rules)} of the leaf, and "
        f"{rules.least_cuts_week:g} time(s) a week at least"
    )


def _hours_words(job: Job) -> str:
    machine, area_m2 = job.machine, largest_area_m2(job)
    loops = "" if len(job.layouts) <= 1 else f" (the largest of {len(job.layouts)} working areas)"
    share = job.rules.programme.work_efficiency_share
    efficiency = "" if share >= 1 else f" x {share:g}"
    return (
        f"hours: {area_m2:.0f} m2{loops} at {machine.rate_m2_h:g} m2 an hour{efficiency}, and "
        f"{machine.charge_min:g} min of charging for {machine.run_min:g} min of mowing, make "
        f"{cut_hours(job, area_m2):.1f} h a cut; the {machine.name} class does up to "
        f"{machine.capacity_m2:g} m2"
    )


def _light_words(rules: ProgrammeRules, place: Place) -> str:
    quiet = f"{_clock(round(60 * rules.quiet_to_h))} to {_clock(round(60 * rules.quiet_from_h))}"
    days = "every day"
    if rules.rest_weekday is not RestDay.NONE:
        days = f"not on {rules.rest_weekday.capitalize()}s"
    allowed = f"allowed: {quiet}, {days} (set the local rule); days spread over the week"
    if not rules.daylight_only:
        return f"{allowed}; also in the dark: the rule book does not ask for daylight"
    north = "N" if place.latitude_deg >= 0 else "S"
    return (
        f"{allowed}; daylight only, {rules.daylight_margin_min:g} min off sunrise and sunset of "
        f"every day of the month at {abs(place.latitude_deg):.2f} {north} (NOAA's equations)"
    )


def _clock_words(rules: ProgrammeRules, place: Place, job: Job) -> str:
    if rules.time_zone != NOMINAL_ZONE:
        return f"clock: {rules.time_zone}, summer time as in {_year(job)}"
    return (
        f"clock: {zone_of(place, rules)}, the zone of the longitude; no time zone is set, so the "
        "hours are kept an hour off sunrise to hold in summer time too. Where the local clock "
        "differs, set programme.time_zone in the rule book"
    )
