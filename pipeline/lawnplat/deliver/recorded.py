"""A plan as its file holds it, for the proving room: from a `Plan`, or from a file."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from types import MappingProxyType

from shapely.errors import ShapelyError

from lawnplat.deliver.contract import LAYERS, MADE_BY, Layer
from lawnplat.deliver.gpkg import is_ours
from lawnplat.deliver.rows import layer_rows
from lawnplat.deliver.wkb import geometry_of
from lawnplat.errors import SurveyError
from lawnplat.planned import Plan
from lawnplat.proving.recorded import RecordedPlan, Row

_ANEW = "Name a plan.gpkg that lawnplat plan wrote; if it is damaged, plan the property again."

_OF_PLANS_ALONE = frozenset({"perimeter_wire", "station", "mowable", "materials"})
"""Of the files that lawnplat writes for one property only plans hold these layers."""


def recorded_plan(plan: Plan) -> RecordedPlan:
    """Return a plan's layers as its file would hold them."""
    layers = {about.name: tuple(_rows_of(plan, about)) for about in LAYERS}
    return RecordedPlan(plan.site.property_id, plan.site.crs, MappingProxyType(layers))


def _rows_of(plan: Plan, about: Layer) -> Iterator[Row]:
    names = [column.name for column in about.all_columns]
    for row in layer_rows(plan, about):
        yield Row(row.geometry, MappingProxyType(dict(zip(names, row.values, strict=True))))


def read_recorded(path: Path) -> RecordedPlan:
    """Read every layer of the contract that a plan file holds.

    Parameters
    ----------
    path : pathlib.Path
        A ``plan.gpkg``.

    Returns
    -------
    RecordedPlan
        Layers that the file lacks are lacking there too.

    Raises
    ------
    SurveyError
        There is no such file, it is no plan of ours, or it is damaged.
    """
    found = read_layers(path, LAYERS)
    if not found.layers.keys() & _OF_PLANS_ALONE:
        remedy = "Name its plan.gpkg; an as_laid.gpkg is read by lawnplat locate alone."
        raise SurveyError(str(path), "is no plan, but another file of lawnplat's", remedy)
    return found


def read_layers(path: Path, layers: Sequence[Layer]) -> RecordedPlan:
    """Read those layers that a file of lawnplat's holds.

    Raises
    ------
    SurveyError
        There is no such file, it is none of ours, or it is damaged.
    """
    if path.is_dir():
        raise SurveyError(str(path), "is a folder", "Name one plan.gpkg in it.")
    if not path.is_file():
        raise SurveyError(str(path), "there is no such file", _ANEW)
    if not is_ours(path):
        raise SurveyError(str(path), f"is no plan of {MADE_BY[1]}'s", _ANEW)
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as database:
            database.row_factory = sqlite3.Row
            return _read(database, layers)
    except (sqlite3.Error, ShapelyError, LookupError, TypeError, ValueError) as error:
        raise SurveyError(str(path), f"cannot be read ({error})", _ANEW) from error


def _read(database: sqlite3.Connection, layers: Sequence[Layer]) -> RecordedPlan:
    tables = {name for (name,) in database.execute("SELECT table_name FROM gpkg_contents")}
    found = {about.name: _read_layer(database, about) for about in layers if about.name in tables}
    facts = {row.text("key"): row for row in found.get("run_info", ())}
    if "crs" not in facts:
        raise ValueError("layer run_info, or its row 'crs', is not there")
    about_crs = facts["crs"]
    return RecordedPlan(
        about_crs.text("property_id"), about_crs.text("value"), MappingProxyType(found)
    )


def _read_layer(database: sqlite3.Connection, about: Layer) -> tuple[Row, ...]:
    there = database.execute(f'SELECT * FROM "{about.name}" ORDER BY fid')  # noqa: S608
    names = [column[0] for column in there.description]
    yes_or_no = {column.name for column in about.columns if column.type == "bool"}
    rows = []
    for values in there:
        cells = dict(zip(names, values, strict=True))
        blob = cells.pop("geom", None)
        cells.pop("fid")
        for name in yes_or_no & cells.keys():
            cells[name] = None if cells[name] is None else bool(cells[name])
        rows.append(
            Row(None if blob is None else geometry_of(blob), MappingProxyType(cells))
        )
    return tuple(rows)
