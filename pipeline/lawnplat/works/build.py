"""The works room: what is counted from the layout."""

from __future__ import annotations

from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.wire.types import Layout
from lawnplat.works.materials import materials_of
from lawnplat.works.pegs import pegs_of
from lawnplat.works.types import Works


def build_works(layout: Layout, machine: MachineClass, rules: RuleBook) -> Works:
    """Count pegs and materials of one layout."""
    pegs = pegs_of(layout, rules)
    return Works(pegs=pegs, materials=materials_of(layout, pegs, machine, rules))
