"""Checks of loops as wholes: apart from one another, each within what its machine takes."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from lawnplat.proving.breach import breach
from lawnplat.proving.clearance import too_near
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.laid_wires import perimeters
from lawnplat.proving.tolerances import ARC_M, CM, MM, SPECK_M2
from lawnplat.survey.types import Finding


def loops_apart(evidence: Evidence) -> Iterator[Finding]:
    """Yield two loops whose wires cross, or come nearer than ``wire.loops_apart_m``."""
    apart_m = evidence.rules.wire.loops_apart_m
    # Chords of arcs, and the drawing's own tolerance, may come nearer.
    least_m = apart_m - CM - ARC_M
    for one, other in combinations(evidence.loops, 2):
        if len(one.segments) == 0 or other.wire.is_empty:
            continue
        found = too_near(one.segments, one.tree, other.wire, least_m)
        if found is None:
            continue
        words = "meet or cross" if found.nearest_m == 0 else f"come within {found.nearest_m:.2f} m"
        text = (
            f"the wires of loops {one.number} and {other.number} {words}, {apart_m:.2f} m wanted, "
            f"over about {found.length_m:.1f} m: move them apart, or they disturb each other"
        )
        yield breach(
            evidence, "loops_apart", text, found.place, measured=found.nearest_m, limit=apart_m
        )


def wire_length(evidence: Evidence) -> Iterator[Finding]:
    """Yield a loop whose wire is longer than its machine takes; a note where only its spare is."""
    longest_m = evidence.machine.longest_wire_m
    spare_m = 2 * evidence.rules.wire.spare_end_m
    for wire in perimeters(evidence.plan):
        if wire.length_m + spare_m <= longest_m + MM:
            continue
        over = wire.length_m > longest_m + MM
        told_m = wire.length_m if over else wire.length_m + spare_m
        besides = "" if over else f" with {spare_m:.1f} m of spare at its ends"
        text = (
            f"{wire.words} takes {told_m:.1f} m of wire{besides}, a {evidence.machine.name} "
            f"machine {longest_m:.0f} m: "
            + ("take a larger class, or another loop" if over else "cut the spare short")
        )
        yield breach(
            evidence, "wire_length", text, wire.place(0.0), measured=told_m, limit=longest_m,
            severity="" if over else "note",
        )  # fmt: skip


def capacity(evidence: Evidence) -> Iterator[Finding]:
    """Yield a loop whose lawn is larger than its machine mows."""
    most_m2 = evidence.machine.capacity_m2
    for loop in evidence.loops:
        mown_m2 = float(np.sum([part.area for part in loop.plan.shapes("mowable")]))
        if mown_m2 > most_m2 + SPECK_M2:
            text = (
                f"{mown_m2:.0f} m2 are to be mown in loop {loop.number}, a "
                f"{evidence.machine.name} machine mows {most_m2:.0f} m2: take a larger class, or "
                "another loop"
            )
            yield breach(evidence, "capacity", text, loop.station, measured=mown_m2, limit=most_m2)
