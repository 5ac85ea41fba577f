"""Names on the map, none over another."""

from __future__ import annotations

from dataclasses import dataclass, field

import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.picture.canvas import Canvas, text_width
from lawnplat.deliver.picture.paper import Paper

_SIZE_MM = 2.6
_SHIFTS = (0.0, 1.6, -1.6, 3.2, -3.2, 4.8, -4.8)
"""Tried above and below the place, in lines of text."""


@dataclass(frozen=True)
class _Box:
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: _Box) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


@dataclass
class Labels:
    """Names asked for while the map is drawn, written last of all so that nothing covers them."""

    paper: Paper
    _taken: list[_Box] = field(default_factory=list)
    _words: list[tuple[float, float, str, bool]] = field(default_factory=list)

    def keep_free(self, x_m: float, y_m: float, half_mm: float) -> None:
        """Keep names off a sign on the map."""
        x, y = self.paper.xy(x_m, y_m)
        self._taken.append(_Box(x - half_mm, y - half_mm, x + half_mm, y + half_mm))

    def ask(
        self,
        x_m: float,
        y_m: float,
        words: str,
        *,
        beside_mm: float = 0.0,
        bold: bool = False,
        must: bool = False,
    ) -> None:
        """Name a place, below it by ``beside_mm``; left out where no place near it is free.

        With ``must`` it is written even over another name.
        """
        x, y = self.paper.xy(x_m, y_m)
        width = text_width(words, _SIZE_MM)
        boxes = [self._box(x, y + beside_mm + shift * _SIZE_MM, width) for shift in _SHIFTS]
        self._write(next(filter(self._is_free, boxes), boxes[0] if must else None), words, bold)

    def ask_on(self, area: BaseGeometry, words: str, *, share: float = 0.8) -> None:
        """Name a polygon in its middle or at its widest place, if enough of the name lies on it.

        Parameters
        ----------
        area : shapely Polygon or MultiPolygon
        words : str
        share : float
            How much of the name must, from 0 to 1.
        """
        widest = Point(shapely.maximum_inscribed_circle([area])[0].coords[0])
        width = text_width(words, _SIZE_MM)
        places = (self.paper.xy(each.x, each.y) for each in (area.centroid, widest))
        boxes = (self._box(x, y + shift * _SIZE_MM, width) for x, y in places for shift in _SHIFTS)
        fits = (box for box in boxes if self._is_free(box) and self._share(box, area) >= share)
        self._write(next(fits, None), words, bold=False)

    def _write(self, box: _Box | None, words: str, bold: bool) -> None:
        if box is not None:
            self._taken.append(box)
            middle = ((box.left + box.right) / 2, (box.top + box.bottom) / 2)
            self._words.append((*middle, words, bold))

    def _is_free(self, box: _Box) -> bool:
        return not any(box.meets(other) for other in self._taken)

    def _share(self, box: _Box, area: BaseGeometry) -> float:
        """Return how much of a box of text lies on an area."""
        west, north = self.paper.place(box.left, box.top)
        east, south = self.paper.place(box.right, box.bottom)
        text = shapely.box(west, south, east, north)
        return float(shapely.intersection(text, area).area / text.area)

    def _box(self, x: float, y: float, width: float) -> _Box:
        """Return where the text would stand, moved into the map's frame."""
        frame_left, frame_top = self.paper.left_mm + 1, self.paper.top_mm + 1
        frame_right = frame_left + self.paper.map_width_mm - 2
        frame_bottom = frame_top + self.paper.map_height_mm - 2
        left = max(frame_left, min(x - width / 2, frame_right - width))
        top = max(frame_top, min(y - _SIZE_MM / 2, frame_bottom - _SIZE_MM))
        return _Box(left, top, left + width, top + _SIZE_MM)

    def write(self, canvas: Canvas) -> None:
        """Write the names."""
        for x, y, words, bold in self._words:
            weight = "bold" if bold else "normal"
            canvas.label(x, y, words, _SIZE_MM, font_weight=weight)
