"""Rows into a GeoPackage whose layers are there and empty.

The driver that makes the layers reads the whole file again for each layer that it opens; with some
forty of them, most nearly empty, that takes longer than everything else. So it makes the layers
once, and the rows of every further file go into a copy of them by SQL, all in one transaction.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence

import shapely

from lawnplat.deliver.contract import Layer
from lawnplat.deliver.rows import Row
from lawnplat.deliver.values import Value
from lawnplat.deliver.wkb import blob_of

_AS_STORED = {"str": str, "float": float, "int": int, "bool": int}
"""By a column's type: what SQLite knows, which numbers of other libraries are not."""


def fill_layers(
    database: sqlite3.Connection, layers: Sequence[tuple[Layer, Sequence[Row]]]
) -> None:
    """Put rows into empty layers, with what the file's triggers would have noted of each.

    The triggers call functions that only a spatial driver has; they are put back for such a one.
    """
    triggers = database.execute(
        "SELECT name, sql FROM sqlite_master"
        " WHERE type = 'trigger' AND sql LIKE '%AFTER INSERT ON%'"
    ).fetchall()
    for name, _ in triggers:
        database.execute(f'DROP TRIGGER "{name}"')
    for layer, rows in layers:
        _fill(database, layer, rows)
    for _, statement in triggers:
        database.execute(statement)
    database.execute("UPDATE gpkg_contents SET last_change = strftime('%Y-%m-%dT%H:%M:%fZ','now')")


def _fill(database: sqlite3.Connection, layer: Layer, rows: Sequence[Row]) -> None:
    if not rows:
        return
    columns = layer.all_columns
    names, stored = [each.name for each in columns], [_AS_STORED[each.type] for each in columns]
    values: Iterator[list[Value | bytes]] = (
        [None if v is None else kind(v) for v, kind in zip(row.values, stored, strict=True)]
        for row in rows
    )
    if layer.geometry != "None":
        names.append("geom")
        srs_id = _srs_id(database, layer)
        shapes = [row.geometry for row in rows]
        blobs = [None if shape is None else blob_of(shape, srs_id) for shape in shapes]
        values = ([*row, blob] for row, blob in zip(values, blobs, strict=True))
        # Feature ids count from 1 in an empty layer.
        database.executemany(
            f'INSERT INTO "rtree_{layer.name}_geom" VALUES (?, ?, ?, ?, ?)',  # noqa: S608
            (
                (number, west, east, south, north)
                for number, shape in enumerate(shapes, start=1)
                if shape is not None and not shape.is_empty
                for west, south, east, north in [shapely.bounds(shape).tolist()]
            ),
        )
    known = ", ".join(f'"{name}"' for name in names)
    places = ", ".join("?" * len(names))
    database.executemany(f'INSERT INTO "{layer.name}" ({known}) VALUES ({places})', values)  # noqa: S608
    database.execute(
        "UPDATE gpkg_ogr_contents SET feature_count = ? WHERE table_name = ?",
        (len(rows), layer.name),
    )


def _srs_id(database: sqlite3.Connection, layer: Layer) -> int:
    query = "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?"
    return int(database.execute(query, (layer.name,)).fetchone()[0])
