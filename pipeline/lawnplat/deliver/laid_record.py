"""The as-laid record: written from a track held against a plan, read to find a break."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.contract import MADE_BY, Column
from lawnplat.deliver.gpkg import is_ours, write_layers
from lawnplat.deliver.laid_contract import COPIED, LAID_LAYERS
from lawnplat.deliver.place import place_file
from lawnplat.deliver.recorded import read_layers
from lawnplat.deliver.rows import Row
from lawnplat.deliver.values import Value, as_column, known
from lawnplat.proving.as_laid.types import AsLaid, LaidWire
from lawnplat.proving.recorded import RecordedPlan

LAID_KIND = ("file", "as_laid")
"""The ``run_info`` row by which a record is told from a plan."""

_Raw = tuple[BaseGeometry | None, tuple[Value, ...]]


def write_laid(laid: AsLaid, plan: RecordedPlan, facts: Mapping[str, str], target: Path) -> Path:
    """Write an as-laid record and return its file.

    Parameters
    ----------
    laid : AsLaid
    plan : RecordedPlan
        The plan that it was held against: features and fixed points are taken from it.
    facts : mapping of str to str
        What ``run_info`` is to say besides: inputs, accuracy, settings.
    target : pathlib.Path

    Raises
    ------
    DeliveryError
        The file cannot be written, or one that is no record of this property is in its place.
    """
    rows = dict(_rows(laid, facts))
    layers = [
        (about, _copied(plan, about.name) if about.name in COPIED else [
            Row(shape, (laid.property_id, *_cells(about.columns, values)))
            for shape, values in rows[about.name]
        ])
        for about in LAID_LAYERS
    ]  # fmt: skip
    place_file(
        target,
        lambda draft: write_layers(draft, layers, laid.crs),
        lambda there: is_ours(there, laid.property_id) and is_record(there),
    )
    return target


def is_record(path: Path) -> bool:
    """Return whether a file of lawnplat's is an as-laid record and no plan."""
    try:
        facts = read_layers(path, [about for about in LAID_LAYERS if about.name == "run_info"])
    except ValueError:
        return False
    return facts.facts.get(LAID_KIND[0]) == LAID_KIND[1]


def read_laid(path: Path) -> RecordedPlan:
    """Read every layer of a record.

    Raises
    ------
    SurveyError
        There is no such file, it is none of ours, or it is damaged.
    """
    return read_layers(path, LAID_LAYERS)


def _copied(plan: RecordedPlan, name: str) -> list[Row]:
    about = next(each for each in LAID_LAYERS if each.name == name)
    return [
        Row(row.geometry, tuple(row.values.get(column.name) for column in about.all_columns))
        for row in plan.rows(name)
    ]


def _cells(columns: Sequence[Column], values: tuple[Value, ...]) -> Iterator[Value]:
    for column, value in zip(columns, values, strict=True):
        yield as_column(known(value), column.type)


def _rows(laid: AsLaid, facts: Mapping[str, str]) -> Iterator[tuple[str, list[_Raw]]]:
    yield "laid_wire", [_wire(each) for each in laid.wires]
    yield "laid_points", [raw for each in laid.wires for raw in _points(each)]
    yield "laid_pegs", [(p.point, (p.number, p.on, p.chainage_m, p.reason)) for p in laid.pegs]
    yield (
        "laid_joints",
        [(j.point, (j.joint, j.on, j.chainage_m, j.loop, j.basis)) for j in laid.joints],
    )
    yield (
        "stray",
        [
            (
                s.place,
                (s.on, w.as_laid_m(s.from_m), w.as_laid_m(s.to_m), s.worst_m, s.side, s.limit_m),
            )
            for w in laid.wires
            for s in w.strays
        ],
    )
    yield (
        "not_measured",
        [
            (w.laid.places_between(*ends), (g.on, *ends))
            for w in laid.wires
            for g in w.gaps
            for ends in [(w.as_laid_m(g.from_m), w.as_laid_m(g.to_m))]
        ],
    )
    middle = shapely.Point(laid.wires[0].laid.xy[0])
    yield (
        "findings",
        [
            (f.place or middle, (f.rule, f.severity, f.text, f.measured, f.limit, f.count))
            for f in laid.findings
        ],
    )
    told = {MADE_BY[0]: MADE_BY[1], LAID_KIND[0]: LAID_KIND[1], "crs": laid.crs, **facts}
    yield "run_info", [(None, (key, value)) for key, value in told.items()]


def _wire(each: LaidWire) -> _Raw:
    planned_m = each.planned.length_m
    bare_m = sum(gap.to_m - gap.from_m for gap in each.gaps)
    values = (
        each.planned.on, each.planned.loop, each.laid.length_m, planned_m, each.accuracy_m,
        planned_m - bare_m,
    )  # fmt: skip
    return each.laid.line, values


def _points(each: LaidWire) -> Iterator[_Raw]:
    if each.points is None:
        return
    points = each.points
    for k, plan_m in enumerate(points.chainage_m.tolist()):
        if points.drawn_between[k]:
            continue
        yield (
            shapely.Point(points.xy[k]),
            (
                each.planned.on, each.as_laid_m(plan_m), plan_m, float(points.offset_m[k]),
                float(points.sigma_m[k]), points.times[k], "slip" if each.outlier[k] else "wire",
            ),
        )  # fmt: skip
