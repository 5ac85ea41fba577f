"""Make the sample survey: `survey.gpkg` and `elevation.tif`. All of it is invented.

    python sample_data/make_sample.py [FOLDER]

writes into FOLDER, or beside this script.
"""

from __future__ import annotations

import itertools
import math
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import fiona
import numpy as np
import rasterio
import shapely
from gardens import STREET, shared_hedge
from numpy.typing import NDArray
from rasterio.transform import from_origin
from shapely import Polygon
from shapely.geometry.base import BaseGeometry
from shapes import Garden

CRS = "EPSG:25832"
ORIGIN = (612_400.0, 5_871_300.0)
"""Where the street's west end lies; picked at random, nothing here was surveyed."""
TURN_DEG = 8.0
CELL_M = 0.5
NODATA = -9999.0
MADE = "2025-01-01T00:00:00.000Z"
"""Written as the time of the last change, so that the file comes out the same each time."""

PARCEL_COLUMNS = {"property_id": "str", "label": "str", "machine_class": "str"}
LAWN_COLUMNS = {"property_id": "str", "label": "str"}
FEATURE_COLUMNS = {
    "kind": "str",
    "property_id": "str",
    "height_m": "float",
    "radius_m": "float",
    "width_m": "float",
    "setback_m": "float",
    "note": "str",
}
Row = tuple[BaseGeometry | None, dict[str, Any]]


def to_map(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return map coordinates (n, 2) of street metres, to the millimetre."""
    turn = math.radians(TURN_DEG)
    east = ORIGIN[0] + x * math.cos(turn) - y * math.sin(turn)
    north = ORIGIN[1] + x * math.sin(turn) + y * math.cos(turn)
    return np.column_stack([np.round(east, 3), np.round(north, 3)])


def to_street(east: NDArray[np.float64], north: NDArray[np.float64]) -> tuple[Any, Any]:
    """Return street metres of map coordinates."""
    turn = math.radians(TURN_DEG)
    dx, dy = east - ORIGIN[0], north - ORIGIN[1]
    x = dx * math.cos(turn) + dy * math.sin(turn)
    return x, -dx * math.sin(turn) + dy * math.cos(turn)


def placed(geometry: BaseGeometry, west: float) -> BaseGeometry:
    """Return a garden's geometry on the map, heights kept."""

    def move(points: NDArray[np.float64]) -> NDArray[np.float64]:
        flat = to_map(points[:, 0] + west, points[:, 1])
        return np.column_stack([flat, points[:, 2:]])

    moved: BaseGeometry = shapely.transform(geometry, move, include_z=geometry.has_z)
    return moved


def joined_corners(garden: Garden, street: list[Garden]) -> Polygon:
    """Return the parcel with its neighbours' corners on its sides, so that no gap opens."""
    others = [
        (x + other.west - garden.west, y)
        for other in street
        if other is not garden
        for x, y, *_ in other.parcel.exterior.coords[:-1]
    ]
    ring: list[tuple[float, ...]] = []
    corners = list(garden.parcel.exterior.coords)
    for start, end in itertools.pairwise(corners):
        side = shapely.LineString([start[:2], end[:2]])
        on_side = {p for p in others if side.distance(shapely.Point(p)) < 1e-9}
        inner = sorted(on_side - {start[:2], end[:2]}, key=lambda p: math.dist(p, start[:2]))
        ring += [start, *((*p, *start[2:]) for p in inner)]
    return Polygon(ring)


def parcels(street: list[Garden]) -> Iterator[Row]:
    """Yield the rows of the layer `parcels`."""
    for g in street:
        row = {"property_id": g.property_id, "label": g.label, "machine_class": g.machine_class}
        yield placed(joined_corners(g, street), g.west), row


def lawns(street: list[Garden]) -> Iterator[Row]:
    """Yield the rows of the layer `lawns`."""
    for g in street:
        for polygon, label in g.lawns:
            yield placed(polygon, g.west), {"property_id": g.property_id, "label": label}


def features(street: list[Garden]) -> Iterator[Row]:
    """Yield the rows of the layer `features`."""
    for g in street:
        for geometry, columns in g.features:
            where = None if geometry is None else placed(geometry, g.west)
            yield where, {"property_id": g.property_id, **columns}
    hedge, columns = shared_hedge()
    yield placed(hedge, 0.0), columns


def elevation(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the height of the invented ground in metres, at street metres.

    A gentle fall to the street, low swells, the bank of the last garden (foot at y = 21, top at
    y = 31, about 30 percent) and the retaining edge of the last but one (0.8 m).
    """
    ground = 62.0 + 0.016 * y + 0.005 * x
    ground += 0.05 * np.sin(x / 7.3 + 0.4) * np.cos(y / 9.1) + 0.02 * np.sin(x / 2.9 - y / 3.7)
    ground += 0.008 * np.sin(2.3 * x + 1.1 * y) + 0.006 * np.sin(1.7 * y - 2.9 * x)
    fade = np.clip((x - 177) / 12, 0, 1) ** 2 * (3 - 2 * np.clip((x - 177) / 12, 0, 1))
    gradient = 0.285 + 0.02 * np.sin(x / 5.0)
    ground += fade * gradient * (_ramp(y - 21, 0.5) - _ramp(y - 31, 0.5))
    edge = 33.3 + 0.14 * (x - 150)
    inside = _step((x - 150.3) / 0.1) * _step((175.7 - x) / 0.1)
    return ground - 0.8 * inside * _step((y - edge) / 0.2)


def _ramp(t: NDArray[np.float64], softness: float) -> NDArray[np.float64]:
    """Return 0 below 0 and t above it, rounded off at the turn."""
    return softness * np.logaddexp(0.0, t / softness)


def _step(t: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return 0 well below 0 and 1 well above it."""
    return 0.5 * (1 + np.tanh(t))


def write_survey(path: Path) -> None:
    """Write the layers `parcels`, `lawns` and `features`."""
    street = [draw() for draw in STREET]
    layers: tuple[tuple[str, str, dict[str, str], Iterator[Row]], ...] = (
        ("parcels", "Unknown", PARCEL_COLUMNS, parcels(street)),
        ("lawns", "Polygon", LAWN_COLUMNS, lawns(street)),
        ("features", "Unknown", FEATURE_COLUMNS, features(street)),
    )
    with fiona.Env(OGR_CURRENT_DATE=MADE):
        for name, geometry, columns, rows in layers:
            schema = {"geometry": geometry, "properties": columns}
            with fiona.open(path, "w", "GPKG", schema, CRS, layer=name) as layer:
                layer.writerecords(
                    {
                        "geometry": None if shape is None else shapely.geometry.mapping(shape),
                        "properties": {column: row.get(column) for column in columns},
                    }
                    for shape, row in rows
                )


def write_elevation(path: Path) -> None:
    """Write the raster: 0.5 m cells, heights to the centimetre, no data off the street."""
    reach = to_map(np.array([-8.0, 222, 222, -8]), np.array([-8.0, -8, 53, 53]))
    west, south = np.floor(reach.min(axis=0))
    east, north = np.ceil(reach.max(axis=0))
    rows, columns = int((north - south) / CELL_M), int((east - west) / CELL_M)
    x, y = to_street(
        west + (np.arange(columns) + 0.5)[None, :] * CELL_M,
        north - (np.arange(rows) + 0.5)[:, None] * CELL_M,
    )
    height = np.round(elevation(x, y), 2)
    height[(x < -8) | (x > 222) | (y < -8) | (y > 53)] = NODATA
    profile = {
        "driver": "GTiff",
        "dtype": "float32",
        "count": 1,
        "height": rows,
        "width": columns,
        "crs": CRS,
        "transform": from_origin(west, north, CELL_M, CELL_M),
        "nodata": NODATA,
        "compress": "deflate",
        "predictor": 3,
        "zlevel": 9,
        "tiled": True,
        "blockxsize": 256,
        "blockysize": 256,
    }
    with rasterio.open(path, "w", **profile) as raster:
        raster.write(height.astype("float32"), 1)
        raster.set_band_description(1, "elevation_m")


def main(folder: Path) -> None:
    """Write both files; they move into place once they are whole."""
    with tempfile.TemporaryDirectory(dir=folder) as made:
        write_survey(Path(made) / "survey.gpkg")
        write_elevation(Path(made) / "elevation.tif")
        for name in ("survey.gpkg", "elevation.tif"):
            (Path(made) / name).replace(folder / name)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
