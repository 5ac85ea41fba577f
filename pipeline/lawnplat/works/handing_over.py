"""The end of the commissioning list: settings, photographs, what the client is told and given."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from lawnplat.works.job import Job
from lawnplat.works.round_wire import leads_out
from lawnplat.works.types import Programme

WHOLE_SITE = 0
"""`Item.loop` of what concerns no one loop."""


@dataclass(frozen=True)
class Item:
    """A check without its number."""

    what: str
    how: str
    record: str
    loop: int = WHOLE_SITE


def counted(number: int, noun: str) -> str:
    """Return a number with its noun, ``1 joint`` or ``2 joints``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def handing_over(job: Job, programme: Programme) -> Iterator[Item]:
    """Yield the checks that concern the whole site, after those of the loops."""
    yield from _carried(job)
    yield from _hand_trim(job)
    yield _settings(programme)
    yield _photographs(job)
    yield _told(job)
    yield _given()


def _carried(job: Job) -> Iterator[Item]:
    for part in job.ground.parts:
        if part.role == "carried":
            yield Item(
                f"Part {part.number}, to which the machine is carried",
                f"{part.area.area:.0f} m2: started there once, it keeps inside the wire; the "
                "client has been shown how it is switched off, carried and brought back.",
                "kept inside yes/no, shown to",
            )


def _hand_trim(job: Job) -> Iterator[Item]:
    left_m2 = sum(each.area.area for each in job.ground.hand_trim)
    if left_m2 > 0:
        yield Item(
            "Strips left to a trimmer shown",
            f"{left_m2:.0f} m2 as planned (hand_trim): walked with the client.",
            "who trims them",
        )


def _settings(programme: Programme) -> Item:
    mown = [each for each in programme.months if each.days_per_week > 0]
    months = f"{len(mown)} months with mowing" if mown else "no month with mowing"
    first, last = programme.heights[0].height_mm, programme.heights[-1].height_mm
    return Item(
        "Settings made and recorded",
        f"Clock and date set; hours of this month as in the programme ({months}); cutting height "
        f"{first:g} mm, to be lowered to {last:g} mm by the steps; code set, and given to the "
        "client alone.",
        "days, start, end, height in mm, software version",
    )


def _photographs(job: Job) -> Item:
    joints = sum(
        joint.joint in {"three_way", "splice"} for layout in job.layouts for joint in layout.joints
    )
    leads = sum(leads_out(layout) for layout in job.layouts)
    led_off = f"{counted(leads, 'lead-off')} to islands and lawns, " if leads else ""
    return Item(
        "Photographs taken before the wire grows in",
        f"{counted(len(job.layouts), 'station')} from in front and behind, the wire ends with "
        f"labels, {counted(joints, 'joint')}, {led_off}the cable from end to "
        "end; a tape and a fixed point in each.",
        "number of photographs, where they are kept",
    )


def _told(job: Job) -> Item:
    water = any(feature.kind in {"water", "drop"} for feature in job.site.features)
    slopes = any(zone.zone != "gentle" and zone.area.area > 0 for zone in job.ground.zones)
    more = [
        *(["water and falls: watch it there first"] if water else []),
        *(["slopes: not in the wet if it slides"] if slopes else []),
    ]
    return Item(
        "Client told of the dangers",
        "Blades: switched off before it is touched, lifted or tipped. Children and animals off "
        "the lawn while it works. Daylight only. Mains and outlet for a licensed electrician "
        f"alone.{''.join(f' {each.capitalize()}.' for each in more)} The machine's own manual goes "
        "before this list.",
        "name of the person told, date",
    )


def _given() -> Item:
    return Item(
        "Handed over",
        "As-laid plan, this list, programme, the machine's papers; walk along the wire agreed for "
        "weeks 1, 2 and 4.",
        "dates agreed",
    )
