"""The legend of the maps, and the small map that shows where each page lies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.looks import BLACK, GREY, LIGHT_GREY
from lawnplat.deliver.picture.canvas import Canvas, Ink, wrapped
from lawnplat.deliver.picture.paper import Paper
from lawnplat.deliver.site_sheet.forms import Form

_TEXT_MM = 2.5
_ROW_MM = 4.4
_SWATCH_MM = 6.0
_RUNS_ON_MM = 3.0
"""A label of usual letters is narrower than reckoned by so much."""
_HEADING_MM = 4.6
_KEY_MAP_MM = 40.0
_FEW = 6
"""Of more map pages the key map numbers only the page itself."""


def draw_legend(form: Form, key: Mapping[str, Ink], number: int, *, narrow: bool) -> str:
    """Return the legend as an SVG element.

    Parameters
    ----------
    form : Form
    key : mapping of str to Ink
        What the map used, in the order in which it was drawn.
    number : int
        Of the map page.
    narrow : bool
        Whether a key map takes some of the room.
    """
    width, height = _legend_size(form, narrow=narrow)
    canvas = Canvas(
        _blank(width, height), "Legend", f"What is drawn on map sheet {number}", f"l{number}-"
    )
    canvas.text(0, 3.4, "Legend", 3.2, font_weight="bold")
    columns = form.columns - (1 if narrow and form.columns > 1 else 0)
    rows = -(-len(key) // columns)
    step = min(_ROW_MM, (height - _HEADING_MM) / max(rows, 1))
    for index, ink in enumerate(key.values()):
        column, row = divmod(index, rows)
        x, y = column * width / columns, _HEADING_MM + (row + 0.75) * step
        room = width / columns - _SWATCH_MM - 1.3
        canvas.swatch(x + 0.3, y - 0.9, _SWATCH_MM, ink)
        words = wrapped(ink.label, room + _RUNS_ON_MM, _TEXT_MM)[0]
        canvas.text(x + _SWATCH_MM + 1.3, y, words, _TEXT_MM)
    return canvas.element()


def _legend_size(form: Form, *, narrow: bool) -> tuple[float, float]:
    if not narrow:
        return form.key_width_mm, form.key_height_mm
    if form.columns > 1:
        return form.key_width_mm - _KEY_MAP_MM - 2, form.key_height_mm
    return form.key_width_mm, form.key_height_mm - _KEY_MAP_MM - 2


def draw_key_map(outline: BaseGeometry, papers: Sequence[Paper], number: int) -> str:
    """Return a small map of all pages as an SVG element; the page itself is drawn heavy."""
    frames = [shapely.box(*paper.ground(0.0)) for paper in papers]
    west, south, east, north = shapely.total_bounds([outline, *frames])
    room = _KEY_MAP_MM - 2
    scale = max(east - west, north - south) * 1000 / room
    paper = Paper(
        _KEY_MAP_MM, _KEY_MAP_MM, 0, 0, _KEY_MAP_MM, _KEY_MAP_MM,
        (west + east) / 2, (south + north) / 2, scale,
    )  # fmt: skip
    canvas = Canvas(paper, "Key map", f"Where map sheet {number} lies", f"k{number}-")
    small = len(frames) > _FEW
    canvas.outline(
        paper.path(outline), fill=LIGHT_GREY, stroke=GREY, stroke_width="0.2", fill_rule="evenodd"
    )
    for index, frame in enumerate(frames, start=1):
        own = index == number
        canvas.outline(
            paper.path(frame), fill="none", stroke=BLACK, stroke_width="0.7" if own else "0.2",
            stroke_dasharray="none" if own else "1 0.6",
        )  # fmt: skip
    for index, each in enumerate(papers, start=1):
        if small and index != number:
            continue
        x, y = paper.xy(each.east_m, each.north_m)
        canvas.label(x, y, str(index), 3.6, font_weight="bold" if index == number else "normal")
    return canvas.element()


def _blank(width: float, height: float) -> Paper:
    """Return a paper for drawing on in millimetres."""
    return Paper(width, height, 0, 0, width, height, width / 2, -height / 2, 1000.0)
