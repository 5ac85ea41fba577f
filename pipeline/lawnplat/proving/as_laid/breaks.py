"""What straying breaks: the plan with its wires where they lie, held against every rule."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

import shapely

from lawnplat.proving.as_laid.types import LaidWire
from lawnplat.proving.catalogue import TABLE_RULES
from lawnplat.proving.chained import ChainedWire
from lawnplat.proving.check import check_plan
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.recorded import RecordedPlan, Row
from lawnplat.proving.wires import PERIMETER_LAYER, RETURN_LAYER, loop_of, perimeter_name
from lawnplat.survey.types import Finding

_OF_TABLES = (
    *("layers", "validity", "settings", "survey", "not_measured", "area_sum", "area_column"),
    *("hand_trim", "lawn_is_grass", "passage_verdict", "sections", "station_told", "capacity"),
    *("joint", "parking_test", "line_number"),
    *(rule.name for rule in TABLE_RULES),
)
"""What a plan's tables say of its drawing, and what is recorded anew where the wire strays."""
_OF_GROUND = (
    *("mown_outside", "mown_setback", "unmown_inside", "outlet", "cable_route", "slope_limit"),
)
"""Ground and things that no wire moves."""
_OF_PAIRS = ("pair_spacing", "pair_sides")
"""Finer than a rover measures."""
_NOT_OF_LAYING = frozenset({*_OF_TABLES, *_OF_GROUND, *_OF_PAIRS})
_NEAR_M = 1.0
"""A breach this near to a stray is the stray's: it stands at the worst spot of its own stretch."""
_ALIKE_M = 0.5
"""The plan's own breach of the same rule this near is the same breach."""
_TOUCH = ("conductor",)
"""Rules about a wire that touches itself, as the two of a pair seem to where they are measured."""


def breaks(
    evidence: Evidence, wires: tuple[LaidWire, ...], moved: Mapping[str, ChainedWire]
) -> tuple[Finding, ...]:
    """Return the rules that the wire as laid breaks where it strays, and the plan does not.

    Parameters
    ----------
    evidence : Evidence
        The plan and the rules.
    wires : tuple of LaidWire
    moved : mapping of str to ChainedWire
        Each wire as it is held against the rules: as laid where it strays, else as planned, so
        that nothing that accuracy and the laying's tolerance explain breaks a rule.
    """
    places = [stray.place for wire in wires for stray in wire.strays]
    if not places:
        return ()
    lines = [
        wire.laid.places_between(wire.as_laid_m(stray.from_m), wire.as_laid_m(stray.to_m))
        for wire in wires
        for stray in wire.strays
    ]
    astray = shapely.union_all([*places, *lines])
    laid = replace(evidence, plan=with_wires(evidence.plan, moved))
    pairs = _pairs(evidence.plan)
    found = [
        each
        for each in check_plan(laid, _NOT_OF_LAYING)
        if each.rule not in _NOT_OF_LAYING
        and each.severity != "note"
        and (each.place is None or shapely.dwithin(each.place, astray, _NEAR_M))
        and not (each.rule in _TOUCH and each.place and shapely.dwithin(each.place, pairs, _NEAR_M))
    ]
    planned = check_plan(evidence, _NOT_OF_LAYING) if found else ()
    return tuple(
        replace(each, text=f"as laid: {each.text}")
        for each in found
        if not any(_alike(each, other) for other in planned)
    )


def with_wires(plan: RecordedPlan, moved: Mapping[str, ChainedWire]) -> RecordedPlan:
    """Return a plan with other wires in place of its own, lengths with them."""
    perimeters = (
        _moved(row, moved.get(perimeter_name(loop_of(row)))) for row in plan.rows(PERIMETER_LAYER)
    )
    lines = (
        _moved(row, moved.get(f"return_{int(row.number('line_no'))}"))
        for row in plan.rows(RETURN_LAYER)
    )
    return plan.with_rows(PERIMETER_LAYER, perimeters).with_rows(RETURN_LAYER, lines)


def _moved(row: Row, wire: ChainedWire | None) -> Row:
    if wire is None:
        return row
    return Row(wire.line, MappingProxyType({**row.values, "length_m": wire.length_m}))


def _pairs(plan: RecordedPlan) -> shapely.Geometry:
    leads = [
        row.geometry
        for row in plan.rows("wire_sections")
        if row.text("section").startswith("lead") and row.geometry is not None
    ]
    return shapely.union_all(leads)


def _alike(one: Finding, other: Finding) -> bool:
    if one.rule != other.rule:
        return False
    if one.place is None or other.place is None:
        return one.text == other.text
    return (
        bool(shapely.dwithin(one.place, other.place, _ALIKE_M)) and one.measured == other.measured
    )
