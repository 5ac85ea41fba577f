"""The works room: what is counted from the layout."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.wire.types import Layout
from lawnplat.works.commissioning import commissioning_of
from lawnplat.works.job import Job
from lawnplat.works.materials import materials_of
from lawnplat.works.pegs import pegs_of
from lawnplat.works.priced import with_quote
from lawnplat.works.programme import programme_findings, programme_of
from lawnplat.works.setting_out import setting_out
from lawnplat.works.types import Peg, Works


def build_works(layouts: Sequence[Layout], machine: MachineClass, rules: RuleBook) -> Works:
    """Count pegs and materials of all loops of one site."""
    pegs: list[Peg] = []
    for layout in layouts:
        pegs.extend(pegs_of(layout, rules, first_number=len(pegs) + 1))
    return Works(pegs=tuple(pegs), materials=materials_of(layouts, tuple(pegs), machine, rules))


def work_order(job: Job) -> Works:
    """Work out all that a crew and a client are handed for one site."""
    programme = programme_of(job)
    out = setting_out(job)
    counted = replace(
        build_works(job.layouts, job.machine, job.rules),
        fixed_points=out.fixed_points,
        marks=out.marks,
        programme=programme,
        commissioning=commissioning_of(job, programme),
        findings=(*out.findings, *programme_findings(programme)),
    )
    return with_quote(job, counted)
