"""Drawing on the page: inks, shapes and text as SVG elements, and the key to what was drawn."""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from xml.etree.ElementTree import Comment, Element, SubElement, tostring

from lawnplat.deliver.looks import BLACK, WHITE
from lawnplat.deliver.picture.paper import Paper
from lawnplat.deliver.picture.patterns import add_pattern
from lawnplat.deliver.picture_file import MARK

FONT = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_HALO_MM = 0.7
_WIDE = 1.0
_USUAL = 0.53
"""Mean width of a letter as a share of its size; those of wide scripts fill a square."""


@dataclass(frozen=True)
class Ink:
    """How a thing is drawn and shown in the key. Widths and dashes in millimetres.

    ``sign`` is ``area``, ``line``, or the name of a sign for a point (see `Canvas.sign`).
    ``halo`` is the colour of a band under a line, or empty.
    """

    label: str
    fill: str = "none"
    opacity: float = 1.0
    stroke: str = "none"
    width: float = 0.25
    dash: tuple[float, ...] = ()
    pattern: str = ""
    sign: str = "area"
    halo: str = ""
    size: float = 2.4


class Canvas:
    """One page being drawn. ``key`` holds every ink that was used, in order of first use.

    ``prefix`` stands before every id, so that several drawings may stand in one document. With a
    prefix, the hatches of a group are drawn together, each once: browsers print every use of a
    pattern as an image as large as the page.
    """

    def __init__(self, paper: Paper, title: str, about: str, prefix: str = "") -> None:
        self.paper = paper
        self.prefix = prefix
        self.key: dict[str, Ink] = {}
        width, height = f"{paper.width_mm:g}", f"{paper.height_mm:g}"
        self.root = Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "viewBox": f"0 0 {width} {height}",
                "width": f"{width}mm",
                "height": f"{height}mm",
                "font-family": FONT,
                "role": "img",
            },
        )
        self.root.append(Comment(MARK.removeprefix("<!--").removesuffix("-->")))
        SubElement(self.root, "title").text = clean(title)
        SubElement(self.root, "desc").text = clean(about)
        self.defs = SubElement(self.root, "defs")
        self._patterns: set[str] = set()
        self._hatched: dict[str, list[str]] = {}
        self.at = self.root

    def group(self, name: str, clip: str = "") -> None:
        """Draw what follows in a group of that name, below the root."""
        self._draw_hatches()
        self.at = SubElement(self.root, "g", {"id": f"{self.prefix}{name}"})
        if clip:
            self.at.set("clip-path", f"url(#{clip})")

    def rect(self, x: float, y: float, width: float, height: float, **paint: str) -> None:
        """Draw a rectangle; ``paint`` are SVG attributes with ``_`` for ``-``."""
        box = {"x": x, "y": y, "width": width, "height": height}
        self._add("rect", {name: f"{value:.2f}" for name, value in box.items()}, paint)

    def outline(self, data: str, **paint: str) -> None:
        """Draw path data that belongs to no ink and stays out of the key."""
        self._add("path", {"d": data}, paint)

    def path(self, data: str, ink: Ink, *, keyed: bool = True) -> None:
        """Draw path data with an ink and, where ``keyed``, enter the ink into the key."""
        if not data:
            return
        if keyed:
            self.key.setdefault(ink.label, ink)
        self._inked(data, ink)

    def _inked(self, data: str, ink: Ink) -> None:
        if ink.halo:
            halo = {"stroke": ink.halo, "stroke_width": f"{ink.width + _HALO_MM:g}"}
            self._add("path", {"d": data, "fill": "none", "stroke-opacity": "0.8"}, halo)
        paint = {"fill": ink.fill if ink.sign == "area" else "none", "stroke": ink.stroke}
        if ink.opacity < 1:
            paint["fill_opacity"] = f"{ink.opacity:g}"
        if ink.stroke != "none":
            paint |= {"stroke_width": f"{ink.width:g}", "stroke_linejoin": "round"}
        if ink.dash:
            paint["stroke_dasharray"] = " ".join(f"{each:g}" for each in ink.dash)
        rule = {"fill-rule": "evenodd"} if ink.sign == "area" else {}
        self._add("path", {"d": data, **rule}, paint)
        if ink.pattern:
            self._use_pattern(ink.pattern)
            self._hatched.setdefault(ink.pattern, []).append(data)
            if not self.prefix:
                self._draw_hatches()

    def _draw_hatches(self) -> None:
        for pattern, areas in self._hatched.items():
            fill = {"fill": f"url(#{self.prefix}{pattern})"}
            self._add("path", {"d": "".join(areas), "fill-rule": "evenodd"}, fill)
        self._hatched.clear()

    def point(self, x: float, y: float, ink: Ink, turn_deg: float = 0.0) -> None:
        """Draw a point's sign and enter its ink into the key; not outside a cut map's frame."""
        if not self.paper.shows(*self.paper.place(x, y)):
            return
        self.key.setdefault(ink.label, ink)
        self.sign(x, y, ink, turn_deg)

    def sign(self, x: float, y: float, ink: Ink, turn_deg: float = 0.0) -> None:
        """Draw a sign.

        The signs are ``dot``, ``ring``, ``square``, ``triangle``, ``diamond``, ``arrow``, ``bolt``.

        ``turn_deg`` turns it clockwise; an unturned arrow points up.
        """
        half = ink.size / 2
        paint = {"fill": ink.fill, "stroke": ink.stroke, "stroke_width": f"{ink.width:g}"}
        if ink.sign in {"dot", "ring"}:
            place = {"cx": f"{x:.2f}", "cy": f"{y:.2f}", "r": f"{half:.2f}"}
            self._add("circle", place, paint)
            if ink.sign == "ring":
                self._add("circle", {**place, "r": f"{half / 3:.2f}"}, {"fill": ink.stroke})
            return
        corners = [_turned(px * half, py * half, turn_deg) for px, py in _CORNERS[ink.sign]]
        data = "L".join(f"{x + dx:.2f} {y + dy:.2f}" for dx, dy in corners)
        self._add("path", {"d": f"M{data}Z"}, {**paint, "stroke_linejoin": "round"})

    def swatch(self, x: float, y: float, width: float, ink: Ink) -> None:
        """Draw an ink's sample in the key, in a row whose middle is at ``y``."""
        half = 1.6
        if ink.sign == "area":
            box = f"M{x:.2f} {y - half:.2f}h{width:.2f}v{2 * half:.2f}h{-width:.2f}Z"
            self._inked(box, ink)
        elif ink.sign == "line":
            self._inked(f"M{x:.2f} {y:.2f}h{width:.2f}", ink)
        else:
            self.sign(x + width / 2, y, ink)

    def text(self, x: float, y: float, words: str, size: float = 3.0, **paint: str) -> None:
        """Write one line of text; ``y`` is the base line, ``size`` in millimetres."""
        place = {"x": f"{x:.2f}", "y": f"{y:.2f}", "font-size": f"{size:g}"}
        self._add("text", place, paint).text = clean(words)

    def label(self, x: float, y: float, words: str, size: float = 2.6, **paint: str) -> None:
        """Write a text centred on a place, readable on any ground."""
        centred = {"text_anchor": "middle", "fill": BLACK} | paint
        halo = centred | {"fill": WHITE, "stroke": WHITE, "stroke_width": "0.9"}
        middle = y + size * 0.35
        self.text(x, middle, words, size, **halo, stroke_linejoin="round", fill_opacity="0.85")
        self.text(x, middle, words, size, **centred)

    def _use_pattern(self, name: str) -> None:
        if name not in self._patterns:
            self._patterns.add(name)
            add_pattern(self.defs, name, self.prefix)

    def _add(self, tag: str, attributes: dict[str, str], paint: dict[str, str]) -> Element:
        named = {name.replace("_", "-"): value for name, value in paint.items()}
        return SubElement(self.at, tag, {**attributes, **named})

    def svg(self) -> str:
        """Return the page as an SVG document."""
        return f'<?xml version="1.0" encoding="UTF-8"?>\n{self.element()}\n'

    def element(self) -> str:
        """Return the page as an SVG element, to stand in another document."""
        self._draw_hatches()
        return tostring(self.root, encoding="unicode")


_CORNERS = {
    "square": ((-1, -1), (1, -1), (1, 1), (-1, 1)),
    "triangle": ((0, -1), (1, 0.8), (-1, 0.8)),
    "diamond": ((0, -1), (1, 0), (0, 1), (-1, 0)),
    "arrow": ((0, -1), (0.62, 0.9), (0, 0.45), (-0.62, 0.9)),
    "bolt": ((0.2, -1), (-0.65, 0.2), (-0.05, 0.2), (-0.2, 1), (0.65, -0.25), (0.05, -0.25)),
}
"""Corners of the signs in a square from -1 to 1, y downward."""


def _turned(x: float, y: float, turn_deg: float) -> tuple[float, float]:
    angle = math.radians(turn_deg)
    cos, sin = math.cos(angle), math.sin(angle)
    return x * cos - y * sin, x * sin + y * cos


def clean(words: str) -> str:
    """Return a text on one line without what XML cannot hold."""
    return " ".join(_NOT_XML.sub("\ufffd", words).split())


def text_width(words: str, size: float) -> float:
    """Return about how wide a text is, in the unit of ``size``."""
    return size * sum(_share(c) for c in words)


def _share(letter: str) -> float:
    return _WIDE if unicodedata.east_asian_width(letter) in "WF" else _USUAL


def wrapped(words: str, width: float, size: float) -> list[str]:
    """Return a text in lines no wider than about ``width``; an overlong word is cut."""
    lines = [""]
    for word in clean(words).split(" "):
        rest = word
        longer = f"{lines[-1]} {rest}".strip()
        if text_width(longer, size) <= width:
            lines[-1] = longer
            continue
        if lines[-1]:
            lines.append("")
        # Never measured whole: a survey may hold a word of ten thousand letters.
        while (fits := _fitting(rest, width, size)) < len(rest):
            lines[-1], rest = rest[:fits], rest[fits:]
            lines.append("")
        lines[-1] = rest
    return [line for line in lines if line]


def _fitting(word: str, width: float, size: float) -> int:
    """Return how many letters of a word fit, at least one of a word that has any."""
    share = 0.0
    for count, letter in enumerate(word):
        share += _share(letter)
        if size * share > width:
            return max(count, 1)
    return len(word)
