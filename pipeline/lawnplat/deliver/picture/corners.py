"""The map's corners where scale bar and north arrow hide least of it."""

from __future__ import annotations

from dataclasses import dataclass

import shapely

from lawnplat.deliver.picture.labels import Labels
from lawnplat.deliver.picture.paper import Paper
from lawnplat.planned import Plan

_NORTH_MM, _NORTH_HIGH_MM = 12.0, 17.0


@dataclass(frozen=True)
class Corners:
    """Where scale bar and north arrow stand: the bar's top left, and the arrow's side."""

    bar: tuple[float, float]
    north_at_left: bool


def free_corners(paper: Paper, plan: Plan, labels: Labels, bar_mm: tuple[float, float]) -> Corners:
    """Return the corners where scale bar and north arrow hide least; names keep off them.

    ``bar_mm`` is the bar's width and height with its words.
    """
    wide_mm, high_mm = bar_mm
    wires = [layout.perimeter.line for layout in plan.layouts]
    wires += [each.line for layout in plan.layouts for each in layout.return_lines]
    near, top = paper.left_mm + 1.5, paper.top_mm + 1.5
    far, bottom = near + paper.map_width_mm - 3, top + paper.map_height_mm - 3

    ground = shapely.union_all([plan.site.parcel, *(each.geometry for each in plan.site.features)])

    def hidden(box: _Box) -> tuple[float, float]:
        under = shapely.box(*paper.place(box[0], box[3]), *paper.place(box[2], box[1]))
        wire = sum(shapely.intersection(each, under).length for each in wires)
        return wire, float(shapely.intersection(ground, under).area)

    arrows = [_box(left, top, _NORTH_MM, _NORTH_HIGH_MM) for left in (far - _NORTH_MM, near)]
    arrow = min(arrows, key=hidden)
    high = top if arrow == arrows[0] else top + _NORTH_HIGH_MM
    places = [(near, bottom - high_mm), (far - wide_mm, bottom - high_mm)]
    places += [(near, high), (far - wide_mm, top + _NORTH_HIGH_MM)]
    bar = min((_box(*place, wide_mm, high_mm) for place in places), key=hidden)
    labels.keep_clear(*arrow)
    labels.keep_clear(*bar)
    return Corners((bar[0], bar[1]), arrow == arrows[1])


_Box = tuple[float, float, float, float]
"""Left, top, right, bottom on the page."""


def _box(left: float, top: float, width: float, height: float) -> _Box:
    return left, top, left + width, top + height
