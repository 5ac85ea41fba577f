"""Names on the map, none over another."""

from __future__ import annotations

from dataclasses import dataclass, field

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
        room_mm: tuple[float, float] | None = None,
        beside_mm: float = 0.0,
        bold: bool = False,
        must: bool = False,
    ) -> None:
        """Name a place; left out where the name has no room on the thing, or none is free.

        Parameters
        ----------
        x_m, y_m : float
            The place.
        words : str
        room_mm : tuple of float, optional
            Width and height of the thing that the name must fit on.
        beside_mm : float
            How far below the place the name stands.
        bold : bool
        must : bool
            Write it even over another.
        """
        width = text_width(words, _SIZE_MM)
        if room_mm is not None and (width > room_mm[0] or room_mm[1] < _SIZE_MM):
            return
        x, y = self.paper.xy(x_m, y_m)
        for shift in _SHIFTS:
            box = self._box(x, y + beside_mm + shift * _SIZE_MM, width)
            if not any(box.meets(other) for other in self._taken):
                break
            if room_mm is not None and abs(shift + 1.6) * _SIZE_MM > room_mm[1] / 2:
                return
        else:
            if not must:
                return
            box = self._box(x, y + beside_mm, width)
        self._taken.append(box)
        self._words.append(((box.left + box.right) / 2, (box.top + box.bottom) / 2, words, bold))

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
