"""The page: its size, the map's frame on it, the scale, and metres to millimetres."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

_LONG_MM, _SHORT_MM = 297.0, 210.0
"""A4 (ISO 216)."""
MARGIN_MM = 8.0
PANEL_MM = 72.0
"""Width of the column of text beside the map."""
_GAP_MM = 5.0
_PAD_MM = 4.0
"""Free paper between the property and the map's frame."""
_FINEST_MM = 0.03
"""Detail below this is not printed: a tenth of a thin line."""
_BEYOND_MM = 10.0
"""What lies further outside the frame is not drawn; so far that no cut edge is seen inside."""
_SCALE_STEPS = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.5)


@dataclass(frozen=True)
class Paper:
    """One page and how the ground lies on it.

    ``left_mm`` and ``top_mm`` are the map frame's corner; the point (``east_m``, ``north_m``) lies
    in the frame's middle; ``scale`` is the denominator: one millimetre is ``scale`` on the ground.
    Where the paper is ``cut``, the map shows a piece of the ground, and what lies outside its frame
    is left out of drawing, names and key.
    """

    width_mm: float
    height_mm: float
    left_mm: float
    top_mm: float
    map_width_mm: float
    map_height_mm: float
    east_m: float
    north_m: float
    scale: float
    cut: bool = False

    def xy(self, x_m: float, y_m: float) -> tuple[float, float]:
        """Return where a place is on the page, in millimetres from its top left."""
        middle_x = self.left_mm + self.map_width_mm / 2
        middle_y = self.top_mm + self.map_height_mm / 2
        return middle_x + self.mm(x_m - self.east_m), middle_y - self.mm(y_m - self.north_m)

    def place(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Return the place on the ground that a point of the page shows."""
        middle_x = self.left_mm + self.map_width_mm / 2
        middle_y = self.top_mm + self.map_height_mm / 2
        return self.east_m + self.metres(x_mm - middle_x), self.north_m - self.metres(
            y_mm - middle_y
        )

    def shows(self, x_m: float, y_m: float) -> bool:
        """Return whether a place is drawn: in the map's frame, or the paper is not cut."""
        if not self.cut:
            return True
        west, south, east, north = self.ground(0.0)
        return west <= x_m <= east and south <= y_m <= north

    def ground(self, beyond_mm: float) -> tuple[float, float, float, float]:
        """Return west, south, east, north of the ground in the frame and so far beyond it."""
        half_x = self.metres(self.map_width_mm / 2 + beyond_mm)
        half_y = self.metres(self.map_height_mm / 2 + beyond_mm)
        return (
            self.east_m - half_x,
            self.north_m - half_y,
            self.east_m + half_x,
            self.north_m + half_y,
        )

    def seen(self, geometry: BaseGeometry) -> BaseGeometry:
        """Return what of lines and polygons lies in the frame or just beyond it."""
        frame = self.ground(_BEYOND_MM)
        if not self.cut or geometry.is_empty:
            return geometry
        west, south, east, north = geometry.bounds
        if frame[0] <= west and frame[1] <= south and east <= frame[2] and north <= frame[3]:
            return geometry
        return shapely.intersection(geometry, shapely.box(*frame))

    def mm(self, length_m: float) -> float:
        """Return how long a length is on the page."""
        return length_m * 1000 / self.scale

    def mm2(self, area_m2: float) -> float:
        """Return how large an area is on the page."""
        return area_m2 * (1000 / self.scale) ** 2

    def metres(self, length_mm: float) -> float:
        """Return how long a length on the page is on the ground."""
        return length_mm * self.scale / 1000

    def path(self, geometry: BaseGeometry) -> str:
        """Return lines and polygons as SVG path data; points are left out."""
        plain = shapely.simplify(self.seen(geometry), self.metres(_FINEST_MM))
        return "".join(self._run(coords, closed) for coords, closed in runs(plain))

    def _run(self, coords: Sequence[Sequence[float]], closed: bool) -> str:
        places = [self.xy(x, y) for x, y, *_ in coords]
        text = "L".join(f"{x:.2f} {y:.2f}" for x, y in (places[:-1] if closed else places))
        return f"M{text}Z" if closed else f"M{text}"


def paper_for(bounds: tuple[float, float, float, float]) -> Paper:
    """Return the page, upright or across, that shows the ground largest at a round scale.

    Parameters
    ----------
    bounds : tuple of float
        West, south, east, north of all that is shown, in metres.
    """
    west, south, east, north = bounds
    pages = ((_LONG_MM, _SHORT_MM), (_SHORT_MM, _LONG_MM))
    return min(
        (_paper(page, west, south, east, north) for page in pages), key=lambda paper: paper.scale
    )


def _paper(
    page: tuple[float, float], west: float, south: float, east: float, north: float
) -> Paper:
    width, height = page
    map_width = width - 2 * MARGIN_MM - PANEL_MM - _GAP_MM
    map_height = height - 2 * MARGIN_MM
    smallest = 1e-3
    needed = max(
        smallest,
        (east - west) * 1000 / (map_width - 2 * _PAD_MM),
        (north - south) * 1000 / (map_height - 2 * _PAD_MM),
    )
    return Paper(
        width_mm=width,
        height_mm=height,
        left_mm=MARGIN_MM,
        top_mm=MARGIN_MM,
        map_width_mm=map_width,
        map_height_mm=map_height,
        east_m=(west + east) / 2,
        north_m=(south + north) / 2,
        scale=round_up(needed),
    )


def round_up(value: float, steps: Sequence[float] = _SCALE_STEPS) -> float:
    """Return the next round number: a step times a power of ten.

    Examples
    --------
    >>> round_up(137.0)
    150.0
    """
    power = 10.0 ** math.floor(math.log10(value))
    for step in (*steps, 10.0):
        if step * power >= value * (1 - 1e-9):
            return step * power
    return 10.0 * power


def runs(geometry: BaseGeometry) -> Iterable[tuple[Sequence[Sequence[float]], bool]]:
    """Yield (coordinates, closed) of every line and ring."""
    if hasattr(geometry, "geoms"):
        for part in geometry.geoms:
            yield from runs(part)
    elif geometry.is_empty:
        return
    elif isinstance(geometry, Polygon):
        for ring in (geometry.exterior, *geometry.interiors):
            yield tuple(ring.coords), True
    elif isinstance(geometry, LineString):
        yield tuple(geometry.coords), False
