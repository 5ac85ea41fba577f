"""Every wire of a written plan by its name, and how places along it are found."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point

from lawnplat.proving.recorded import RecordedPlan, Row

FloatArray = NDArray[np.float64]

PERIMETER = "perimeter"
RETURN = "return"
_SAME_M = 1e-9


@dataclass(frozen=True)
class LaidWire:
    """One wire. ``number`` is the loop's for a perimeter, the line's own for a return line."""

    name: str
    loop: int
    number: int
    row: Row
    line: LineString

    @property
    def is_return(self) -> bool:
        """Return whether this is a return line."""
        return self.name.startswith(RETURN)

    @property
    def words(self) -> str:
        """Return how a crew calls it."""
        return f"return line {self.number}" if self.is_return else self.name.replace("_", " ")

    @cached_property
    def points(self) -> FloatArray:
        """Return the vertices, those that stand twice once. Shape (n, 2)."""
        points = shapely.get_coordinates(self.line)
        apart = np.hypot(*np.diff(points, axis=0).T) > _SAME_M
        kept: FloatArray = points[np.concatenate([[True], apart])]
        return kept

    @cached_property
    def chainage_m(self) -> FloatArray:
        """Return the distance along the wire to each of `points`. Shape (n,)."""
        return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(self.points, axis=0).T))])

    @property
    def length_m(self) -> float:
        """Return the wire's length, summed over its straight pieces."""
        return float(self.chainage_m[-1])

    @cached_property
    def turns_deg(self) -> FloatArray:
        """Return the change of direction at each inner vertex, left positive. Shape (n - 2,)."""
        run = np.diff(self.points, axis=0) @ np.array([1.0, 1.0j])
        return np.asarray(np.degrees(np.angle(run[1:] / run[:-1])), dtype=float)

    def places(self, at_m: FloatArray) -> FloatArray:
        """Return coordinates at chainages, those beyond an end at the end. Shape (n, 2)."""
        x, y = (np.interp(at_m, self.chainage_m, column) for column in self.points.T)
        return np.stack([x, y], axis=-1)

    def place(self, at_m: float) -> Point:
        """Return the point at a chainage."""
        return Point(self.places(np.array([at_m]))[0])

    def stations_m(self, step_m: float) -> FloatArray:
        """Return chainages at most ``step_m`` apart from end to end, the ends among them."""
        return np.linspace(0.0, self.length_m, max(int(np.ceil(self.length_m / step_m)), 1) + 1)


def laid_wires(plan: RecordedPlan) -> tuple[LaidWire, ...]:
    """Return the perimeters, then the return lines; rows without a line of some length left out."""
    return (*perimeters(plan), *return_lines(plan))


def perimeters(plan: RecordedPlan) -> tuple[LaidWire, ...]:
    """Return the perimeters in the order of the file."""
    return tuple(_perimeters(plan))


def return_lines(plan: RecordedPlan) -> tuple[LaidWire, ...]:
    """Return the return lines in the order of the file."""
    return tuple(_return_lines(plan))


def _perimeters(plan: RecordedPlan) -> Iterator[LaidWire]:
    for row in plan.rows("perimeter_wire"):
        loop = whole_number(row, "loop", 1)
        if _is_line(row):
            name = PERIMETER if loop == 1 else f"{PERIMETER}_{loop}"
            yield LaidWire(name, loop, loop, row, _line(row))


def _return_lines(plan: RecordedPlan) -> Iterator[LaidWire]:
    for row in plan.rows("return_lines"):
        number = whole_number(row, "line_no", 0)
        if _is_line(row):
            yield LaidWire(
                f"{RETURN}_{number}", whole_number(row, "loop", 1), number, row, _line(row)
            )


def whole_number(row: Row, column: str, otherwise: int) -> int:
    """Return a column's value as a whole number, ``otherwise`` where it is missing."""
    value = row.number(column)
    return otherwise if np.isnan(value) else int(value)


def _is_line(row: Row) -> bool:
    return isinstance(row.geometry, LineString) and row.geometry.length > _SAME_M


def _line(row: Row) -> LineString:
    assert isinstance(row.geometry, LineString)
    return row.geometry
