"""How many loops a site takes: one where a machine can do for all, else a loop a working area."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.errors import NotPlannable
from lawnplat.geometry import grow, inside_point, union
from lawnplat.ground.build import settled
from lawnplat.ground.types import Ground
from lawnplat.ground.working_areas import WorkingAreas, loops_needed, merged, mown_m2, split
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Finding, Site
from lawnplat.terrain.types import Terrain
from lawnplat.wire.build import Laid, build_layout
from lawnplat.wire.loops import numbered_through
from lawnplat.wire.types import Layout

_MORE_LOOPS = 3
"""Further loops tried beyond the least number, before the lawn is left to a single one."""
_OFF_LAWN_M = 0.02


@dataclass(frozen=True)
class LaidLoops:
    """What is laid on a site, the ground as the wires make it, and what has to be said of both."""

    ground: Ground
    layouts: tuple[Layout, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class _Job:
    site: Site
    terrain: Terrain
    machine: MachineClass
    rules: RuleBook

    def lay(self, ground: Ground) -> Laid:
        return build_layout(self.site, ground, self.terrain, self.machine, self.rules)

    def settle(self, laid: Laid) -> Ground:
        return settled(laid.ground, laid.layout.station.point, laid.unreached, self.rules)


def lay_loops(
    site: Site, ground: Ground, terrain: Terrain, machine: MachineClass, rules: RuleBook
) -> LaidLoops:
    """Lay one loop, or split the lawn into working areas and lay one in each.

    Where the lawn asks for more than one and no split gives every area its machine and a place for
    its station, a single loop is laid, and advisories say what it passes.

    Raises
    ------
    NotPlannable
        Where there is no room for a station, or nothing to mow.
    """
    job = _Job(site, terrain, machine, rules)
    needed = loops_needed(ground, machine)
    if needed > 1:
        several = _several(job, ground, needed)
        return several if several is not None else _single(job, job.lay(ground))
    laid = job.lay(ground)
    if laid.layout.perimeter.line.length > machine.longest_wire_m:
        several = _several(job, ground, needed + 1)
        if several is not None:
            return several
    return _single(job, laid)


def _single(job: _Job, laid: Laid) -> LaidLoops:
    ground = job.settle(laid)
    return LaidLoops(ground, (laid.layout,), _over_capacity(ground, laid.layout, job.machine))


def _several(job: _Job, ground: Ground, needed: int) -> LaidLoops | None:
    """Return the split with the fewest loops in which every area can be laid; None for none."""
    for loops in range(needed, needed + _MORE_LOOPS):
        areas = split(
            job.site, ground, job.terrain, job.machine, job.rules, loops=loops
        )
        laid = _lay_each(job, areas) if areas is not None else None
        if areas is None or laid is None:
            continue
        grounds = [job.settle(each) for each in laid]
        whole = merged(ground, grounds, job.rules)
        layouts = numbered_through(each.layout for each in laid)
        return LaidLoops(whole, layouts, (_told(job, ground, areas, layouts),))
    return None


def _lay_each(job: _Job, areas: WorkingAreas) -> list[Laid] | None:
    """Return what is laid in each area, or None where one cannot be laid or takes too much wire."""
    done: list[Laid] = []
    strung: list[BaseGeometry] = []
    for area in areas.grounds:
        others = union([area.wire_ground.others, *strung])
        here = replace(area, wire_ground=replace(area.wire_ground, others=others))
        try:
            laid = job.lay(here)
        except NotPlannable:
            return None
        too_long = laid.layout.perimeter.line.length > job.machine.longest_wire_m
        if too_long or any(finding.severity == "stop" for finding in laid.layout.findings):
            return None
        done.append(laid)
        strung.extend(_leads_outside(laid.layout, area))
    return done


def _leads_outside(layout: Layout, area: Ground) -> list[BaseGeometry]:
    """Return the wire pairs that run outside the lawn, as ground that other loops stay off."""
    lawn = grow(union(area.wire_ground.pieces), _OFF_LAWN_M)
    leads = union(
        each.line for each in layout.perimeter.sections if each.section.startswith("lead")
    )
    outside = shapely.difference(leads, lawn)
    return [] if outside.is_empty else [grow(outside, _OFF_LAWN_M)]


def _over_capacity(
    ground: Ground, layout: Layout, machine: MachineClass
) -> tuple[Finding, ...]:
    area_m2 = mown_m2(ground)
    if area_m2 <= machine.capacity_m2:
        return ()
    return (
        Finding(
            rule="capacity",
            severity="warn",
            text=(
                f"{area_m2:.0f} m2 to mow, over the {machine.capacity_m2:.0f} m2 of a "
                f"{machine.name} machine: a larger class or a second machine is needed"
            ),
            place=layout.station.point,
            measured=round(area_m2, 1),
            limit=machine.capacity_m2,
        ),
    )


def _told(
    job: _Job, ground: Ground, areas: WorkingAreas, layouts: Sequence[Layout]
) -> Finding:
    """Say what was split, why, and what follows from it."""
    machine, rules = job.machine, job.rules
    sizes = ", ".join(f"{mown_m2(area):.0f}" for area in areas.grounds)
    wires = ", ".join(f"{layout.perimeter.line.length:.0f}" for layout in layouts)
    lawn = union(ground.wire_ground.pieces)
    seam_m = sum(shapely.intersection(lawn, seam).length for seam in areas.seams)
    cut = f"{len(areas.seams)} seam(s), {seam_m:.0f} m in all" if areas.seams else "no seam"
    area_m2 = mown_m2(ground)
    place = areas.seams[0].interpolate(0.5, normalized=True) if areas.seams else inside_point(lawn)
    return Finding(
        rule="working_areas",
        severity="note",
        text=(
            f"{area_m2:.0f} m2 of lawn are split into {len(layouts)} working areas of {sizes} m2 "
            f"with {wires} m of perimeter wire: one {machine.name} machine takes "
            f"{machine.capacity_m2:.0f} m2 and {machine.longest_wire_m:.0f} m; each needs its own "
            f"machine and station; {cut}, loops {rules.wire.loops_apart_m:.2f} m apart, the strip "
            "between them trimmed by hand"
        ),
        place=place,
        measured=round(area_m2, 1),
        limit=machine.capacity_m2,
    )
