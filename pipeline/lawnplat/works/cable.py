"""The low-voltage cable from outlet to station: how much, of what size, and what it loses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, isnan

from lawnplat.settings.types import CableRules, MachineClass
from lawnplat.survey.types import Finding
from lawnplat.wire.types import Layout
from lawnplat.works.types import Material
from lawnplat.works.voltage_drop import smallest_size

LOW_VOLTAGE_CABLE = "low-voltage cable"


@dataclass(frozen=True)
class CableRun:
    """The cable of one loop. ``needed_m`` is NaN where no outlet is known or can be reached."""

    layout: Layout
    needed_m: float
    length_m: float
    """What is taken to the site: in one length, since no joint belongs in the ground."""
    supplied: bool
    """Whether the cable that comes with the machine reaches."""
    size_mm2: float
    drop_v: float


def cable_runs(
    layouts: Sequence[Layout], machine: MachineClass, cable: CableRules
) -> tuple[CableRun, ...]:
    """Return the cable of every loop, with the smallest conductor that keeps the machine's drop."""
    return tuple(_run(layout, machine, cable) for layout in layouts)


def _run(layout: Layout, machine: MachineClass, cable: CableRules) -> CableRun:
    needed_m = layout.station.outlet_distance_m
    supplied = isnan(needed_m) or needed_m <= machine.cable_supplied_m
    length_m = machine.cable_supplied_m if supplied else float(ceil(needed_m))
    size_mm2, drop_v = smallest_size(length_m, machine.supply_a, machine.largest_drop_v, cable)
    return CableRun(layout, needed_m, length_m, supplied, size_mm2, drop_v)


def cable_material(runs: Sequence[CableRun], machine: MachineClass) -> Material:
    """Return the line of the materials list: all loops' cable, of the size that suits them all."""
    told = [_basis(run, machine) for run in runs]
    if len(runs) > 1:
        told = [f"loop {run.layout.loop}: {text}" for run, text in zip(runs, told, strict=True)]
    return Material(
        LOW_VOLTAGE_CABLE,
        sum(run.length_m for run in runs),
        "m",
        "; ".join(told),
        size=size_words(max(run.size_mm2 for run in runs)),
        supplied=sum(run.length_m for run in runs if run.supplied),
    )


def size_words(size_mm2: float) -> str:
    """Return a two-core cable's size as price books and labels have it: ``2 x 1.5 mm2``."""
    return f"2 x {size_mm2} mm2"


def _basis(run: CableRun, machine: MachineClass) -> str:
    if isnan(run.needed_m):
        return f"no outlet known: {run.length_m:.1f} m as supplied, to be settled on site"
    paved_m = run.layout.station.cable_paved_m
    under = f", {paved_m:.1f} m of it under paths or paving" if paved_m > 0 else ""
    reach = "supplied"
    if not run.supplied:
        reach = "supplied do not reach: one length, no joint in the ground"
    return (
        f"{run.needed_m:.1f} m of cable_route, round the lawn{under}; "
        f"{machine.cable_supplied_m:.1f} m {reach}; {run.drop_v:.2f} V lost over "
        f"{run.length_m:.1f} m of {size_words(run.size_mm2)} at {machine.supply_a:g} A, "
        f"{machine.largest_drop_v:.2f} V allowed"
    )


def cable_findings(runs: Sequence[CableRun], machine: MachineClass) -> tuple[Finding, ...]:
    """Return a warning for every loop whose cable loses too much in the thickest conductor."""
    return tuple(
        _drop_finding(run, machine) for run in runs if run.drop_v > machine.largest_drop_v
    )


def _drop_finding(run: CableRun, machine: MachineClass) -> Finding:
    return Finding(
        rule="cable_drop",
        severity="warn",
        text=(
            f"{run.length_m:.1f} m of cable lose {run.drop_v:.2f} V at {machine.supply_a:g} A even "
            f"in {size_words(run.size_mm2)}, a {machine.name} machine allows "
            f"{machine.largest_drop_v:.2f} V: have a licensed electrician set an outlet nearer"
        ),
        place=run.layout.station.point,
        measured=round(run.drop_v, 3),
        limit=machine.largest_drop_v,
    )
