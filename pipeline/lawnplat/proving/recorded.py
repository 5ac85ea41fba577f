"""A plan as it stands in its file: rows a layer, and nothing that the planner knew besides."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import shapely
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

Value = str | float | int | bool | None


@dataclass(frozen=True)
class Row:
    """One row of a layer. ``geometry`` is None in a table, or where the file holds none."""

    geometry: BaseGeometry | None
    values: Mapping[str, Value]

    def text(self, column: str) -> str:
        """Return a column's value as text; empty where it is missing."""
        value = self.values.get(column)
        return "" if value is None else str(value)

    def number(self, column: str) -> float:
        """Return a column's value as a number; NaN where it is missing, is none or has no end."""
        value = self.values.get(column)
        if value is None or isinstance(value, str) or not np.isfinite(value):
            return float("nan")
        return float(value)

    @property
    def point(self) -> Point | None:
        """Return the row's place; None where it has no geometry or another than a point."""
        shape = self.geometry
        return shape if isinstance(shape, Point) and not shape.is_empty else None


@dataclass(frozen=True)
class RecordedPlan:
    """One property's written plan.

    ``layers`` maps a layer's name to its rows; a layer that the file lacks is not in it. Geometry
    in ``crs``, metres.
    """

    property_id: str
    crs: str
    layers: Mapping[str, tuple[Row, ...]]

    def rows(self, layer: str) -> tuple[Row, ...]:
        """Return the rows of a layer; none where the file lacks it."""
        return self.layers.get(layer, ())

    def shapes(self, layer: str) -> tuple[BaseGeometry, ...]:
        """Return the geometries of a layer that are there and not empty."""
        found = (row.geometry for row in self.rows(layer))
        return tuple(shape for shape in found if shape is not None and not shape.is_empty)

    def union(self, layer: str) -> BaseGeometry:
        """Return the union of a layer's geometries; an empty polygon where it has none."""
        return union(self.shapes(layer))

    @property
    def facts(self) -> Mapping[str, str]:
        """Return key and value of ``run_info``."""
        return {row.text("key"): row.text("value") for row in self.rows("run_info")}

    @property
    def loops(self) -> tuple[int, ...]:
        """Return the numbers of the loops that are laid, in order."""
        return tuple(sorted({int(_loop(row)) for row in self.rows("perimeter_wire")}))

    def of_loop(self, number: int) -> RecordedPlan:
        """Return what belongs to one loop; layers that tell of no loop whole."""
        layers = {
            name: tuple(row for row in rows if "loop" not in row.values or _loop(row) == number)
            for name, rows in self.layers.items()
        }
        return replace(self, layers=MappingProxyType(layers))

    def with_rows(self, layer: str, rows: Iterable[Row]) -> RecordedPlan:
        """Return the plan with one layer's rows put in the place of those it had."""
        return replace(self, layers=MappingProxyType({**self.layers, layer: tuple(rows)}))


def union(shapes: Iterable[BaseGeometry]) -> BaseGeometry:
    """Return the union of geometries; an empty polygon where there are none."""
    found = np.array(list(shapes), dtype=object)
    return shapely.union_all(found) if len(found) else Polygon()


def _loop(row: Row) -> float:
    loop = row.number("loop")
    return 1.0 if np.isnan(loop) else loop
