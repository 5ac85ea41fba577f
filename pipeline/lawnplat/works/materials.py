"""The materials list: every quantity with the sum behind it in words."""

from __future__ import annotations

from math import ceil

import numpy as np

from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.wire.joints import PERIMETER
from lawnplat.wire.types import Layout
from lawnplat.works.types import Material, Peg


def materials_of(
    layout: Layout, pegs: tuple[Peg, ...], machine: MachineClass, rules: RuleBook
) -> tuple[Material, ...]:
    """Return what has to be taken to the site, in the order in which it is used."""
    perimeter_m = layout.perimeter.line.length
    return_m = sum(line.line.length for line in layout.return_lines)
    lines = len(layout.return_lines)
    return (
        Material("charging station", 1, "piece", f"one of class {machine.name}, with its fixings"),
        _cable(layout, machine),
        _wire("perimeter wire", perimeter_m, 2, rules),
        _wire("return line wire", return_m, 2 * lines, rules),
        _pegs(pegs, rules),
        *_joint_parts(layout),
        Material(
            "wire end markers",
            2 + 2 * lines,
            "piece",
            f"2 ends of the perimeter + 2 ends of {lines} return line(s)",
        ),
    )


def _wire(item: str, laid_m: float, ends: int, rules: RuleBook) -> Material:
    """Return wire for ``laid_m``, spare at each end, waste on the whole, up to the decimetre."""
    spare = rules.wire.spare_end_m
    whole = (laid_m + ends * spare) * (1 + rules.wire.waste_share) if laid_m else 0.0
    basis = (
        f"{laid_m:.1f} m laid + {ends} x {spare:.2f} m spare at the ends "
        f"+ {100 * rules.wire.waste_share:.0f} % waste"
    )
    return Material(item, ceil(round(whole * 10, 6)) / 10, "m", basis)


def _pegs(pegs: tuple[Peg, ...], rules: RuleBook) -> Material:
    on_perimeter = sum(peg.on == PERIMETER for peg in pegs)
    share = rules.pegs.spare_share
    basis = (
        f"{on_perimeter} on the perimeter (pairs share theirs) + {len(pegs) - on_perimeter} on the "
        f"return line + {100 * share:.0f} % spare"
    )
    return Material("pegs", ceil(round(len(pegs) * (1 + share), 6)), "piece", basis)


def _joint_parts(layout: Layout) -> tuple[Material, ...]:
    count = {
        kind: sum(joint.joint == kind for joint in layout.joints)
        for kind in ("terminal", "three_way", "splice")
    }
    return (
        Material(
            "terminal connectors",
            count["terminal"],
            "piece",
            "2 on the perimeter + 1 on each return line",
        ),
        Material(
            "three-way joints",
            count["three_way"],
            "piece",
            "1 sealed joint where each return line meets the perimeter",
        ),
        Material("wire splices", count["splice"], "piece", "1 sealed joint where a spool ends"),
    )


def _cable(layout: Layout, machine: MachineClass) -> Material:
    distance = layout.station.outlet_distance_m
    supplied = machine.cable_supplied_m
    if np.isnan(distance):
        basis = f"no outlet known: {supplied:.1f} m as supplied, to be settled on site"
        return Material("low-voltage cable", supplied, "m", basis)
    basis = f"{distance:.1f} m from outlet to station round the lawn; {supplied:.1f} m supplied"
    return Material("low-voltage cable", max(ceil(distance), supplied), "m", basis)
