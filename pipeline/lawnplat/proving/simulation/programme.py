"""What the written programme asks of the machine."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lawnplat.proving.recorded import RecordedPlan
from lawnplat.settings.types import MachineClass, RestDay, RuleBook

_WEEK = 7
_H_S = 3600.0


@dataclass(frozen=True)
class Asked:
    """The busiest month of a programme.

    ``hours_a_day`` on ``days_a_week`` days; ``cuts_a_week`` of the whole lawn. ``working_days`` of
    a week it may work on, ``allowed_h`` hours of each.
    """

    hours_a_day: float
    days_a_week: int
    cuts_a_week: float
    working_days: int
    allowed_h: float

    def windows_s(self, days: int) -> NDArray[np.float64]:
        """Return for how many seconds the machine may be out on each day, evenly over the week."""
        number = np.arange(days)
        turns = np.floor((number + 1) * self.days_a_week / _WEEK)
        works = turns > np.floor(number * self.days_a_week / _WEEK)
        return np.where(works, self.hours_a_day * _H_S, 0.0)


def asked_of(plan: RecordedPlan, machine: MachineClass, rules: RuleBook) -> Asked:
    """Return what the schedule asks for in the month with most hours a week.

    Without a schedule, every hour outside the quiet ones on every working day.

    Notes
    -----
    The lawn is cut each time it has grown by as much as one cut takes off it: with the share s of
    the leaf taken at most, a lawn of height h is cut when it stands at h / (1 - s).
    """
    programme = rules.programme
    working = _WEEK - (programme.rest_weekday is not RestDay.NONE)
    allowed_h = programme.quiet_from_h - programme.quiet_to_h
    months = [row for row in plan.rows("schedule") if row.number("hours_per_week") > 0]
    if not months:
        return Asked(allowed_h, working, programme.least_cuts_week, working, allowed_h)
    busiest = max(months, key=lambda row: row.number("hours_per_week"))
    growth_mm_day = programme.full_growth_mm_day * busiest.number("growth_factor")
    height_mm = min(
        max(programme.target_height_mm, machine.cutting_lowest_mm), machine.cutting_highest_mm
    )
    share = programme.largest_cut_share
    between_mm = height_mm * share / (1.0 - share)
    days = int(busiest.number("days_per_week"))
    return Asked(
        hours_a_day=busiest.number("hours_per_week") / days,
        days_a_week=days,
        cuts_a_week=max(_WEEK * growth_mm_day / between_mm, programme.least_cuts_week),
        working_days=working,
        allowed_h=allowed_h,
    )
