"""The same wire with another machine class: whether it fits, and what a client may add."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from lawnplat.geometry import union
from lawnplat.settings.types import MachineClass
from lawnplat.terrain.gradient import slope_pct
from lawnplat.works.cable import cable_findings, cable_material, cable_runs
from lawnplat.works.job import Job
from lawnplat.works.types import Alternative

AS_PLANNED = "as planned"
_LEAST_STEEP_M2 = 1.0
"""Less ground over a slope limit is a bump in the raster, no reason."""


def alternatives_of(job: Job) -> tuple[Alternative, ...]:
    """Return the options of a quote: as planned, with hand trimming, next class up and down.

    The next classes are those of the job's terms by daily capacity. Each is held against the plan
    as it is: a plan of its own may suit it better.
    """
    planned = job.machine
    found = [_alternative(job, planned, AS_PLANNED)]
    if any(each.area.area > 0 for each in job.ground.hand_trim):
        with_trimming = f"{AS_PLANNED}, hand trimming"
        found.append(_alternative(job, planned, with_trimming, hand_trimming=True))
    up, down = _next_classes(job)
    if up is not None:
        found.append(_alternative(job, up, "next class up"))
    if down is not None:
        found.append(_alternative(job, down, "next class down"))
    return tuple(found)


def _next_classes(job: Job) -> tuple[MachineClass | None, MachineClass | None]:
    planned = job.machine
    others = sorted(
        (each for each in job.terms.classes if each.name != planned.name),
        key=lambda each: (each.capacity_m2, each.name),
    )
    up = next((each for each in others if each.capacity_m2 > planned.capacity_m2), None)
    down = next(
        (each for each in reversed(others) if each.capacity_m2 < planned.capacity_m2), None
    )
    return up, down


def _alternative(
    job: Job, machine: MachineClass, option: str, *, hand_trimming: bool = False
) -> Alternative:
    runs = cable_runs(job.layouts, machine, job.rules.cable)
    cable = cable_material(runs, machine)
    against: list[str] = []
    if machine.name != job.machine.name:
        against = [*_against(job, machine)]
        if cable_findings(runs, machine):
            against.append("its cable loses too much voltage in every size")
    said = "; ".join(against)
    if not said and machine.name != job.machine.name:
        said = f"wire as planned for class {job.machine.name}"
    return Alternative(
        option=option,
        machine_class=machine.name,
        fits=not against,
        reasons=said,
        hand_trimming=hand_trimming,
        cable_m=cable.quantity,
        cable_size=cable.size,
        cable_supplied_m=cable.supplied,
    )


def _against(job: Job, machine: MachineClass) -> Iterator[str]:
    """Yield what speaks against a class on the plan as it is."""
    yield from _size_against(job, machine)
    yield from _slopes_against(job, machine)
    narrow = [
        each.width_m
        for each in job.ground.passages
        if each.verdict != "closed" and each.width_m < machine.smallest_passage_m
    ]
    if narrow:
        yield (
            f"a passage is {min(narrow):.2f} m wide, it needs {machine.smallest_passage_m:.2f} m"
        )


def _size_against(job: Job, machine: MachineClass) -> Iterator[str]:
    mown: dict[int, float] = {}
    for part in job.ground.parts:
        mown[part.loop] = mown.get(part.loop, 0.0) + part.area.area
    largest_m2 = max(mown.values(), default=0.0)
    if largest_m2 > machine.capacity_m2:
        yield f"mows {machine.capacity_m2:.0f} m2 a day, {largest_m2:.0f} m2 are to be mown"
    longest_m = max(layout.perimeter.line.length for layout in job.layouts)
    if longest_m > machine.longest_wire_m:
        yield f"takes {machine.longest_wire_m:.0f} m of wire, {longest_m:.0f} m are planned"
    lines = max(len(layout.return_lines) for layout in job.layouts)
    if lines > machine.return_lines:
        yield f"takes {machine.return_lines} return line(s), {lines} are planned"


def _slopes_against(job: Job, machine: MachineClass) -> Iterator[str]:
    steep_m2 = _steeper_m2(job, machine.slope_lawn_pct)
    if steep_m2 > _LEAST_STEEP_M2:
        yield f"climbs {machine.slope_lawn_pct:.0f} %, {steep_m2:.0f} m2 of the ground are steeper"
    steepest = max(
        (line.steepest_pct for layout in job.layouts for line in layout.return_lines), default=0.0
    )
    if steepest > machine.slope_return_pct + job.rules.return_line.over_limit_pct:
        yield f"comes home on {machine.slope_return_pct:.0f} %, a return line has {steepest:.0f} %"
    falls = [
        section.cross_fall_pct
        for layout in job.layouts
        for section in layout.perimeter.sections
        if np.isfinite(section.cross_fall_pct)
    ]
    worst = max(falls, default=0.0)
    if worst > machine.slope_edge_pct:
        yield f"holds {machine.slope_edge_pct:.0f} % across an edge, the wire has {worst:.0f} %"


def _steeper_m2(job: Job, limit_pct: float) -> float:
    """Return how much of the mown ground is steeper than a limit, by the cells of the terrain."""
    grid = job.terrain.grid
    steep = slope_pct(job.terrain.dz_dx, job.terrain.dz_dy) > limit_pct
    if not steep.any():
        return 0.0
    x, y = grid.centres()
    rows, columns = np.nonzero(steep)
    mown = union(part.area for part in job.ground.parts)
    shapely.prepare(mown)
    inside = shapely.contains_xy(mown, x[columns], y[rows])
    return float(inside.sum()) * grid.cell_m**2
