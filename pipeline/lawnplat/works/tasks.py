"""The work to do on a site, counted before prices: how much of what."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import isnan

import shapely

from lawnplat.geometry import union
from lawnplat.wire.types import Layout, WireSection
from lawnplat.works.cable import LOW_VOLTAGE_CABLE
from lawnplat.works.job import Job
from lawnplat.works.types import Material, Peg, Task

LAY_WIRE = "lay_wire"
"""By hand or by machine, as the price book says: priced as `LAID_BY` has it."""
LAID_BY = {"hand": "peg_wire", "machine": "slit_wire"}
_PAVED = ("path", "paving_flush")
_NEXT_M = 1e-6
"""Sections that follow one another meet within this."""


def tasks_of(job: Job, pegs: Sequence[Peg], materials: Sequence[Material]) -> tuple[Task, ...]:
    """Return every task of one site in the order of work, but travel, which prices decide.

    Parameters
    ----------
    job : Job
    pegs, materials : sequence
        As counted for the same job.

    Returns
    -------
    tuple of Task
        Tasks with nothing to do are left out.
    """
    return tuple(task for task in _tasks(job, pegs, materials) if task.quantity > 0)


def _tasks(job: Job, pegs: Sequence[Peg], materials: Sequence[Material]) -> Iterator[Task]:
    layouts = job.layouts
    wires_m, pairs_m = _laid_m(layouts), _pair_m(layouts)
    lines = sum(len(layout.return_lines) for layout in layouts)
    yield Task("survey", 1, "visit", "the site is walked and the survey checked against it")
    yield from _outlets(layouts)
    yield Task("set_station", len(layouts), "piece", "base set level and fixed, one a loop")
    yield Task(
        "set_out", _tenth(wires_m - pairs_m), "m",
        f"{wires_m:.1f} m of wire - {pairs_m:.1f} m that run beside their pair",
    )  # fmt: skip
    told = f"{wires_m:.1f} m of wire, on {len(pegs)} pegs where by hand"
    yield Task(LAY_WIRE, _tenth(wires_m), "m", told)
    islands = sum(_leads(layout.perimeter.sections) for layout in layouts)
    yield Task("lay_island", islands, "piece", "islands and carried parts, each on its own lead")
    yield _paving(job)
    yield from _joints_and_cable(layouts, materials)
    yield Task("set_up_machine", len(layouts), "piece", "machine set up and tried, one a loop")
    yield Task("test_line", lines, "piece", "parking test, one a return line")
    yield Task("hand_over", 1, "visit", "client shown, as-laid plan and settings handed over")


def _joints_and_cable(layouts: Sequence[Layout], materials: Sequence[Material]) -> Iterator[Task]:
    joints = sum(len(layout.joints) for layout in layouts)
    cable_m = sum(each.quantity for each in materials if each.item == LOW_VOLTAGE_CABLE)
    yield Task("make_joint", joints, "piece", "terminals, three-way joints and splices")
    yield Task("lay_cable", cable_m, "m", "low-voltage cable, as in the materials")


def _outlets(layouts: Sequence[Layout]) -> Iterator[Task]:
    """Yield the electrician's part: outlets to fit where none is in reach, the others checked."""
    without = sum(isnan(layout.station.outlet_distance_m) for layout in layouts)
    yield Task(
        "fit_outlet", without, "piece",
        "no outlet in reach in the survey: fitted by a licensed electrician, with residual-current "
        "protection, to the local code; parts of the circuit not included",
    )  # fmt: skip
    yield Task(
        "check_outlet", len(layouts) - without, "piece",
        "outlet and its residual-current protection checked by a licensed electrician",
    )  # fmt: skip


def _paving(job: Job) -> Task:
    """Return the metres of paving to lift or cut: under wires, a pair once, and under the cable."""
    paved = union(each.geometry for each in job.site.features if each.kind in _PAVED)
    lines = [each.line for layout in job.layouts for each in layout.return_lines]
    lines += [
        section.line
        for layout in job.layouts
        for section in layout.perimeter.sections
        if section.section != "lead_back"
    ]
    wire_m = float(sum(shapely.length(shapely.intersection(line, paved)) for line in lines))
    cable_m = float(sum(layout.station.cable_paved_m for layout in job.layouts))
    basis = f"{wire_m:.1f} m under wires + {cable_m:.1f} m under the cable, in paths and paving"
    return Task("cut_paving", _tenth(wire_m + cable_m), "m", basis)


def _laid_m(layouts: Sequence[Layout]) -> float:
    lines = [each.line for layout in layouts for each in layout.return_lines]
    return float(sum(line.length for line in [*(x.perimeter.line for x in layouts), *lines]))


def _pair_m(layouts: Sequence[Layout]) -> float:
    """Return the metres of wire on the way back along leads."""
    sections = [section for layout in layouts for section in layout.perimeter.sections]
    return sum(each.to_m - each.from_m for each in sections if each.section == "lead_back")


def _leads(sections: Sequence[WireSection]) -> int:
    """Return how many leads the conductor goes out on: runs of sections that follow one another."""
    out = [section for section in sections if section.section == "lead_out"]
    breaks = sum(after.from_m - before.to_m > _NEXT_M for before, after in pairwise(out))
    return breaks + bool(out)


def _tenth(length_m: float) -> float:
    return round(length_m, 1)
