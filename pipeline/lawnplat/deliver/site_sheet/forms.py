"""How a map page is laid out on A4, upright or across; all in millimetres."""

from __future__ import annotations

from dataclasses import dataclass

PAGE_MARGIN_MM = 8.0
"""Of the map pages: what any printer leaves free, and the page number."""
HEAD_MM = 12.0
STRIP_MM = 55.0
SIDE_MM = 62.0
TITLE_MM = 62.0
GAP_MM = 2.5
_LONG_MM, _SHORT_MM = 297.0, 210.0
"""A4 (ISO 216)."""
_SPARE_MM = 1.5
"""Kept free at the foot, so that no rounding makes a second page."""


@dataclass(frozen=True)
class Form:
    """One way to lay out a map page: the map's frame, and the box for legend and key map."""

    name: str
    map_width_mm: float
    map_height_mm: float
    key_width_mm: float
    key_height_mm: float
    columns: int


def _upright() -> Form:
    width, height = _SHORT_MM - 2 * PAGE_MARGIN_MM, _LONG_MM - 2 * PAGE_MARGIN_MM - _SPARE_MM
    map_height = height - HEAD_MM - STRIP_MM - GAP_MM
    return Form("upright", width, map_height, width - TITLE_MM - GAP_MM, STRIP_MM, 3)


def _across() -> Form:
    width, height = _LONG_MM - 2 * PAGE_MARGIN_MM, _SHORT_MM - 2 * PAGE_MARGIN_MM - _SPARE_MM
    map_width, map_height = width - SIDE_MM - GAP_MM, height - HEAD_MM
    return Form("across", map_width, map_height, SIDE_MM, map_height - STRIP_MM - GAP_MM, 1)


FORMS = (_upright(), _across())
