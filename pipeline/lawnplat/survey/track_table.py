"""A rover's points from a table of coordinates (CSV)."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from pathlib import Path

from lawnplat.errors import SurveyError
from lawnplat.survey.track_columns import (
    CRS,
    EAST,
    LATITUDE,
    LONGITUDE,
    NORTH,
    RawPoint,
    column,
    raw_point,
)

_DELIMITERS = ",;\t"
_DEGREES = "OGC:CRS84"
_COLUMNS = "give columns easting_m and northing_m, x and y, or lon and lat, in the first line"


def read_table(path: Path) -> tuple[str, list[RawPoint]]:
    """Return the CRS that a table names (empty for none) and its points in the order of its rows.

    Columns of longitude and latitude are degrees on WGS 84 unless a column ``crs`` says otherwise.
    In a table that is not parted by commas, a comma in a number is a decimal point.

    Raises
    ------
    SurveyError
        It cannot be read, lacks columns of coordinates, or holds a value that is no number.
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeError) as error:
        raise SurveyError(str(path), f"cannot be read ({error})", "save it as UTF-8") from error
    delimiter = max(_DELIMITERS, key=(lines[0] if lines else "").count)
    table = csv.DictReader(lines, delimiter=delimiter)
    header = [name for name in table.fieldnames or [] if name]
    places, degrees = _coordinate_columns(path, header)
    crs_column = column(header, CRS)
    named: set[str] = set()
    points = []
    for number, cells in enumerate(table, start=2):
        values = {name: value or "" for name, value in cells.items() if name}
        if any(values.values()):
            points.append(_point(path, number, values, places, comma=delimiter != ","))
            named.add(values.get(crs_column or "", "").strip())
    named.discard("")
    if len(named) > 1:
        raise SurveyError(str(path), f"names several CRSs ({', '.join(sorted(named))})", "part it")
    return (named.pop() if named else _DEGREES if degrees else ""), points


def _coordinate_columns(path: Path, header: list[str]) -> tuple[tuple[str, str], bool]:
    for x_names, y_names, degrees in ((EAST, NORTH, False), (LONGITUDE, LATITUDE, True)):
        x, y = column(header, x_names), column(header, y_names)
        if x is not None and y is not None:
            return (x, y), degrees
    found = ", ".join(header[:8]) or "nothing"
    raise SurveyError(str(path), f"has no columns of coordinates (found: {found})", _COLUMNS)


def _point(
    path: Path, number: int, values: Mapping[str, str], places: tuple[str, str], *, comma: bool
) -> RawPoint:
    where = f"{path}, line {number}"
    try:
        x, y = (_number(values[name], comma=comma) for name in places)
        if not (math.isfinite(x) and math.isfinite(y)):
            raise ValueError("a coordinate is not finite")  # noqa: TRY301
        return raw_point(x, y, values)
    except ValueError as error:
        raise SurveyError(where, str(error), "correct that line or take it out") from error


def _number(text: str, *, comma: bool) -> float:
    return float(text.strip().replace(",", ".") if comma else text)
