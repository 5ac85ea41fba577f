"""The quote's layers in a plan file: what a price book is laid over again, read and written.

Nothing else in the file is touched: its other tables are copied byte for byte.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from lawnplat.deliver.contract import PROPERTY_ID, Layer, layer
from lawnplat.deliver.gpkg import is_ours
from lawnplat.deliver.place import place_file
from lawnplat.deliver.quote_rows import QUOTE_ROWS
from lawnplat.deliver.values import Value, known
from lawnplat.deliver.wkb import geometry_of
from lawnplat.errors import DeliveryError, SurveyError
from lawnplat.survey.types import Finding
from lawnplat.works.types import Alternative, Labour, Material, Quote

_OLDER = "Plan it again: it is damaged, or an older version's that held no bill of quantities."


@dataclass(frozen=True)
class WrittenPlan:
    """What a plan file holds that prices are laid over.

    ``advisories`` are rule and severity of each. Where nothing is laid, ``loops`` is 0 and
    there are no materials, labour or alternatives.
    """

    property_id: str
    label: str
    machine_class: str
    loops: int
    mowable_m2: float
    hand_trim_m2: float
    perimeter_m: float
    advisories: tuple[tuple[str, str], ...]
    materials: tuple[Material, ...]
    labour: tuple[Labour, ...]
    alternatives: tuple[Alternative, ...]


def read_written(path: Path) -> WrittenPlan:
    """Read what a quote is made of from a plan file.

    Raises
    ------
    SurveyError
        The file is damaged or lacks what a quote needs.
    """
    try:
        uri = f"{path.absolute().as_uri()}?mode=ro"
        with closing(sqlite3.connect(uri, uri=True)) as database:
            database.row_factory = sqlite3.Row
            return _read(database)
    except (sqlite3.Error, IndexError, TypeError, ValueError) as error:
        what = f"holds no plan that can be priced ({error})"
        raise SurveyError(str(path), what, _OLDER) from error


def _read(database: sqlite3.Connection) -> WrittenPlan:
    def rows(query: str) -> list[sqlite3.Row]:
        return database.execute(query).fetchall()

    def total(query: str) -> float:
        return float(rows(query)[0][0] or 0.0)

    parcel = rows("SELECT property_id, label FROM parcel ORDER BY fid LIMIT 1")[0]
    wires = rows("SELECT count(*), sum(length_m) FROM perimeter_wire")[0]
    return WrittenPlan(
        property_id=parcel["property_id"],
        label=parcel["label"] or "",
        machine_class=rows("SELECT value FROM run_info WHERE key = 'machine_class'")[0][0],
        loops=int(wires[0]),
        mowable_m2=total("SELECT sum(area_m2) FROM mowable"),
        hand_trim_m2=total("SELECT sum(area_m2) FROM hand_trim"),
        perimeter_m=float(wires[1] or 0.0),
        advisories=tuple(map(tuple, rows("SELECT rule, severity FROM advisories ORDER BY fid"))),
        materials=tuple(_material(row) for row in rows("SELECT * FROM materials ORDER BY fid")),
        labour=tuple(_labour(row) for row in rows("SELECT * FROM labour ORDER BY fid")),
        alternatives=tuple(
            _alternative(row) for row in rows("SELECT * FROM quote_options ORDER BY fid")
        ),
    )


def _material(row: sqlite3.Row) -> Material:
    words = (row["item"], float(row["quantity"]), row["unit"], row["basis"] or "")
    return Material(*words, size=row["size"] or "", supplied=float(row["supplied"] or 0.0))


def _labour(row: sqlite3.Row) -> Labour:
    hours = float(row["hours"] or 0.0)
    return Labour(row["task"], float(row["quantity"]), row["unit"], hours, row["basis"] or "")


def _alternative(row: sqlite3.Row) -> Alternative:
    return Alternative(
        option=row["option"],
        machine_class=row["machine_class"],
        fits=bool(row["fits"]),
        reasons=row["reasons"] or "",
        hand_trimming=bool(row["hand_trimming"]),
        cable_m=float(row["cable_m"]),
        cable_size=row["cable_size"] or "",
        cable_supplied_m=float(row["cable_supplied_m"]),
    )


def write_quote_layers(
    path: Path,
    property_id: str,
    quote: Quote,
    *,
    record: Sequence[tuple[str, str]],
    instead_of: str,
    findings: Sequence[Finding],
) -> None:
    """Write a quote into a plan file in place of the one that it holds.

    Parameters
    ----------
    path : pathlib.Path
    property_id : str
    quote : Quote
    record : sequence of (str, str)
        Rows of ``run_info`` that get these values.
    instead_of : str
        Advisories of this rule are taken out.
    findings : sequence of Finding
        Are put in, at the station.

    Raises
    ------
    DeliveryError
        If the file cannot be written. It then stays as it was.
    """

    def write(draft: Path) -> None:
        shutil.copyfile(path, draft)
        try:
            with closing(sqlite3.connect(draft)) as database, database:
                for name, rows_of in QUOTE_ROWS.items():
                    _fill(database, layer(name), property_id, rows_of(quote))
                _put_record(database, property_id, record)
                _put_findings(database, property_id, instead_of, findings)
        except sqlite3.Error as error:
            raise DeliveryError(str(path), f"cannot be priced again ({error})", _OLDER) from error

    place_file(path, write, lambda there: is_ours(there, property_id))


def _fill(
    database: sqlite3.Connection,
    about: Layer,
    property_id: str,
    rows: Iterable[tuple[Value, ...]],
) -> None:
    names = [column.name for column in about.all_columns]
    # Numbered from 1 as a new file's rows are, so that the same prices give the same rows.
    marks = ", ".join("?" * (1 + len(names)))
    columns = ", ".join(f'"{name}"' for name in ("fid", *names))
    database.execute(f'DELETE FROM "{about.name}"')  # noqa: S608 - names of our own contract
    database.executemany(
        f'INSERT INTO "{about.name}" ({columns}) VALUES ({marks})',  # noqa: S608
        [
            [number, property_id, *(known(value) for value in row)]
            for number, row in enumerate(rows, start=1)
        ],
    )
    _changed(database, about.name)


def _changed(database: sqlite3.Connection, table: str) -> None:
    database.execute(
        "UPDATE gpkg_contents SET last_change = strftime('%Y-%m-%dT%H:%M:%fZ','now')"
        " WHERE table_name = ?",
        (table,),
    )


def _put_record(
    database: sqlite3.Connection, property_id: str, record: Sequence[tuple[str, str]]
) -> None:
    for key, value in record:
        done = database.execute("UPDATE run_info SET value = ? WHERE key = ?", (value, key))
        if done.rowcount == 0:
            database.execute(
                f"INSERT INTO run_info ({PROPERTY_ID}, key, value) VALUES (?, ?, ?)",  # noqa: S608
                (property_id, key, value),
            )
    _changed(database, "run_info")


def _put_findings(
    database: sqlite3.Connection, property_id: str, instead_of: str, findings: Sequence[Finding]
) -> None:
    gone = database.execute("DELETE FROM advisories WHERE rule = ?", (instead_of,)).rowcount
    place = database.execute("SELECT geom FROM station ORDER BY fid LIMIT 1").fetchone()
    if findings and place is not None:
        _know_geometry(database)
        database.executemany(
            f"INSERT INTO advisories (geom, {PROPERTY_ID}, rule, severity, text, count, source)"  # noqa: S608
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            [
                (place[0], property_id, f.rule, f.severity, known(f.text), f.count, f.where)
                for f in findings
            ],
        )
        _stretch(database, "advisories", place[0])
    if gone or findings:
        _changed(database, "advisories")


def _know_geometry(database: sqlite3.Connection) -> None:
    """Teach the connection the functions that the file's spatial index is kept up with."""
    functions = {
        "ST_IsEmpty": lambda blob: int(geometry_of(blob).is_empty),
        "ST_MinX": lambda blob: geometry_of(blob).bounds[0],
        "ST_MinY": lambda blob: geometry_of(blob).bounds[1],
        "ST_MaxX": lambda blob: geometry_of(blob).bounds[2],
        "ST_MaxY": lambda blob: geometry_of(blob).bounds[3],
    }
    for name, function in functions.items():
        database.create_function(name, 1, function, deterministic=True)


def _stretch(database: sqlite3.Connection, table: str, blob: bytes) -> None:
    """Let a layer's recorded extent hold one more place."""
    west, south, east, north = geometry_of(blob).bounds
    database.execute(
        "UPDATE gpkg_contents SET min_x = min(ifnull(min_x, ?1), ?1),"
        " min_y = min(ifnull(min_y, ?2), ?2), max_x = max(ifnull(max_x, ?3), ?3),"
        " max_y = max(ifnull(max_y, ?4), ?4) WHERE table_name = ?5",
        (west, south, east, north, table),
    )
