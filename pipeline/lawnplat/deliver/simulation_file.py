"""A simulation's layers as a GeoPackage of their own."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.contract import MADE_BY, Layer, layer
from lawnplat.deliver.gpkg import is_ours, write_layers
from lawnplat.deliver.place import place_file
from lawnplat.deliver.rows import Row, as_type
from lawnplat.deliver.simulation_rows import SIMULATION_ROWS
from lawnplat.deliver.values import Value, as_column, known
from lawnplat.proving.simulation.types import Simulation

_ABOUT = ("what", "simulation")


def write_simulation(simulation: Simulation, property_id: str, crs: str, path: Path) -> None:
    """Write the layers that a simulation fills, and ``run_info``.

    Raises
    ------
    DeliveryError
        If the file cannot be written, or one that is no simulation's is in its place.
    """
    facts = (MADE_BY, _ABOUT, *simulation.record)
    layers = [
        (layer(name), [_row(property_id, layer(name), *raw) for raw in rows_of(simulation)])
        for name, rows_of in SIMULATION_ROWS.items()
    ]
    layers.append((layer("run_info"), [Row(None, (property_id, *fact)) for fact in facts]))
    place_file(path, lambda draft: write_layers(draft, layers, crs), _is_simulation)


def _row(property_id: str, about: Layer, geometry: BaseGeometry | None, *values: Value) -> Row:
    cells = tuple(
        as_column(known(value), column.type)
        for value, column in zip((property_id, *values), about.all_columns, strict=True)
    )
    return Row(as_type(geometry, about.geometry), cells)


def _is_simulation(path: Path) -> bool:
    """Return whether a file is a simulation's: a plan is ours too, and is never written over."""
    if not is_ours(path):
        return False
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as database:
        query = "SELECT 1 FROM run_info WHERE key = ? AND value = ?"
        return database.execute(query, _ABOUT).fetchone() is not None
