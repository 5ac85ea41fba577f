"""Writing plan files: every layer of the contract into one GeoPackage, checked, then in place."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

from shapely import total_bounds

from lawnplat.deliver.contract import (
    LAYERS,
    MADE_BY,
    PLAN_FILE,
    PROPERTY_ID,
    STYLES_TABLE,
    Layer,
)
from lawnplat.deliver.gpkg_rows import fill_layers
from lawnplat.deliver.looks import LOOKS
from lawnplat.deliver.place import place_file
from lawnplat.deliver.rows import Row, plan_rows
from lawnplat.deliver.styles import qml, sld
from lawnplat.errors import DeliveryError
from lawnplat.planned import Plan

_KEPT = 8
"""So many empty files are kept, by their layers and CRS: a portfolio lies in a few CRSs."""
_DRAFT_OPTIONS = {
    # A draft that a crash breaks is thrown away, so it need not be safe on the way.
    "OGR_SQLITE_SYNCHRONOUS": "OFF",
    "OGR_SQLITE_JOURNAL": "OFF",
    # Most of our tables are nearly empty: pages of 1 KiB halve the file.
    "OGR_SQLITE_PRAGMA": "page_size=1024",
}

_CREATE_STYLES = f"""
CREATE TABLE {STYLES_TABLE} (
    id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    f_table_catalog TEXT, f_table_schema TEXT, f_table_name TEXT, f_geometry_column TEXT,
    styleName TEXT, styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT,
    owner TEXT, ui TEXT,
    update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now'))
)"""


def write_plan(plan: Plan, folder: Path) -> Path:
    """Write ``plan.gpkg`` with every layer of the contract, empty ones too.

    Parameters
    ----------
    plan : Plan
        A plan, complete or as far as it came.
    folder : pathlib.Path
        The property's own folder; made where it is missing.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    DeliveryError
        If the file cannot be written, if one that lawnplat did not make is in its place, or one of
        another property. Nothing is left half-written.
    """
    target = folder / PLAN_FILE
    rows = plan_rows(plan)
    layers = [(layer, rows[layer.name]) for layer in LAYERS]
    place_file(
        target,
        lambda draft: write_layers(draft, layers, plan.site.crs),
        lambda there: is_ours(there, plan.site.property_id),
    )
    return target


def write_layers(
    path: Path, layers: Sequence[tuple[Layer, Sequence[Row]]], crs: str | None
) -> None:
    """Write layers with their styles into a new GeoPackage and check what was written.

    Parameters
    ----------
    path : pathlib.Path
        A file that is not there yet.
    layers : sequence of (Layer, rows)
        In the order in which viewers shall list them.
    crs : str or None
        Anything that pyproj takes: an authority's code, WKT, PROJ. None for tables alone.

    Raises
    ------
    DeliveryError
        If the file cannot be written or does not hold what it should.
    """
    # Commands that write nothing must not wait for this.
    from fiona.errors import FionaError  # noqa: PLC0415
    from pyproj import CRS  # noqa: PLC0415

    wkt = CRS.from_user_input(crs).to_wkt() if crs else None
    try:
        path.write_bytes(_empty_layers(tuple(layer for layer, _ in layers), wkt))
    except (FionaError, RuntimeError, ValueError, OSError) as error:
        raise DeliveryError(str(path), f"cannot be written ({error})") from error
    try:
        with closing(sqlite3.connect(path)) as database:
            database.execute("PRAGMA synchronous = OFF")
            with database:
                fill_layers(database, layers)
                _write_extents(database, layers)
                _write_styles(database, [layer for layer, _ in layers])
            _check(database, path, {layer.name: len(rows) for layer, rows in layers})
    except sqlite3.Error as error:
        raise DeliveryError(str(path), f"cannot be written ({error})") from error
    _to_disk(path)


@lru_cache(maxsize=_KEPT)
def _empty_layers(layers: tuple[Layer, ...], wkt: str | None) -> bytes:
    """Return a GeoPackage of layers without rows."""
    import fiona  # noqa: PLC0415

    with TemporaryDirectory() as folder, fiona.Env(**_DRAFT_OPTIONS):
        path = Path(folder) / "empty.gpkg"
        for layer in layers:
            columns = {each.name: each.type for each in layer.all_columns}
            with fiona.open(
                path,
                "w",
                driver="GPKG",
                layer=layer.name,
                schema={"geometry": layer.geometry, "properties": columns},
                crs_wkt=wkt if layer.geometry != "None" else None,
                DESCRIPTION=layer.about,
            ):
                pass
        return path.read_bytes()


def _write_extents(
    database: sqlite3.Connection, layers: Sequence[tuple[Layer, Sequence[Row]]]
) -> None:
    """Record each layer's exact extent: the driver's own falls short by the last digit."""
    extents = []
    for layer, rows in layers:
        shapes = [row.geometry for row in rows if row.geometry is not None]
        if shapes:
            extents.append((*total_bounds(shapes).tolist(), layer.name))
    database.executemany(
        "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = ?",
        extents,
    )


def _write_styles(database: sqlite3.Connection, layers: Sequence[Layer]) -> None:
    """Add the table of styles and register it, so that validators know it."""
    geometry_of = {layer.name: layer.geometry for layer in layers}
    looks = [look for look in LOOKS if look.layer in geometry_of]
    if not looks:
        return
    database.execute(_CREATE_STYLES)
    database.executemany(
        f"INSERT INTO {STYLES_TABLE} (f_table_catalog, f_table_schema, f_table_name,"  # noqa: S608
        " f_geometry_column, styleName, styleQML, styleSLD, useAsDefault, description, owner, ui)"
        " VALUES ('', '', ?, 'geom', ?, ?, ?, 1, 'as lawnplat draws it', 'lawnplat', NULL)",
        [
            (name, name, qml(look, geometry_of[name]), sld(look, geometry_of[name]))
            for look in looks
            for name in [look.layer]
        ],
    )
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change)"
        " VALUES (?, 'attributes', ?, 'Styles of the layers',"
        " strftime('%Y-%m-%dT%H:%M:%fZ','now'))",
        (STYLES_TABLE, STYLES_TABLE),
    )


def _check(database: sqlite3.Connection, path: Path, expected: Mapping[str, int]) -> None:
    """Raise unless the file is sound and each layer holds its rows."""
    verdict = database.execute("PRAGMA integrity_check").fetchone()[0]
    if verdict != "ok":
        raise DeliveryError(str(path), f"came out damaged ({verdict})", "Is the disk sound?")
    for name, count in expected.items():
        found = database.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]  # noqa: S608
        if found != count:
            raise DeliveryError(str(path), f"layer '{name}' holds {found} rows, not {count}")


def _to_disk(path: Path) -> None:
    """Wait until the draft is on the disk, once, in place of every commit's own wait."""
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def is_ours(path: Path, property_id: str | None = None) -> bool:
    """Return whether a file is a GeoPackage of lawnplat's, and of that property where one is named.

    The mark is the row `lawnplat.deliver.contract.MADE_BY` in its ``run_info``.
    """
    query = f"SELECT {PROPERTY_ID} FROM run_info WHERE key = ? AND value = ?"  # noqa: S608
    try:
        uri = f"{path.absolute().as_uri()}?mode=ro"
        with closing(sqlite3.connect(uri, uri=True)) as database:
            found = database.execute(query, MADE_BY).fetchone()
    except sqlite3.Error:
        return False
    return found is not None and property_id in (None, found[0])
