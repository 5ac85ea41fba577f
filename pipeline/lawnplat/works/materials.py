"""The materials list: every quantity with the sum behind it in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.wire.joints import PERIMETER
from lawnplat.wire.types import Layout
from lawnplat.works.cable import cable_material, cable_runs
from lawnplat.works.spools import spools_of
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
    cable = cable_material(cable_runs(layouts, machine, rules.cable), machine)
    perimeter = _wire("perimeter wire", laid.perimeter_m, 2 * laid.loops, laid, rules)
    back = _wire("return line wire", laid.return_m, 2 * laid.lines, laid, rules)
    return (
        Material("charging station", laid.loops, "piece", _stations(laid, machine)),
        Material("station fixings", laid.loops, "set", _fixings(laid)),
        cable,
        perimeter,
        back,
        spools_of(layouts, perimeter.quantity + back.quantity, rules),
        _pegs(pegs, laid, rules),
        *_joint_parts(layouts, laid),
        _end_markers(laid),
        _chainage_markers(layouts, rules),
        *_consumables(layouts, cable, rules),
    )


def _fixings(laid: _Laid) -> str:
    one = "screws or spikes that hold the base"
    return one if laid.loops == 1 else f"{one}, for each of {laid.loops} loops"


def _end_markers(laid: _Laid) -> Material:
    perimeters = "the perimeter" if laid.loops == 1 else f"{laid.loops} perimeters"
    return Material(
        "wire end markers",
        2 * laid.loops + 2 * laid.lines,
        "piece",
        f"2 ends of {perimeters} + 2 ends of {laid.lines} return line(s)",
    )


def _chainage_markers(layouts: Sequence[Layout], rules: RuleBook) -> Material:
    """Return the markers that tell the chainage along every wire, none at its ends."""
    step_m = rules.wire.chainage_marker_m
    wires = [layout.perimeter.line for layout in layouts]
    wires += [line.line for layout in layouts for line in layout.return_lines]
    # A mark at a wire's very end would say what its end marker says.
    count = sum(max(ceil(round(wire.length / step_m, 6)) - 1, 0) for wire in wires)
    return Material(
        "chainage markers", count, "piece", f"1 at every {step_m:g} m of each of {len(wires)} wires"
    )


def _consumables(
    layouts: Sequence[Layout], cable: Material, rules: RuleBook
) -> tuple[Material, ...]:
    sealed = sum(
        joint.joint in {"three_way", "splice"} for layout in layouts for joint in layout.joints
    )
    each = rules.consumables
    ties = ceil(round(cable.quantity / each.tie_spacing_m, 6))
    return (
        Material(
            "joint sealant",
            ceil(sealed / each.joints_a_sealant),
            "tube",
            f"{sealed} sealed joints, {each.joints_a_sealant:g} to a tube",
        ),
        Material(
            "cable ties",
            ceil(ties / each.ties_a_pack),
            "pack",
            f"1 at every {each.tie_spacing_m:g} m of {cable.quantity:.0f} m of cable: {ties}, "
            f"{each.ties_a_pack} to a pack",
        ),
    )


def _stations(laid: _Laid, machine: MachineClass) -> str:
    one = f"one of class {machine.name}, sold with the machine"
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
