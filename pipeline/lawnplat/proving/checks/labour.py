"""Labour against the layers, and hours against the price book."""

from __future__ import annotations

import math
from collections.abc import Iterator
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

import shapely

from lawnplat.proving.breach import breach
from lawnplat.proving.checks.materials import CABLE, quantity_of
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.laid_wires import laid_wires
from lawnplat.proving.money import as_told, priced_by
from lawnplat.proving.recorded import Row, union
from lawnplat.settings.types import PriceBook
from lawnplat.survey.types import Finding

_TENTH_M = 0.05 + 1e-6
"""Metres of work are told to a decimetre."""
_HOUR = 1e-6
_PAVED = ("path", "paving_flush")
_TRAVEL, _ELECTRICIAN = "travel", "electrician"
_LAYING = {"hand": "peg_wire", "machine": "slit_wire"}


def labour(evidence: Evidence) -> Iterator[Finding]:
    """Yield tasks whose quantity or hours are not what the layers and the price book give."""
    if not evidence.plan.loops:
        return
    told: dict[str, Row] = {row.text("task"): row for row in evidence.plan.rows("labour")}
    for task, wanted in _wanted(evidence, told).items():
        found = told[task].number("quantity") if task in told else 0.0
        if not abs(found - wanted) <= _TENTH_M:
            yield breach(
                evidence, "labour", f"{task.replace('_', ' ')}: {found:g} are listed, the layers "
                f"ask for {wanted:.1f}", measured=found, limit=wanted,
            )  # fmt: skip
    if evidence.prices is not None and priced_by(evidence.plan, evidence.prices):
        yield from _hours(evidence, told, evidence.prices)


def _wanted(evidence: Evidence, told: dict[str, Row]) -> dict[str, float]:
    """Return how much of each task the layers ask for."""
    plan = evidence.plan
    wires_m = sum(wire.length_m for wire in laid_wires(plan))
    sections = plan.rows("wire_sections")
    back_m = sum(r.number("to_m") - r.number("from_m") for r in sections
                 if r.text("section") == "lead_back")  # fmt: skip
    loops, lines = len(plan.rows("perimeter_wire")), len(plan.rows("return_lines"))
    bare = sum(math.isnan(row.number("outlet_distance_m")) for row in plan.rows("station"))
    laying = next((task for task in _LAYING.values() if task in told), _LAYING["hand"])
    return {
        "survey": 1.0,
        "fit_outlet": float(bare),
        "check_outlet": float(loops - bare),
        "set_station": float(loops),
        "set_out": wires_m - back_m,
        laying: wires_m,
        "lay_island": float(_leads(sections)),
        "cut_paving": _paved_m(evidence),
        "make_joint": float(len(plan.rows("wire_joints"))),
        "lay_cable": quantity_of(evidence, CABLE, otherwise=0.0),
        "set_up_machine": float(loops),
        "test_line": float(lines),
        "hand_over": 1.0,
    }


def _leads(sections: tuple[Row, ...]) -> int:
    """Return how often the wire goes out on a lead: sections that begin one where none went on."""
    names = [(row.text("section"), row.number("loop")) for row in sections]
    return sum(
        name == "lead_out" and (place == 0 or names[place - 1] != (name, loop))
        for place, (name, loop) in enumerate(names)
    )


def _paved_m(evidence: Evidence) -> float:
    paved = union(each.geometry for each in evidence.things if each.kind in _PAVED)
    lines = list(evidence.plan.shapes("return_lines"))
    lines += [
        row.geometry
        for row in evidence.plan.rows("wire_sections")
        if row.geometry is not None and row.text("section") != "lead_back"
    ]
    under_m = float(sum(shapely.intersection(line, paved).length for line in lines))
    cable_m = [row.number("paved_m") for row in evidence.plan.rows("cable_route")]
    return under_m + sum(each for each in cable_m if not math.isnan(each))


def _hours(evidence: Evidence, told: dict[str, Row], prices: PriceBook) -> Iterator[Finding]:
    per_hour = {key.rpartition("_")[0]: value for key, value in prices.tasks_per_hour.items()}
    crew_hours = Decimal(0)
    for task, row in told.items():
        if task == _TRAVEL or task not in per_hour or math.isnan(row.number("quantity")):
            continue
        hours = as_told(row.number("quantity")) / as_told(per_hour[task])
        hours = hours.quantize(Decimal("0.01"), ROUND_HALF_UP)
        if prices.paid_as.get(task) != _ELECTRICIAN:
            crew_hours += hours
        if not abs(row.number("hours") - float(hours)) <= _HOUR:
            yield breach(
                evidence, "labour",
                f"{task.replace('_', ' ')}: {row.number('hours'):.2f} h are listed, the price book "
                f"makes {hours} h of {row.number('quantity'):g}", measured=row.number("hours"),
                limit=float(hours),
            )  # fmt: skip
    a_day = prices.crew.people * as_told(prices.crew.hours_a_day)
    days = (crew_hours / a_day).quantize(Decimal("0.01"), ROUND_HALF_UP)
    visits = int(days.to_integral_value(ROUND_CEILING)) + ("survey" in told)
    found = told[_TRAVEL].number("quantity") if _TRAVEL in told else 0.0
    if found != visits:
        yield breach(
            evidence, "labour", f"{found:g} journeys are listed, {visits} are needed: the survey "
            f"and {days} days of a crew", measured=found, limit=visits,
        )  # fmt: skip
