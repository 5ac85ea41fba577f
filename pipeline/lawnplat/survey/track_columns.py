"""What a measured point says of itself, whatever its columns are called."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

EAST = ("easting_m", "easting", "east", "x_m", "x", "e")
NORTH = ("northing_m", "northing", "north", "y_m", "y", "n")
LONGITUDE = ("lon", "longitude", "lon_deg", "long", "lng")
LATITUDE = ("lat", "latitude", "lat_deg")
ACCURACY = ("accuracy_m", "accuracy", "sigma_m", "sigma")
TIME = ("time", "timestamp", "datetime", "date_time")
WIRE = ("on", "wire", "layer")
WHAT = ("what", "code", "description", "desc", "note")
NAME = ("mark", "name", "point")
CRS = ("crs",)

FIXED_POINT = "fixed_point"
STATION = "station"
"""On this, a point marks the station and no wire."""

_JOINTS = {"splice": "splice", "three": "three_way", "joint": "three_way", "terminal": "terminal"}
"""Words in what a point is said to be, and the joint that it is then."""


@dataclass(frozen=True)
class RawPoint:
    """One point as a file gives it; ``accuracy_m`` is NaN where the file says nothing of it."""

    x: float
    y: float
    wire: str = ""
    what: str = ""
    name: str = ""
    time: str = ""
    accuracy_m: float = math.nan

    @property
    def mark(self) -> str:
        """Return which kind of mark it is; empty for a plain point of a wire."""
        if FIXED_POINT in (self.wire, self.what):
            return FIXED_POINT
        said = self.what.lower()
        return next((joint for word, joint in _JOINTS.items() if word in said), "")

    @property
    def on_wire(self) -> bool:
        """Return whether the wire runs through it."""
        return self.wire != STATION and self.mark != FIXED_POINT


def column(names: Iterable[str], known: tuple[str, ...]) -> str | None:
    """Return the first of ``known`` that is among the names, as the file writes it."""
    there = {name.strip().lower(): name for name in names}
    return next((there[each] for each in known if each in there), None)


def raw_point(x: float, y: float, values: Mapping[str, Any]) -> RawPoint:
    """Return a point with what its columns say.

    Raises
    ------
    ValueError
        Its accuracy is no number over zero.
    """

    def text(known: tuple[str, ...]) -> str:
        found = column(values, known)
        value = None if found is None else values[found]
        return "" if value is None else str(value).strip()

    return RawPoint(x, y, text(WIRE), text(WHAT), text(NAME), text(TIME), accuracy(text(ACCURACY)))


def accuracy(text: str) -> float:
    """Return a stated accuracy in metres; NaN for an empty text.

    Raises
    ------
    ValueError
        It is no number over zero.
    """
    if not text:
        return math.nan
    value = float(text)
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"an accuracy of '{text}' must be a number of metres over 0")
    return value
