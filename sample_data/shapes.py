"""How a technician would draw it: outlines in a garden's own metres, gathered into layers."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

Corner = tuple[float, float]


def rect(x: float, y: float, width: float, depth: float, turn_deg: float = 0.0) -> Polygon:
    """Return a rectangle from its south-west corner, turned about its middle."""
    middle = (x + width / 2, y + depth / 2)
    angle = math.radians(turn_deg)
    corners = []
    for across, along in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        dx, dy = across * width / 2, along * depth / 2
        corners.append(
            (
                middle[0] + dx * math.cos(angle) - dy * math.sin(angle),
                middle[1] + dx * math.sin(angle) + dy * math.cos(angle),
            )
        )
    return Polygon(corners)


def blob(x: float, y: float, half_width: float, half_depth: float, phase: float = 0.0) -> Polygon:
    """Return a bed or pond with a wandering edge, measured at 24 points."""
    corners = []
    for step in range(24):
        angle = 2 * math.pi * step / 24
        swell = 1 + 0.10 * math.sin(2 * angle + phase) + 0.06 * math.cos(3 * angle - phase)
        corners.append(
            (
                x + half_width * swell * math.cos(angle),
                y + half_depth * swell * math.sin(angle),
            )
        )
    return Polygon(corners)


def strip(*corners: Corner, width: float) -> Polygon:
    """Return a path or hedge of even width along a line."""
    band = LineString(corners).buffer(width / 2, cap_style="flat", join_style="mitre")
    return Polygon(band.exterior)


@dataclass
class Garden:
    """One garden as it is drawn: x to the east from its west corner, y back from the street."""

    property_id: str
    label: str
    west: float
    parcel: Polygon
    machine_class: str | None = None
    features: list[tuple[BaseGeometry | None, dict[str, Any]]] = field(default_factory=list)
    lawns: list[tuple[Polygon, str]] = field(default_factory=list)

    def add(self, kind: str, geometry: BaseGeometry | None, **columns: Any) -> None:
        """Note one surveyed thing; columns as in the features layer."""
        self.features.append((geometry, {"kind": kind, **columns}))

    def fence(self, *corners: Corner, height_m: float = 1.2) -> None:
        """Note a fence along a line."""
        self.add("fence", LineString(corners), height_m=height_m)

    def tree(self, x: float, y: float, radius_m: float, height_m: float) -> None:
        """Note a firm trunk."""
        self.add("tree", Point(x, y), radius_m=radius_m, height_m=height_m)

    def outlet(self, x: float, y: float) -> None:
        """Note an outdoor power outlet."""
        self.add("power_outlet", Point(x, y), note="on the house wall, 230 V")

    def lawn(self, corners: list[Corner], label: str) -> None:
        """Note one surveyed lawn."""
        self.lawns.append((Polygon(corners), label))
