"""Materials against the layers: wire with spare and waste, and all that is counted."""

from __future__ import annotations

import math
from collections.abc import Iterator

import shapely

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.laid_wires import LaidWire, laid_wires
from lawnplat.proving.recorded import Row
from lawnplat.survey.types import Finding

_UP_TO_M = 0.1
"""Wire is rounded up to a decimetre."""
_SAME = 1e-6
PERIMETER_WIRE, RETURN_WIRE = "perimeter wire", "return line wire"
CABLE = "low-voltage cable"


def spare(evidence: Evidence) -> Iterator[Finding]:
    """Yield wires of which too little, or far too much, is brought to the site."""
    if not evidence.plan.loops:
        return
    wires = laid_wires(evidence.plan)
    yield from _wire(evidence, PERIMETER_WIRE, [wire for wire in wires if not wire.is_return])
    yield from _wire(evidence, RETURN_WIRE, [wire for wire in wires if wire.is_return])


def _wire(evidence: Evidence, item: str, wires: list[LaidWire]) -> Iterator[Finding]:
    rules = evidence.rules.wire
    drawn_m = sum(wire.length_m for wire in wires)
    needed_m = (drawn_m + 2 * len(wires) * rules.spare_end_m) * (1 + rules.waste_share)
    told_m = quantity_of(evidence, item)
    if not needed_m - _SAME <= told_m <= needed_m + _UP_TO_M + _SAME:
        yield breach(
            evidence, "spare",
            f"{told_m:.1f} m of {item} are listed, {needed_m:.1f} m are needed: {drawn_m:.1f} m "
            f"drawn, {rules.spare_end_m:.2f} m spare at each of {2 * len(wires)} ends, and "
            f"{100 * rules.waste_share:.0f} % waste", measured=told_m, limit=needed_m,
        )  # fmt: skip


def materials(evidence: Evidence) -> Iterator[Finding]:
    """Yield items whose quantity is not what the layers hold."""
    if not evidence.plan.loops:
        return
    for item, count in _counted(evidence).items():
        told = quantity_of(evidence, item)
        if not abs(told - count) <= _SAME:
            yield breach(
                evidence, "materials", f"{told:g} {item} are listed, the plan's layers ask for "
                f"{count:g}", measured=told, limit=count,
            )  # fmt: skip
    yield from _cable(evidence)
    yield from _spools(evidence)
    for row in evidence.plan.rows("materials"):
        if not row.number("quantity") >= 0 or not row.text("unit") or not row.text("basis"):
            yield breach(
                evidence, "materials",
                f"{row.text('item') or 'an item'} has no quantity, no unit or no basis",
            )  # fmt: skip


def _counted(evidence: Evidence) -> dict[str, float]:
    plan, rules = evidence.plan, evidence.rules
    wires = laid_wires(plan)
    loops, lines = len(plan.rows("perimeter_wire")), len(plan.rows("return_lines"))
    kinds = [row.text("joint") for row in plan.rows("wire_joints")]
    sealed = kinds.count("three_way") + kinds.count("splice")
    step_m = rules.wire.chainage_marker_m
    each = rules.consumables
    ties = math.ceil(round(quantity_of(evidence, CABLE, otherwise=0.0) / each.tie_spacing_m, 6))
    return {
        "charging station": loops,
        "station fixings": loops,
        "pegs": math.ceil(round(len(plan.rows("pegs")) * (1 + rules.pegs.spare_share), 6)),
        "terminal connectors": kinds.count("terminal"),
        "three-way joints": kinds.count("three_way"),
        "wire splices": kinds.count("splice"),
        "wire end markers": 2 * (loops + lines),
        "chainage markers": sum(
            max(math.ceil(round(wire.length_m / step_m, 6)) - 1, 0) for wire in wires
        ),
        "joint sealant": math.ceil(sealed / each.joints_a_sealant),
        "cable ties": math.ceil(ties / each.ties_a_pack),
    }


def _cable(evidence: Evidence) -> Iterator[Finding]:
    """Yield cable that is shorter than its routes, or counted as supplied beyond the quantity."""
    routes_m = float(sum(shapely.length(route) for route in evidence.plan.shapes("cable_route")))
    for row in evidence.plan.rows("materials"):
        if row.text("item") != CABLE:
            continue
        told_m = row.number("quantity")
        if not told_m >= routes_m - _SAME or row.number("supplied") > told_m + _SAME:
            yield breach(
                evidence, "materials",
                f"{told_m:.1f} m of {CABLE} are listed ({row.number('supplied'):.1f} m supplied), "
                f"its routes are {routes_m:.1f} m long", measured=told_m, limit=routes_m,
            )  # fmt: skip


def _spools(evidence: Evidence) -> Iterator[Finding]:
    """Yield spools that do not hold all wire, or more than one to spare for each wire."""
    spool_m = evidence.rules.wire.spool_m
    wire_m = sum(quantity_of(evidence, item) for item in (PERIMETER_WIRE, RETURN_WIRE))
    told = quantity_of(evidence, "wire spools")
    least = math.ceil(round(wire_m / spool_m, 6)) if math.isfinite(wire_m) else 0
    if not least <= told <= least + len(laid_wires(evidence.plan)):
        yield breach(
            evidence, "materials",
            f"{told:g} wire spools are listed for {wire_m:.1f} m of wire, {spool_m:.0f} m to a "
            "spool", measured=told, limit=least,
        )  # fmt: skip


def quantity_of(evidence: Evidence, item: str, *, otherwise: float = math.nan) -> float:
    """Return the quantity of an item, NaN or ``otherwise`` where there is not one line of it."""
    found: list[Row] = [row for row in evidence.plan.rows("materials") if row.text("item") == item]
    told = found[0].number("quantity") if len(found) == 1 else math.nan
    return otherwise if math.isnan(told) else told
