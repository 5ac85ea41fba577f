"""Names on the map: none over another or over a sign, and off the wires where there is room."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import product

import shapely
from shapely import Point, affinity
from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.looks import BLACK
from lawnplat.deliver.picture.canvas import Canvas, text_width
from lawnplat.deliver.picture.paper import Paper

_SIZE_MM = 2.6
_DOWN = (0.0, 1.6, -1.6, 3.2, -3.2, 4.8, -4.8)
"""Tried below and above the place, in heights of text."""
_ALONG = (0.0, 0.6, -0.6)
"""Tried to the right and left, in widths of the text."""
_LEAD_MM = 3.0
"""A name further from its sign gets a line to it."""
_OFF_MM = 0.6
"""Free paper between a name and a wire."""


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


def _square(x: float, y: float, half: float) -> _Box:
    return _Box(x - half, y - half, x + half, y + half)


def _ring(radius: int) -> list[tuple[int, int]]:
    """Return the eight ways from a place, that far."""
    return [(radius * dx, radius * dy) for dx, dy in product((1, 0, -1), repeat=2) if dx or dy]


@dataclass(frozen=True)
class _Wish:
    """A name and the places that it may have, best first; ``on`` is what it must lie on."""

    words: str
    places: tuple[tuple[float, float], ...]
    on: BaseGeometry | None = None
    share: float = 0.0
    must: bool = False
    close: bool = False
    beside: bool = False
    """Only the given places will do, and a line leads there from the first where they are far."""


@dataclass
class Labels:
    """Names asked for while the map is drawn; they find their places last, when all is drawn."""

    paper: Paper
    _taken: list[_Box] = field(default_factory=list)
    _wires: list[BaseGeometry] = field(default_factory=list)
    _wishes: list[_Wish] = field(default_factory=list)

    def keep_free(self, x_m: float, y_m: float, half_mm: float) -> None:
        """Keep names off a sign on the map."""
        x, y = self.paper.xy(x_m, y_m)
        self._taken.append(_square(x, y, half_mm))

    def keep_clear(self, left: float, top: float, right: float, bottom: float) -> None:
        """Keep names off a box of the page, in millimetres."""
        self._taken.append(_Box(left, top, right, bottom))

    def free_spot(self, x_m: float, y_m: float, half_mm: float) -> tuple[float, float]:
        """Return where on the page a sign covers no other: at its place, else near it.

        The spot is kept free from then on.
        """
        x, y = self.paper.xy(x_m, y_m)
        step = 2.2 * half_mm
        ways = [(0, 0), *(w for r in (1, 2, 3) for w in _ring(r))]
        boxes = (_square(x + step * dx, y + step * dy, half_mm) for dx, dy in ways)
        box = next(filter(self._is_free, boxes), _square(x, y, half_mm))
        self._taken.append(box)
        return (box.left + box.right) / 2, (box.top + box.bottom) / 2

    def keep_off(self, wire: BaseGeometry) -> None:
        """Keep names off a wire where there is another place."""
        seen = self.paper.seen(wire)
        shapely.prepare(seen)
        self._wires.append(seen)

    def ask(self, x_m: float, y_m: float, words: str, *, must: bool = False) -> None:
        """Name a place; left out where no place near it is free.

        With ``must`` it is written even over something else; nothing outside a cut map.
        """
        if not self.paper.shows(x_m, y_m):
            return
        self._wishes.append(_Wish(words, (self.paper.xy(x_m, y_m),), must=must))

    def ask_close(self, x_m: float, y_m: float, words: str) -> None:
        """Name a narrow place: on it, over its wires, or not at all."""
        if not self.paper.shows(x_m, y_m):
            return
        self._wishes.append(_Wish(words, (self.paper.xy(x_m, y_m),), close=True))

    def ask_on(self, area: BaseGeometry, words: str, *, share: float = 0.8) -> None:
        """Name a polygon in its middle, at its widest place, or where no wire is, if it fits there.

        Parameters
        ----------
        area : shapely Polygon or MultiPolygon
        words : str
        share : float
            How much of the name must, from 0 to 1.
        """
        seen = self.paper.seen(area)
        if seen.area == 0:
            return
        widest = Point(shapely.maximum_inscribed_circle([seen])[0].coords[0])
        places = tuple(self.paper.xy(each.x, each.y) for each in (seen.centroid, widest))
        self._wishes.append(_Wish(words, places, on=area, share=share))

    def ask_beside(self, x_m: float, y_m: float, words: str, clear_mm: float) -> None:
        """Name a sign: beside it, else further off with a line to it; always written.

        ``clear_mm`` is half the sign's size. Outside a cut map nothing is written.
        """
        if not self.paper.shows(x_m, y_m):
            return
        x, y = self.paper.xy(x_m, y_m)
        half = text_width(words, _SIZE_MM) / 2
        places = [
            (x + dx * (away + half), y + dy * (away + _SIZE_MM / 2))
            for away in (clear_mm + 0.3, clear_mm + 3.0, clear_mm + 6.0, clear_mm + 9.0)
            for dx, dy in _ring(1)
        ]
        self._wishes.append(_Wish(words, ((x, y), *places), must=True, beside=True))

    def write(self, canvas: Canvas) -> None:
        """Write the names, first those that must be there."""
        for wish in sorted(self._wishes, key=lambda each: not each.must):
            box = self._place_for(wish)
            if box is not None:
                self._taken.append(box)
                if wish.beside:
                    _lead(canvas, wish.places[0], box)
                middle = (box.left + box.right) / 2, (box.top + box.bottom) / 2
                canvas.label(*middle, wish.words, _SIZE_MM)

    def _place_for(self, wish: _Wish) -> _Box | None:
        """Return the first place that is free, and off the wires if there is one such."""
        last = None
        for box in self._boxes(wish):
            if not self._is_free(box):
                continue
            if wish.on is not None and self._share(box, wish.on) < wish.share:
                continue
            if wish.close or not self._on_a_wire(box):
                return box
            last = last or box
        clear = None if wish.on is None else self._clear_box(wish, wish.on)
        return clear or last or (next(self._boxes(wish)) if wish.must else None)

    def _clear_box(self, wish: _Wish, area: BaseGeometry) -> _Box | None:
        """Return a place on a name's area where it meets neither wires nor signs, if there is one.

        In ground squeezed to the text's proportions it is the middle of the largest circle.
        """
        width = text_width(wish.words, _SIZE_MM)
        taken = [self._ground(each, 0.0) for each in self._taken]
        off_m = self.paper.metres(_OFF_MM)
        wires = [each.buffer(off_m) for each in self._wires if each.intersects(area)]
        seen, over = (
            affinity.scale(each, xfact=_SIZE_MM / width, origin=(0, 0))
            for each in (self.paper.seen(area), shapely.union_all([*wires, *taken]))
        )
        free = shapely.difference(seen, over)
        if free.area == 0:
            return None
        middle = shapely.maximum_inscribed_circle([free])[0].coords[0]
        box = self._box(*self.paper.xy(middle[0] * width / _SIZE_MM, middle[1]), width)
        fits = self._is_free(box) and self._share(box, area) >= wish.share
        return box if fits and not self._on_a_wire(box) else None

    def _is_free(self, box: _Box) -> bool:
        return not any(box.meets(other) for other in self._taken)

    def _boxes(self, wish: _Wish) -> Iterator[_Box]:
        width = text_width(wish.words, _SIZE_MM)
        if wish.beside:
            yield from (self._box(x, y, width) for x, y in wish.places[1:])
            return
        along_it, down_it = ((0.0,), _DOWN[:3]) if wish.close else (_ALONG, _DOWN)
        for (x, y), along, down in product(wish.places, along_it, down_it):
            yield self._box(x + along * width, y + down * _SIZE_MM, width)

    def _box(self, x: float, y: float, width: float) -> _Box:
        """Return where the text would stand, moved into the map's frame."""
        frame_left, frame_top = self.paper.left_mm + 1, self.paper.top_mm + 1
        frame_right = frame_left + self.paper.map_width_mm - 2
        frame_bottom = frame_top + self.paper.map_height_mm - 2
        left = max(frame_left, min(x - width / 2, frame_right - width))
        top = max(frame_top, min(y - _SIZE_MM / 2, frame_bottom - _SIZE_MM))
        return _Box(left, top, left + width, top + _SIZE_MM)

    def _share(self, box: _Box, area: BaseGeometry) -> float:
        """Return how much of a box of text lies on an area."""
        text = self._ground(box, 0.0)
        return float(shapely.intersection(text, area).area / text.area)

    def _on_a_wire(self, box: _Box) -> bool:
        text = self._ground(box, _OFF_MM)
        return any(wire.intersects(text) for wire in self._wires)

    def _ground(self, box: _Box, wider_mm: float) -> BaseGeometry:
        west, north = self.paper.place(box.left - wider_mm, box.top - wider_mm)
        east, south = self.paper.place(box.right + wider_mm, box.bottom + wider_mm)
        return shapely.box(west, south, east, north)


def _lead(canvas: Canvas, place: tuple[float, float], box: _Box) -> None:
    """Draw a line from a sign to its name where that is not right beside it."""
    x, y = place
    near_x = max(box.left, min(x, box.right))
    near_y = max(box.top, min(y, box.bottom))
    if math.dist(place, (near_x, near_y)) > _LEAD_MM:
        data = f"M{x:.2f} {y:.2f}L{near_x:.2f} {near_y:.2f}"
        canvas.outline(data, stroke=BLACK, stroke_width="0.15")
