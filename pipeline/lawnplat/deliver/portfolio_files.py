"""All properties of a run in one GeoPackage layer and one table."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import shapely
from pyproj import CRS, Transformer
from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.contract import (
    MADE_BY,
    PORTFOLIO_FILE,
    PORTFOLIO_RUN_INFO,
    PORTFOLIO_TABLE_FILE,
    PROPERTIES,
    PROPERTY_ID,
)
from lawnplat.deliver.gpkg import is_ours, write_layers
from lawnplat.deliver.place import place_file
from lawnplat.deliver.rows import Row, as_type
from lawnplat.deliver.values import Value, as_column, known
from lawnplat.planned import Outcome
from lawnplat.survey.types import FloatArray

_WORLD = "EPSG:4326"
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def write_portfolio(outcomes: Sequence[Outcome], out: Path) -> tuple[Path, Path]:
    """Write ``portfolio.gpkg`` and ``portfolio.csv``, the same table, a row an outcome.

    Outlines are in the properties' CRS where it is one and the same, else in EPSG:4326 (longitude,
    latitude).

    Parameters
    ----------
    outcomes : sequence of Outcome
    out : pathlib.Path
        Output folder; made where it is missing.

    Returns
    -------
    tuple of pathlib.Path
        GeoPackage and table.

    Raises
    ------
    DeliveryError
        If a file cannot be written, or one that lawnplat did not make is in its place.
    """
    crs = common_crs(outcomes)
    rows = [Row(_outline(each, crs), _values(each)) for each in outcomes]
    made_by = [Row(None, ("", *MADE_BY))]
    layers = [(PROPERTIES, rows), (PORTFOLIO_RUN_INFO, made_by)]
    file, table = out / PORTFOLIO_FILE, out / PORTFOLIO_TABLE_FILE
    place_file(file, lambda draft: write_layers(draft, layers, crs), is_ours)
    place_file(table, lambda draft: _write_table(draft, rows), _is_our_table)
    return file, table


def common_crs(outcomes: Sequence[Outcome]) -> str:
    """Return the one CRS of all outlines, else EPSG:4326."""
    found = {each.crs for each in outcomes if each.outline is not None and each.crs}
    return found.pop() if len(found) == 1 else _WORLD


def _outline(outcome: Outcome, crs: str) -> BaseGeometry | None:
    """Return the outline in the file's CRS; None where it or its CRS is not known."""
    if outcome.outline is None or outcome.crs is None or outcome.outline.is_empty:
        return None
    if outcome.crs == crs:
        return as_type(outcome.outline, PROPERTIES.geometry)
    transformer = _transformer(outcome.crs, crs)

    def moved(places: FloatArray) -> FloatArray:
        return np.column_stack(transformer.transform(places[:, 0], places[:, 1]))

    return as_type(shapely.transform(outcome.outline, moved), PROPERTIES.geometry)


@cache
def _transformer(source: str, target: str) -> Transformer:
    return Transformer.from_crs(CRS(source), CRS(target), always_xy=True)


def _values(each: Outcome) -> tuple[Value, ...]:
    """Return the outcome in the order of the layer's columns."""
    return tuple(
        as_column(known(getattr(each, column.name)), column.type)
        for column in PROPERTIES.all_columns
    )


def _write_table(path: Path, rows: Sequence[Row]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(_header())
        table.writerows([cell(value) for value in row.values] for row in rows)


def _header() -> list[str]:
    return [column.name for column in PROPERTIES.all_columns]


def cell(value: Value) -> str:
    """Return a value as the text of a spreadsheet's cell, never one that runs as a formula.

    A length or an area is rounded to 0.01. A text that a spreadsheet would take for a formula gets
    an apostrophe in front; a plain number does not.
    """
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.2f}"
    if not isinstance(value, str):
        return str(value)
    text = " ".join(value.split()) if "\n" in value or "\r" in value else value
    return f"'{text}" if text.startswith(_FORMULA_STARTS) and not _is_number(text) else text


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def _is_our_table(path: Path) -> bool:
    """Return whether the first line is a header of ours, of this version or another."""
    with path.open("rb") as file:
        return file.readline().startswith(f"{PROPERTY_ID},label,status,".encode())
