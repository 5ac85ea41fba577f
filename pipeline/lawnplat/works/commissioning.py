"""The commissioning list of one site: what is checked, how, and what is written down."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import shapely

from lawnplat.ground.types import Passage
from lawnplat.wire.types import Layout
from lawnplat.works.handing_over import WHOLE_SITE, Item, counted, handing_over
from lawnplat.works.job import Job
from lawnplat.works.round_wire import dangerous_stretches, islands_of
from lawnplat.works.types import Check, Programme

_BESIDE_M = 0.02
"""A passage ends at the lawns it lies between, to a centimetre."""


def commissioning_of(job: Job, programme: Programme) -> tuple[Check, ...]:
    """Return the commissioning list of one site, in the order of the day.

    Lengths, counts and places are the plan's; what has no source is common practice. Names and
    signatures are the site sheet's.
    """
    items = [_buried_services(job)]
    for layout in job.layouts:
        items += [replace(item, loop=layout.loop) for item in _of_loop(layout, job)]
    items += _passages(job)
    items += handing_over(job, programme)
    return tuple(
        Check(number, item.what, item.how, item.record, item.loop)
        for number, item in enumerate(items, start=1)
    )


def _buried_services(job: Job) -> Item:
    known = sum(feature.kind == "buried_service" for feature in job.site.features)
    width_m = job.rules.kinds["buried_service"].setback_m
    on_plan = f"{known} on the survey" if known else "none on the survey, which proves nothing"
    return Item(
        "Buried services located before anything is dug",
        "Plans asked of the owners of pipes and cables, ground searched with a locator; "
        f"{on_plan}. By hand only within {width_m:.2f} m of one; stricter local rules hold.",
        "what was found, who located it, date",
    )


def _of_loop(layout: Layout, job: Job) -> Iterator[Item]:
    """Yield the checks of one loop, from the outlet to the last island."""
    yield _outlet(layout, job)
    yield _cable(layout)
    yield _station(layout, job)
    yield _continuity(layout, job)
    yield _ends(layout)
    yield _joints(layout)
    yield _wire(layout, job)
    yield from _parking_tests(layout)
    yield from _islands(layout, job)
    yield from _edges(layout)


def _outlet(layout: Layout, job: Job) -> Item:
    limit_ma = job.rules.commissioning.residual_current_ma
    unknown = np.isnan(layout.station.outlet_distance_m)
    return Item(
        "Outlet and its residual-current protection, by a licensed electrician",
        f"Tripped with a tester: residual current of at most {limit_ma:g} mA (IEC 60364-4-41, "
        "411.3.3, as seen in a national edition; local code prevails); outlet and power supply "
        f"fit for outdoors.{' No outlet is on the survey: settle it first.' if unknown else ''}",
        "tripping current in mA, time in ms, electrician, date",
    )


def _cable(layout: Layout) -> Item:
    station = layout.station
    if np.isnan(station.outlet_distance_m):
        planned = "No route is planned: chosen on site, round the lawn"
    else:
        under = f", {station.cable_paved_m:.1f} m under paving" if station.cable_paved_m > 0 else ""
        planned = f"Planned: {station.outlet_distance_m:.1f} m{under}, round the lawn"
    return Item(
        "Low-voltage cable laid where no blade or spade meets it",
        f"{planned}; walked from outlet to station, nothing across mown ground.",
        "length in m, where it differs from the plan",
    )


def _station(layout: Layout, job: Job) -> Item:
    limit, clear_m = job.rules.station.largest_tilt_pct, job.rules.station.front_clear_m
    return Item(
        "Station level, fixed, its front free",
        f"Spirit level along and across; the ground as planned: {layout.station.tilt_pct:.1f} %, "
        f"at most {limit:g} % to be shimmed level. Screws tight, {clear_m:.1f} m in front free.",
        "tilt along and across in %, fixed yes/no",
    )


def _continuity(layout: Layout, job: Job) -> Item:
    """Return the ohmmeter's check; the resistance is arithmetic on the rule book's figure."""
    length_m = layout.perimeter.line.length
    laid_m = length_m + 2 * job.rules.wire.spare_end_m
    ohm = laid_m / 1000.0 * job.rules.commissioning.wire_resistance_ohm_km
    return Item(
        "Perimeter wire whole from end to end",
        f"Both ends off the station, ohmmeter across them: {length_m:.1f} m and the ends have at "
        f"most {ohm:.1f} ohm at 20 C, and each joint a little; endless is a break, far more a bad "
        "joint.",
        f"ohm (at most {ohm:.1f} expected)",
    )


def _ends(layout: Layout) -> Item:
    lines = [line.number for line in layout.return_lines]
    own = ""
    if lines:
        own = f"; {_return_lines(lines)} at {'its' if len(lines) == 1 else 'their'} own terminal"
    return Item(
        "Wire ends the right way round",
        "Seen from behind the station: the end at chainage 0.0 m at the left terminal, the end at "
        f"{layout.perimeter.line.length:.1f} m at the right one{own}; labels on.",
        "left/right/return as planned yes/no, station's signal lamp",
    )


def _joints(layout: Layout) -> Item:
    kinds = {"terminal": "terminal", "three_way": "three-way joint", "splice": "splice"}
    planned = ", ".join(
        counted(sum(joint.joint == kind for joint in layout.joints), noun)
        for kind, noun in kinds.items()
    )
    return Item(
        "Joints sealed",
        f"{planned} planned: each pulled by hand, sealed, photographed before it is covered.",
        "number made, place of each beyond the plan",
    )


def _wire(layout: Layout, job: Job) -> Item:
    return Item(
        "Wire down everywhere, not yet grown in",
        f"All {layout.perimeter.line.length:.0f} m walked, a finger run under: no loop to lift, "
        "pairs side by side and never crossing; blades at the highest for the first "
        f"{job.rules.programme.highest_for_days} days.",
        "where it differs from the plan, drawn on the as-laid plan",
    )


def _parking_tests(layout: Layout) -> Iterator[Item]:
    for test in layout.parking_tests:
        yield Item(
            f"Parking test on return line {test.line_number}",
            f"Machine set down on the line at the mark {test.distance_m:.1f} m out from the "
            "station, sent home: it follows the line, docks and charges.",
            "docked yes/no, tries, charging lamp",
        )


def _islands(layout: Layout, job: Job) -> Iterator[Item]:
    for number, island in enumerate(islands_of(layout, job.rules.wire.pair_gap_m), start=1):
        kinds = ", ".join(_words(kind) for kind in island.kinds)
        yield Item(
            f"Island {number} walked ({kinds})",
            f"From chainage {island.from_m:.1f} m, {island.length_m:.1f} m of wire; the machine "
            "driven at it from both sides turns before it; it drives over the lead unhindered.",
            "turned yes/no, least distance to the island in m",
        )


def _edges(layout: Layout) -> Iterator[Item]:
    for stretch in dangerous_stretches(layout):
        spans = ", ".join(f"{first:.1f} to {last:.1f} m" for first, last in stretch.spans_m)
        known = not np.isnan(stretch.nearest_m)
        nearest = f", planned {stretch.nearest_m:.2f} m off or more" if known else ""
        yield Item(
            f"Edge by {_DANGER[stretch.kind]} walked",
            f"{stretch.length_m:.1f} m at chainage {spans}{nearest}: distance measured; the "
            "machine watched along it until it has turned there, best once on wet grass too.",
            "least distance in m, turned in time yes/no",
        )


_DANGER = {
    "water": "water",
    "drop": "a fall",
    "too_steep": "ground too steep to mow",
    "cross_fall": "ground that falls away",
}


def _passages(job: Job) -> Iterator[Item]:
    """Yield the narrow places that the machine drives through, and the crossings."""
    for number, passage in enumerate(
        (each for each in job.ground.passages if each.verdict != "closed"), start=1
    ):
        loop = _loop_of(passage, job)
        near = _near(passage, loop, job)
        yield Item(
            f"Passage {number} driven",
            f"{passage.width_m:.2f} m wide, {passage.length_m:.1f} m long{near}: the "
            "machine sent home from beyond it comes through, and finds its way in again.",
            "width between wires in m, came through yes/no",
            loop,
        )
    strips = len(job.ground.wire_ground.crossings)
    if strips:
        yield Item(
            "Crossings driven",
            f"{counted(strips, 'strip')} between lawns: level with grass, driven over both ways.",
            "came over yes/no",
        )


def _loop_of(passage: Passage, job: Job) -> int:
    """Return the one loop that a passage lies in, or `WHOLE_SITE`."""
    loops = {
        part.loop
        for part in job.ground.parts
        if shapely.dwithin(part.area, passage.area, _BESIDE_M)
    }
    return loops.pop() if len(loops) == 1 else WHOLE_SITE


def _near(passage: Passage, loop: int, job: Job) -> str:
    """Return where along the wire a passage is found."""
    middle = passage.axis.interpolate(0.5, normalized=True)
    for layout in job.layouts:
        if layout.loop == loop:
            wire = layout.perimeter.line
            return f", near chainage {shapely.line_locate_point(wire, middle):.0f} m"
    return ""


def _words(kind: str) -> str:
    return kind.replace("_", " ")


def _return_lines(numbers: list[int]) -> str:
    if len(numbers) == 1:
        return f"return line {numbers[0]}"
    *most, last = map(str, numbers)
    return f"return lines {', '.join(most)} and {last}"
