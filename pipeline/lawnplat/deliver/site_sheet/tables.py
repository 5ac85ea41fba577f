"""Materials, work, programme and commissioning as tables; a part that is not there is left out."""

from __future__ import annotations

import calendar
from collections.abc import Iterator

from lawnplat.deliver.site_sheet.markup import (
    Html,
    bullets,
    element,
    figure,
    joined,
    said,
    section,
    table,
)
from lawnplat.works.types import Check, MonthHours, Programme, Works

_TICK = Html('<span class="tick" role="img" aria-label="box to tick"></span>')
_TO_SIGN = (
    "Machine, serial number", "Installed by", "Date", "Signature", "Handed over to",
    "Date and signature",
)  # fmt: skip


def materials_section(works: Works) -> Html:
    """Return what to bring and what is to be done."""
    rows = (
        (each.item, f"{each.quantity:g}", each.unit, said(each.basis)) for each in works.materials
    )
    bring = table("Materials", ("Item", "Quantity", "Unit", "Basis"), rows, right=(1,))
    return section("Materials and work", bring, *_work(works))


def _work(works: Works) -> Iterator[Html]:
    """Yield the tasks, with hours where the quote gives them."""
    if works.quote is not None and works.quote.labour:
        rows = [
            (_words(each.task), f"{each.quantity:g}", each.unit, f"{each.hours:.2f}", each.basis)
            for each in works.quote.labour
        ]
        heads = ("Task", "Quantity", "Unit", "Hours", "Basis")
        yield table("Work", heads, rows, right=(1, 3))
        total = sum(each.hours for each in works.quote.labour)
        yield element("p", f"{total:.1f} hours in all, {works.quote.crew_days} crew-days.")
    elif works.tasks:
        rows_ = [
            (_words(each.task), f"{each.quantity:g}", each.unit, each.basis) for each in works.tasks
        ]
        yield table("Work", ("Task", "Quantity", "Unit", "Basis"), rows_, right=(1,))


def _words(task: str) -> str:
    return task.replace("_", " ")


def programme_section(programme: Programme) -> Html:
    """Return how the machine is set through the year, the cutting heights and the first weeks."""
    heads = ("Month", "Growth", "Hours a week", "Days a week", "From", "To", "Remark")
    months = table("Mowing hours", heads, map(_month, programme.months), right=(1, 2, 3))
    pieces = [months]
    if programme.heights:
        steps = ((f"{each.day}", f"{each.height_mm:g} mm", each.note) for each in programme.heights)
        columns = ("From day", "Cutting height", "Remark")
        pieces.append(table("Cutting height, stepped down", columns, steps))
    if programme.first_weeks:
        pieces += [element("h3", "First weeks"), bullets(programme.first_weeks, "ol")]
    if programme.basis:
        pieces += [element("h3", "How it came about"), bullets(map(said, programme.basis))]
    return section("Programme", *pieces)


def _month(each: MonthHours) -> tuple[str, ...]:
    name = calendar.month_name[each.month]
    growth = figure(each.growth_factor)
    if not each.start:
        return (name, growth, "-", "-", "-", "-", each.note or "no mowing")
    hours = f"{each.hours_per_week:.1f}"
    return (name, growth, hours, f"{each.days_per_week}", each.start, each.end, each.note)


def commissioning_section(works: Works, *, several: bool) -> Html:
    """Return the acceptance list with boxes to tick and fields to sign."""
    heads = ("No.", *(["Loop"] if several else []), "What", "How", "Done", "Recorded")
    rows = (_check(each, several=several) for each in works.commissioning)
    listed = table("Checks before hand-over", heads, rows)
    return section("Commissioning", listed, sign_off())


def _check(each: Check, *, several: bool) -> tuple[str, ...]:
    loop = [f"{each.loop}" if each.loop else "all"] if several else []
    record = joined((each.record, Html('<span class="line"></span>'))) if each.record else "-"
    return (f"{each.number}", *loop, each.what, each.how, _TICK, record)


def sign_off() -> Html:
    """Return the fields to sign."""
    rows = ((name, Html('<span class="line long"></span>')) for name in _TO_SIGN)
    return table("Hand-over", ("Field", "To be written in"), rows)
