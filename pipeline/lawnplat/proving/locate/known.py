"""What is known of laid wires: from an as-laid record, or from a plan where none was made."""

from __future__ import annotations

import math
from dataclasses import dataclass

import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from lawnplat.errors import SurveyError
from lawnplat.proving.chained import ChainedWire, chained
from lawnplat.proving.locate.two_tapes import solid_things
from lawnplat.proving.recorded import RecordedPlan, Row
from lawnplat.proving.things import FEATURE_LAYERS
from lawnplat.proving.wires import loop_of, planned_wires
from lawnplat.settings.types import RuleBook


@dataclass(frozen=True)
class Marked:
    """A peg or joint on a wire: ``name`` is its number, or its kind."""

    name: str
    on: str
    chainage_m: float
    point: Point


@dataclass(frozen=True)
class Known:
    """Wires, pegs, joints and fixed points in ``crs``, metres.

    ``as_laid`` is False where all is as planned. ``accuracy_m`` holds for each wire that was
    measured its standard deviation in each of two axes; ``not_measured`` the stretches of such a
    wire, by name and chainage, that were not. ``solid`` is what no tape passes.
    """

    property_id: str
    crs: str
    as_laid: bool
    wires: dict[str, ChainedWire]
    accuracy_m: dict[str, float]
    not_measured: tuple[tuple[str, float, float], ...]
    pegs: tuple[Marked, ...]
    joints: tuple[Marked, ...]
    fixed: dict[str, Point]
    solid: BaseGeometry

    def wire(self, on: str | None, loop: int | None) -> ChainedWire:
        """Return the wire of that name, or the perimeter of that loop; else the first.

        Raises
        ------
        SurveyError
            There is no such wire.
        """
        found = [
            wire
            for name, wire in self.wires.items()
            if ((on is None and wire.is_perimeter) or name == on) and loop in (None, wire.loop)
        ]
        if not found:
            asked = on or "perimeter"
            asked = asked if loop is None else f"{asked} of loop {loop}"
            remedy = f"wires: {', '.join(self.wires)}"
            raise SurveyError(self.property_id, f"there is no wire '{asked}'", remedy)
        return found[0]


def known_of(record: RecordedPlan, rules: RuleBook) -> Known:
    """Return what a record tells of its wires; a plan is taken as planned.

    Raises
    ------
    SurveyError
        It holds no wire.
    """
    laid = bool(record.rows("laid_wire"))
    wires = _laid_wires(record) if laid else planned_wires(record)
    if not wires:
        raise SurveyError(record.property_id, "holds no wire", "name an as-laid record or a plan")
    kinds: dict[str, list[BaseGeometry]] = {}
    for layer in FEATURE_LAYERS:
        for row in record.rows(layer):
            if row.geometry is not None:
                kinds.setdefault(row.text("kind"), []).append(row.geometry)
    sigma = {row.text("on"): row.number("accuracy_m") for row in record.rows("laid_wire")}
    return Known(
        property_id=record.property_id,
        crs=record.crs,
        as_laid=laid,
        wires={wire.on: wire for wire in wires},
        accuracy_m={on: value for on, value in sigma.items() if math.isfinite(value)},
        not_measured=tuple(
            (row.text("on"), row.number("from_m"), row.number("to_m"))
            for row in record.rows("not_measured")
        ),
        pegs=_marked(record, "laid_pegs" if laid else "pegs", "seq"),
        joints=_marked(record, "laid_joints" if laid else "wire_joints", "joint"),
        fixed={
            row.text("name"): row.geometry
            for row in record.rows("fixed_points")
            if isinstance(row.geometry, Point)
        },
        solid=solid_things(kinds, rules),
    )


def _laid_wires(record: RecordedPlan) -> tuple[ChainedWire, ...]:
    return tuple(
        chained(row.text("on"), loop_of(row), shapely.get_coordinates(row.geometry))
        for row in record.rows("laid_wire")
    )


def _marked(record: RecordedPlan, layer: str, name: str) -> tuple[Marked, ...]:
    return tuple(
        Marked(_name(row, name), row.text("on"), row.number("chainage_m"), row.geometry)
        for row in record.rows(layer)
        if isinstance(row.geometry, Point)
    )


def _name(row: Row, column: str) -> str:
    return row.text(column).replace("_", "-")
