"""Open vector files with fiona: names, schema and rows, every failure named."""

from __future__ import annotations

import codecs
import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import fiona
import numpy as np
import shapely
from fiona._err import CPLE_BaseError
from fiona.errors import FionaError
from shapely.errors import ShapelyError
from shapely.geometry.base import BaseGeometry

from lawnplat.errors import SurveyError

_FAILURES = (FionaError, CPLE_BaseError, ValueError, KeyError, TypeError, OSError, RuntimeError)
_TEXT = (".geojson", ".json")
_CHUNK = 1 << 20
_SQLITE = ("GPKG", "SQLite")
_READS_SOME_COLUMNS = (*_SQLITE, "ESRI Shapefile", "FlatGeobuf")


@dataclass(frozen=True)
class Description:
    """What a layer says of itself before any row is read; ``crs_wkt`` is empty for none."""

    driver: str
    geometry_type: str
    count: int
    crs_wkt: str
    columns: tuple[str, ...]
    mixed: frozenset[str] = frozenset()
    """Columns whose values are of several types, as a GeoJSON may have them."""


@dataclass(frozen=True)
class RawRow:
    """One row as it stands in the file, counted from 1.

    ``geometry`` is None where there is none or where it cannot be built; then ``fault`` says why.
    """

    number: int
    geometry: BaseGeometry | None
    fault: str
    values: Mapping[str, Any]


def layer_names(path: Path) -> list[str]:
    """Return the names of the layers in a file.

    Raises
    ------
    SurveyError
        The file is not vector data that GDAL reads.
    """
    if path.suffix.lower() in _TEXT:
        _check_text(path)
    with _failures(str(path), "cannot be read as vector data"):
        names: list[str] = fiona.listlayers(path)
    return names


def _check_text(path: Path) -> None:
    """Raise where a GeoJSON is not UTF-8; GDAL's complaint would not be either."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    with _failures(str(path), "cannot be read"), path.open("rb") as file:
        try:
            for chunk in iter(lambda: file.read(_CHUNK), b""):
                decoder.decode(chunk)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError as error:
            remedy = "the file is damaged, or must be saved as UTF-8"
            raise SurveyError(str(path), "is not UTF-8 text", remedy) from error


def describe(path: Path, layer: str) -> Description:
    """Return what a layer says of itself.

    Raises
    ------
    SurveyError
        The layer cannot be opened.
    """
    where = f"{path}, layer {layer}"
    with _failures(where, "cannot be opened"), fiona.open(path, layer=layer) as source:
        return Description(
            driver=source.driver,
            geometry_type=source.schema["geometry"],
            count=_count(source),
            crs_wkt=source.crs_wkt,
            columns=tuple(source.schema["properties"]),
            mixed=frozenset(k for k, kind in source.schema["properties"].items() if kind == "json"),
        )


def _count(source: Any) -> int:
    """Return how many rows a layer says that it has; 0 where its format does not say."""
    try:
        return len(source)
    except TypeError:
        return 0


def stream(path: Path, layer: str, columns: Sequence[str], says: Description) -> Iterator[RawRow]:
    """Yield the rows of a layer in the order of the file.

    Curves come as chords, measures are dropped, z is kept.

    Parameters
    ----------
    path : Path
    layer : str
    columns : sequence of str
        The columns that are wanted; where the format allows, the others are not read.
    says : Description
        The layer's own, as `describe` gives it.

    Raises
    ------
    SurveyError
        The file is corrupt: an error, or fewer rows than the layer says.
    """
    where = f"{path}, layer {layer}"
    if says.driver == "GeoJSON" and says.mixed.intersection(columns):
        yield from _plain_json(path)
        return
    number = 0
    wanted = list(columns) if says.driver in _READS_SOME_COLUMNS else None
    with (
        _failures(where, "is corrupt"),
        fiona.open(path, layer=layer, include_fields=wanted) as source,
    ):
        for number, feature in enumerate(source, start=1):
            geometry, fault = _shape(feature.geometry)
            yield RawRow(number, geometry, fault, dict(feature.properties))
    if number < says.count and not _only_count_is_wrong(path, says.driver):
        what = f"is corrupt: {number} of {says.count} rows could be read"
        raise SurveyError(where, what, "get the file again, or repair it")


def _plain_json(path: Path) -> Iterator[RawRow]:
    """Yield the rows of a GeoJSON without fiona, which stops at a column of mixed types."""
    with _failures(str(path), "cannot be read"):
        tree = json.loads(path.read_text(encoding="utf-8-sig"))
        features = tree.get("features", [tree])
        rows = [(feature["geometry"], feature["properties"] or {}) for feature in features]
    for number, (found, values) in enumerate(rows, start=1):
        geometry, fault = _shape(found)
        yield RawRow(number, geometry, fault, values)


def _shape(found: Any) -> tuple[BaseGeometry | None, str]:
    """Return a geometry of fiona's, or of plain GeoJSON, as shapely's."""
    if found is None:
        return None, "no geometry"
    kind = found["type"]
    try:
        geometry = _built(kind, found)
    except (ShapelyError, ValueError, TypeError, KeyError, AttributeError, IndexError) as error:
        reason = " ".join(str(error).split()).rstrip(".")
        return None, f"a {kind} that cannot be built ({reason[:80]})"
    return (None, "no geometry") if geometry.is_empty else (geometry, "")


def _built(kind: str, found: Any) -> BaseGeometry:
    # Polygons are nearly all that there is, and this way takes half of the time of `shape`.
    if kind == "Polygon":
        return _polygon(found["coordinates"])
    if kind == "MultiPolygon":
        return shapely.MultiPolygon([_polygon(part) for part in found["coordinates"]])
    geometry: BaseGeometry = shapely.geometry.shape(found)
    return geometry


def _polygon(rings: Any) -> shapely.Polygon:
    """Return a polygon of rings of coordinates; a ring that is open is closed."""
    made = [np.array(ring, dtype=float) for ring in rings]
    return shapely.Polygon(made[0], made[1:]) if made else shapely.Polygon()


def _only_count_is_wrong(path: Path, driver: str) -> bool:
    """Return whether an SQLite file is sound all the same: its stored row count may be stale."""
    if driver not in _SQLITE:
        return False
    address = f"{path.resolve().as_uri()}?mode=ro"
    try:
        with closing(sqlite3.connect(address, uri=True)) as connection:
            found = connection.execute("PRAGMA quick_check(1)").fetchone()
    except sqlite3.Error:
        return False
    return bool(found) and found[0] == "ok"


@contextmanager
def _failures(where: str, what: str) -> Iterator[None]:
    """Turn what fiona and GDAL raise into a `SurveyError` of one line."""
    try:
        yield
    except SurveyError:
        raise
    except _FAILURES as error:
        reason = " ".join(str(error).split())
        remedy = "is the file whole, and what its name's ending says?"
        raise SurveyError(where, f"{what} ({reason})", remedy) from error
