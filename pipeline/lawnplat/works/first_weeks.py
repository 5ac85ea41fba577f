"""What the client is told for the first weeks. Common practice, no source, where none is named."""

from __future__ import annotations

from lawnplat.works.job import Job
from lawnplat.works.mowing_time import cut_hours, largest_area_m2

_BEFORE = (
    (
        "Before the first run: pick up toys, hoses, branches and fallen fruit, and cut high grass "
        "with a mower led by hand."
    ),
    (
        "Keep children and animals off the lawn while the machine works. Switch it off before "
        "touching, lifting or tipping it: the blades cut."
    ),
    "Let it work in daylight only: hedgehogs and other small animals are about at night.",
)
_LATER = (
    (
        "The wire lies loose until the grass has grown over it, one to two months. Walk along it "
        "after 1, 2 and 4 weeks: press pegs home, and add one where a finger lifts the wire."
    ),
    (
        "Leave the cutting height up at first and lower it by the steps given here; not in "
        "drought, frost or on soaked ground."
    ),
    (
        "Do not scarify, aerate, edge or dig within a hand's breadth of the wire: it lies shallow. "
        "The as-laid plan shows where."
    ),
    "Keep the strips against walls and edges short by hand: the machine does not reach them.",
    "New grass or turf: wait until it is rooted and has been cut twice by hand.",
)


def first_weeks(job: Job) -> tuple[str, ...]:
    """Return sentences for the first weeks, in the order of time, for this site."""
    hours_a_cut = cut_hours(job, largest_area_m2(job))
    first = (
        "First days: let it work all hours allowed until the whole lawn is cut once, about "
        f"{hours_a_cut:.0f} h, and stay near to watch the first rounds and the first docking."
    )
    return (*_BEFORE, first, *_watched(job), *_LATER, *_carried(job))


def _watched(job: Job) -> tuple[str, ...]:
    """Return what to watch where the ground or the edges ask for it."""
    against = {section.against for layout in job.layouts for section in layout.perimeter.sections}
    told = []
    if against & {"water", "drop"}:
        told.append(
            "Watch the first rounds by water and falls: stop the machine if it slides or runs over "
            "the wire, and have the wire moved in. Watch again on wet grass."
        )
    if any(zone.zone != "gentle" and zone.area.area > 0 for zone in job.ground.zones):
        told.append(
            "Watch it on the slopes, wet grass too: if wheels spin or it slides, stop mowing there "
            "in the wet."
        )
    return tuple(told)


def _carried(job: Job) -> tuple[str, ...]:
    parts = [part for part in job.ground.parts if part.role == "carried"]
    if not parts:
        return ()
    named = ", ".join(
        f"part {part.number} ({part.area.area:.0f} m2, about "
        f"{cut_hours(job, part.area.area):.0f} h a cut)"
        for part in parts
    )
    told = (
        f"Carry the machine, switched off, to {named}; these hours are not in the programme, and "
        "it has to be carried back to charge."
    )
    return (told,)
