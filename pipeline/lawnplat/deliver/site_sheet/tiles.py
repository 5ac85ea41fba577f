"""Which map pages show a property: one at a true scale, or several that overlap."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.picture.paper import Paper, round_up
from lawnplat.deliver.site_sheet.forms import FORMS, Form

_PAD_MM = 2.0
"""Free paper between the property and the map's frame."""
_LINE_MM = 0.2
"""Half the frame's line stands outside the frame."""
_OVERLAP_MM = 15.0
"""Ground that two neighbouring map pages both show."""
_RULE = 1e-9
WORKING_SCALE = 500.0
"""At a smaller scale a map is an overview: nobody sets out by it."""

_TRIED: tuple[tuple[float, int], ...] = (
    (100, 1), (200, 1), (250, 1), (200, 3), (250, 3), (500, 1), (500, 4),
    (1000, 1), (1000, 2), (2000, 1), (2000, 2),
)  # fmt: skip
"""Scale and most pages, best first. A long garden gets up to three pages before 1:500."""


@dataclass(frozen=True)
class MapPages:
    """The papers of all map pages, in reading order, and the form that they share."""

    form: Form
    papers: tuple[Paper, ...]


def map_pages(shown: BaseGeometry) -> MapPages:
    """Return the pages that show the ground at the best scale.

    Parameters
    ----------
    shown : shapely geometry
        All that must be on the map, in metres.

    Returns
    -------
    MapPages
        One page at 1:100, 1:200, 1:250 or 1:500 where one will do; a row or column of pages for
        long ground; smaller scales only for ground that is too large for these.
    """
    for scale, most in _TRIED:
        found = [pages for form in FORMS if (pages := _pages(shown, form, scale, most))]
        if found:
            return min(found, key=lambda each: len(each.papers))
    form = min(FORMS, key=lambda each: _needed(shown, each))
    return MapPages(form, tuple(_papers(shown, form, round_up(_needed(shown, form)), (1, 1))))


def _pages(shown: BaseGeometry, form: Form, scale: float, most: int) -> MapPages | None:
    """Return the pages at a scale: one row or column of at most so many, or None."""
    west, south, east, north = shown.bounds
    columns = _count((east - west) * 1000 / scale, form.map_width_mm)
    rows = _count((north - south) * 1000 / scale, form.map_height_mm)
    if min(columns, rows) > 1 or max(columns, rows) > most:
        return None
    return MapPages(form, tuple(_papers(shown, form, scale, (columns, rows))))


def _count(length_mm: float, frame_mm: float) -> int:
    room = frame_mm - 2 * _PAD_MM
    if length_mm <= room + _RULE:
        return 1
    return math.ceil((length_mm - _OVERLAP_MM) / (room - _OVERLAP_MM) - _RULE)


def _papers(
    shown: BaseGeometry, form: Form, scale: float, counts: tuple[int, int]
) -> Iterator[Paper]:
    west, south, east, north = shown.bounds
    columns, rows = counts
    for row in range(rows):
        for column in range(columns):
            paper = Paper(
                width_mm=form.map_width_mm,
                height_mm=form.map_height_mm,
                left_mm=_LINE_MM,
                top_mm=_LINE_MM,
                map_width_mm=form.map_width_mm - 2 * _LINE_MM,
                map_height_mm=form.map_height_mm - 2 * _LINE_MM,
                east_m=_middle(west, east, form.map_width_mm, scale, (column, columns)),
                north_m=-_middle(-north, -south, form.map_height_mm, scale, (row, rows)),
                scale=scale,
                cut=True,
            )
            if shapely.box(*paper.ground(0.0)).intersects(shown):
                yield paper


def _middle(
    low: float, high: float, frame_mm: float, scale: float, place: tuple[int, int]
) -> float:
    """Return where the middle of one of several evenly spread frames lies, in metres."""
    index, count = place
    if count == 1:
        return (low + high) / 2
    inward = (frame_mm / 2 - _PAD_MM) * scale / 1000
    first, last = low + inward, high - inward
    return first + (last - first) * index / (count - 1)


def _needed(shown: BaseGeometry, form: Form) -> float:
    west, south, east, north = shown.bounds
    wide = (east - west) * 1000 / (form.map_width_mm - 2 * _PAD_MM)
    high = (north - south) * 1000 / (form.map_height_mm - 2 * _PAD_MM)
    return max(wide, high, 1.0)
