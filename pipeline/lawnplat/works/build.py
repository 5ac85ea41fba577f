"""The works room: what is counted from the layout."""

from __future__ import annotations

from collections.abc import Sequence

from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.wire.types import Layout
from lawnplat.works.job import Job
from lawnplat.works.materials import materials_of
from lawnplat.works.pegs import pegs_of
from lawnplat.works.priced import with_quote
from lawnplat.works.types import Peg, Works


def build_works(layouts: Sequence[Layout], machine: MachineClass, rules: RuleBook) -> Works:
    """Count pegs and materials of all loops of one site."""
    pegs: list[Peg] = []
    for layout in layouts:
        pegs.extend(pegs_of(layout, rules, first_number=len(pegs) + 1))
    return Works(pegs=tuple(pegs), materials=materials_of(layouts, tuple(pegs), machine, rules))


def work_order(job: Job) -> Works:
    """Work out all that a crew and a client are handed for one site."""
    counted = build_works(job.layouts, job.machine, job.rules)
    return with_quote(job, counted)
