"""The mowing programme and the hand-over list: hours that fit, heights in reach, all told."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.laid_wires import return_lines
from lawnplat.proving.recorded import Row
from lawnplat.settings.types import RestDay
from lawnplat.survey.types import Finding

_MONTHS = range(1, 13)
_WEEK = 7
_SAME = 1e-6
_CLOCK = re.compile(r"([01]\d|2[0-4]):([0-5]\d)")


def schedule(evidence: Evidence) -> Iterator[Finding]:
    """Yield months that are missing, or whose hours cannot be or are not allowed."""
    rows = evidence.plan.rows("schedule")
    if not evidence.plan.loops:
        return
    months = [row.number("month") for row in rows]
    if sorted(months) != list(_MONTHS):
        yield breach(
            evidence, "schedule", f"{len(rows)} months are told, each of the twelve is needed once",
            measured=len(set(months)), limit=len(_MONTHS),
        )  # fmt: skip
    for row in rows:
        for fault in _faults(evidence, row):
            yield breach(evidence, "schedule", f"month {row.text('month')}: {fault}")


def _faults(evidence: Evidence, row: Row) -> Iterator[str]:
    rules = evidence.rules.programme
    days, hours = row.number("days_per_week"), row.number("hours_per_week")
    if not 0.0 <= row.number("growth_factor") <= 1.0:
        yield f"a growth of {row.number('growth_factor'):g}, it lies between 0 and 1"
    most = _WEEK - (rules.rest_weekday is not RestDay.NONE)
    if not 0 <= days <= most:
        yield f"{days:g} days a week, {most} are allowed"
    start_h, end_h = _hour(row.text("start")), _hour(row.text("end"))
    if start_h is None or end_h is None:
        if hours != 0 or days != 0 or row.text("start") or row.text("end"):
            yield f"{hours:g} h a week, but no hours of the day"
        return
    if not start_h < end_h:
        yield f"it ends at {row.text('end')}, not after its start at {row.text('start')}"
        return
    if start_h < rules.quiet_to_h - _SAME or end_h > rules.quiet_from_h + _SAME:
        yield (
            f"{row.text('start')} to {row.text('end')} runs into the quiet hours, "
            f"{rules.quiet_from_h:g} to {rules.quiet_to_h:g}"
        )
    room_h = days * (end_h - start_h)
    if not 0 < hours <= room_h + _SAME:
        yield f"{hours:g} h a week do not fit {days:g} days of {end_h - start_h:g} h"


def _hour(clock: str) -> float | None:
    """Return hours from midnight of ``HH:MM``; None where it is none."""
    found = _CLOCK.fullmatch(clock)
    return int(found[1]) + int(found[2]) / 60 if found else None


def cutting_height(evidence: Evidence) -> Iterator[Finding]:
    """Yield heights out of the machine's reach, that rise, or that step down by too much."""
    machine, step_mm = evidence.machine, evidence.rules.programme.height_step_mm
    rows = evidence.plan.rows("cutting_heights")
    if not rows and evidence.plan.loops:
        yield breach(evidence, "cutting_height", "no cutting height is told")
    for row in rows:
        height_mm = row.number("height_mm")
        if not machine.cutting_lowest_mm <= height_mm <= machine.cutting_highest_mm:
            yield breach(
                evidence, "cutting_height",
                f"{height_mm:g} mm from day {row.text('day')}: the machine cuts at "
                f"{machine.cutting_lowest_mm:g} to {machine.cutting_highest_mm:g} mm",
                measured=height_mm, limit=machine.cutting_highest_mm,
            )  # fmt: skip
    for before, after in pairwise(rows):
        down_mm = before.number("height_mm") - after.number("height_mm")
        if not 0 < down_mm <= step_mm + _SAME or not before.number("day") < after.number("day"):
            yield breach(
                evidence, "cutting_height",
                f"from day {before.text('day')} to day {after.text('day')} the height is to change "
                f"by {down_mm:g} mm: down by {step_mm:g} mm at a time", measured=down_mm,
                limit=step_mm,
            )  # fmt: skip


def commissioning(evidence: Evidence) -> Iterator[Finding]:
    """Yield what the hand-over list leaves out: a number, a loop, a return line's parking test."""
    plan = evidence.plan
    if not plan.loops:
        return
    rows = plan.rows("commissioning")
    if [row.number("number") for row in rows] != list(range(1, len(rows) + 1)) or not rows:
        yield breach(
            evidence, "commissioning",
            f"the hand-over list's {len(rows)} lines are not numbered from 1",
        )  # fmt: skip
    for row in rows:
        if not (row.text("what") and row.text("how") and row.text("record")):
            yield breach(
                evidence, "commissioning",
                f"line {row.text('number')} of the hand-over list does not say what is checked, "
                "how, or what is written down",
            )  # fmt: skip
    told = {row.number("loop") for row in rows}
    for number in plan.loops:
        if number not in told:
            yield breach(evidence, "commissioning", f"nothing on the list is about loop {number}")
    tests = " ".join(row.text("what").lower() for row in rows)
    for line in return_lines(plan):
        if not re.search(rf"return line {line.number}\b", tests):
            yield breach(
                evidence, "commissioning",
                f"the hand-over list holds no parking test of {line.words}", line.place(0.0),
            )  # fmt: skip
