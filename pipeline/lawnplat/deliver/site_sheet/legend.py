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


def draw_key_map(
    outline: BaseGeometry, papers: Sequence[Paper], number: int, first: int = 1
) -> str:
    """Return a small map of all pages as an SVG element; the page itself is drawn heavy.

    Parameters
    ----------
    outline : shapely geometry
        The property.
    papers : sequence of Paper
        Of the pages numbered from ``first`` on. Of many, only the page itself is shown.
    number, first : int
    """
    shown = [(at, paper) for at, paper in enumerate(papers, start=first)
             if at == number or len(papers) <= _FEW]  # fmt: skip
    frames = {at: shapely.box(*paper.ground(0.0)) for at, paper in shown}
    west, south, east, north = shapely.total_bounds([outline, *frames.values()])
    scale = max(east - west, north - south) * 1000 / (_KEY_MAP_MM - 2)
    middle = (west + east) / 2, (south + north) / 2
    paper = Paper(_KEY_MAP_MM, _KEY_MAP_MM, 0, 0, _KEY_MAP_MM, _KEY_MAP_MM, *middle, scale)
    canvas = Canvas(paper, "Key map", f"Where map sheet {number} lies", f"k{number}-")
    grey = {"fill": LIGHT_GREY, "stroke": GREY, "stroke_width": "0.2", "fill_rule": "evenodd"}
    canvas.outline(paper.path(outline), **grey)
    for at, frame in frames.items():
        width, dash = ("0.7", "none") if at == number else ("0.2", "1 0.6")
        line = {"stroke": BLACK, "stroke_width": width, "stroke_dasharray": dash}
        canvas.outline(paper.path(frame), fill="none", **line)
    for at, frame in frames.items():
        weight = "bold" if at == number else "normal"
        canvas.label(
            *paper.xy(frame.centroid.x, frame.centroid.y), str(at), 3.6, font_weight=weight
        )
    return canvas.element()


def _blank(width: float, height: float) -> Paper:
    """Return a paper for drawing on in millimetres."""
    return Paper(width, height, 0, 0, width, height, width / 2, -height / 2, 1000.0)
