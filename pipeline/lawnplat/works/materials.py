"""The materials list: every quantity with the sum behind it in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.wire.joints import PERIMETER
from lawnplat.wire.types import Layout
from lawnplat.works.types import Material, Peg


@dataclass(frozen=True)
class _Laid:
    """What is laid on a site, summed over its loops."""

    loops: int
    perimeter_m: float
    return_m: float
    lines: int

    @property
    def told(self) -> str:
        """What a basis adds where its sum runs over several loops."""
        return "" if self.loops == 1 else f", over {self.loops} loops"


def materials_of(
    layouts: Sequence[Layout], pegs: Sequence[Peg], machine: MachineClass, rules: RuleBook
) -> tuple[Material, ...]:
    """Return what has to be taken to the site for all its loops, in the order of use."""
    lines = [line.line for layout in layouts for line in layout.return_lines]
    laid = _Laid(
        loops=len(layouts),
        perimeter_m=sum(layout.perimeter.line.length for layout in layouts),
        return_m=sum(line.length for line in lines),
        lines=len(lines),
    )
    return (
        Material("charging station", laid.loops, "piece", _stations(laid, machine)),
        _cable(layouts, machine),
        _wire("perimeter wire", laid.perimeter_m, 2 * laid.loops, laid, rules),
        _wire("return line wire", laid.return_m, 2 * laid.lines, laid, rules),
        _pegs(pegs, laid, rules),
        *_joint_parts(layouts, laid),
        Material(
            "wire end markers",
            2 * laid.loops + 2 * laid.lines,
            "piece",
            f"2 ends of the perimeter + 2 ends of {laid.lines} return line(s)"
            if laid.loops == 1
            else f"2 ends of {laid.loops} perimeters + 2 ends of {laid.lines} return line(s)",
        ),
    )


def _stations(laid: _Laid, machine: MachineClass) -> str:
    one = f"one of class {machine.name}, with its fixings"
    return one if laid.loops == 1 else f"{one}, for each of {laid.loops} loops"


def _wire(item: str, laid_m: float, ends: int, laid: _Laid, rules: RuleBook) -> Material:
    """Return wire for ``laid_m``, spare at each end, waste on the whole, up to the decimetre."""
    spare = rules.wire.spare_end_m
    whole = (laid_m + ends * spare) * (1 + rules.wire.waste_share) if laid_m else 0.0
    basis = (
        f"{laid_m:.1f} m laid + {ends} x {spare:.2f} m spare at the ends "
        f"+ {100 * rules.wire.waste_share:.0f} % waste{laid.told}"
    )
    return Material(item, ceil(round(whole * 10, 6)) / 10, "m", basis)


def _pegs(pegs: Sequence[Peg], laid: _Laid, rules: RuleBook) -> Material:
    on_perimeter = sum(peg.on.startswith(PERIMETER) for peg in pegs)
    share = rules.pegs.spare_share
    basis = (
        f"{on_perimeter} on the perimeter (pairs share theirs) + {len(pegs) - on_perimeter} on the "
        f"return line + {100 * share:.0f} % spare{laid.told}"
    )
    return Material("pegs", ceil(round(len(pegs) * (1 + share), 6)), "piece", basis)


def _joint_parts(layouts: Sequence[Layout], laid: _Laid) -> tuple[Material, ...]:
    count = {
        kind: sum(joint.joint == kind for layout in layouts for joint in layout.joints)
        for kind in ("terminal", "three_way", "splice")
    }
    return (
        Material(
            "terminal connectors",
            count["terminal"],
            "piece",
            f"2 on the perimeter + 1 on each return line{laid.told}",
        ),
        Material(
            "three-way joints",
            count["three_way"],
            "piece",
            "1 sealed joint where each return line meets the perimeter",
        ),
        Material("wire splices", count["splice"], "piece", "1 sealed joint where a spool ends"),
    )


def _cable(layouts: Sequence[Layout], machine: MachineClass) -> Material:
    """Return the low-voltage cable: for each loop what is needed, at least what is supplied."""
    runs = [_run(layout, machine) for layout in layouts]
    basis = runs[0][1]
    if len(runs) > 1:
        told = (f"loop {layout.loop}: {run[1]}" for layout, run in zip(layouts, runs, strict=True))
        basis = "; ".join(told)
    return Material("low-voltage cable", sum(run[0] for run in runs), "m", basis)


def _run(layout: Layout, machine: MachineClass) -> tuple[float, str]:
    distance = layout.station.outlet_distance_m
    supplied = machine.cable_supplied_m
    if np.isnan(distance):
        return supplied, f"no outlet known: {supplied:.1f} m as supplied, to be settled on site"
    paved_m = layout.station.cable_paved_m
    under = f", {paved_m:.1f} m of it under paths or paving" if paved_m > 0 else ""
    basis = f"{distance:.1f} m of cable_route, round the lawn{under}; {supplied:.1f} m supplied"
    return max(ceil(distance), supplied), basis
