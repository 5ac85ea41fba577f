"""How long a machine takes to cut an area once."""

from __future__ import annotations

from lawnplat.works.job import Job


def cut_hours(job: Job, area_m2: float) -> float:
    """Return the hours by the clock of one cut of an area, charging included.

    Parameters
    ----------
    job : Job
        Its machine's rate counts ground once, or the rules' ``work_efficiency_share`` of it does.
    area_m2 : float
    """
    machine = job.machine
    mowing_h = area_m2 / (machine.rate_m2_h * job.rules.programme.work_efficiency_share)
    return mowing_h * (machine.run_min + machine.charge_min) / machine.run_min


def largest_area_m2(job: Job) -> float:
    """Return the largest area that one machine drives over by itself: one loop's, none carried."""
    by_loop: dict[int, float] = {}
    for part in job.ground.parts:
        if part.role != "carried":
            by_loop[part.loop] = by_loop.get(part.loop, 0.0) + part.area.area
    return max(by_loop.values(), default=0.0)
