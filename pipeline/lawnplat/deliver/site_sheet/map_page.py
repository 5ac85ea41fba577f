"""One map page: the plan to scale, with contours, setting-out marks, scale bar and north."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from lawnplat.deliver.looks import BLACK, WHITE
from lawnplat.deliver.picture import inks
from lawnplat.deliver.picture.canvas import Canvas
from lawnplat.deliver.picture.corners import free_corners
from lawnplat.deliver.picture.draw import clip_to_map, draw_frame
from lawnplat.deliver.picture.ground_map import draw_ground, draw_outlets
from lawnplat.deliver.picture.labels import Labels
from lawnplat.deliver.picture.panel import draw_north
from lawnplat.deliver.picture.paper import Paper
from lawnplat.deliver.picture.wire_map import draw_advisories, draw_wires, with_a_place
from lawnplat.deliver.site_sheet.contours import Contours
from lawnplat.planned import Plan
from lawnplat.survey.types import Finding
from lawnplat.works.types import Works

_TEXT_MM = 2.6
_SHORT_BAR_M, _LONG_BAR_M = 10.0, 50.0
_COARSE = 500.0
"""At smaller scales than this the bar is the long one."""
_BAR_FIELDS = 5
BAR_MM = (58.0, 10.5)
"""Width and height of the scale bar with its words."""


def draw_map_page(
    paper: Paper,
    plan: Plan,
    numbered: Sequence[tuple[int, Finding]],
    lines: Contours | None,
    number: int,
    *,
    marks: bool = True,
) -> Canvas:
    """Draw the map of one page.

    Parameters
    ----------
    paper : Paper
        The page's scale and the ground that it shows.
    plan : Plan
    numbered : sequence of (int, Finding)
        Advisories with the numbers that the sheet's list gives them.
    lines : Contours or None
    number : int
        Of the page; it stands before every id in the drawing.
    marks : bool
        Whether setting-out marks are drawn; on an overview they would hide all else.
    """
    title = f"Map, sheet {number}, scale 1:{paper.scale:g}"
    about = "Lawn, wires, station and setting-out marks; the tables on this sheet hold the figures."
    canvas = Canvas(paper, title, about, prefix=f"m{number}-")
    canvas.rect(0, 0, paper.width_mm, paper.height_mm, fill=WHITE)
    labels, clip = Labels(paper), clip_to_map(canvas)
    corners = free_corners(paper, plan, labels, BAR_MM)
    draw_ground(canvas, plan, labels, clip)
    if lines is not None:
        _draw_contours(canvas, lines, labels, clip)
    if plan.layouts:
        draw_wires(canvas, plan.layouts, plan.works, labels, clip)
    draw_outlets(canvas, plan, labels, clip)
    if plan.works is not None and marks:
        draw_marks(canvas, plan.works, labels, clip)
    draw_advisories(canvas, with_a_place(numbered, plan.site.parcel), labels, clip)
    canvas.group("names", clip)
    labels.write(canvas)
    draw_frame(canvas)
    draw_scale_bar(canvas, corners.bar)
    draw_north(canvas, at_left=corners.north_at_left)
    return canvas


def _draw_contours(canvas: Canvas, lines: Contours, labels: Labels, clip: str) -> None:
    canvas.group("contours", clip)
    digits = 1 if lines.interval_m < 1 else 0
    for each in lines.lines:
        canvas.path(canvas.paper.path(each.line), inks.contour_ink(lines.interval_m, each.index))
        seen = shapely.get_parts(canvas.paper.seen(each.line))
        if shapely.length(seen).max(initial=0.0) > 0:
            place = seen[shapely.length(seen).argmax()].interpolate(0.5, normalized=True)
            labels.ask_close(place.x, place.y, f"{each.height_m:.{digits}f}")


def draw_marks(canvas: Canvas, works: Works, labels: Labels, clip: str) -> None:
    """Draw the fixed points and the setting-out marks with their names."""
    canvas.group("setting_out", clip)
    for point in works.fixed_points:
        x, y = point.point.x, point.point.y
        canvas.point(*canvas.paper.xy(x, y), inks.FIXED)
        labels.keep_free(x, y, inks.FIXED.size / 2)
        labels.ask_beside(x, y, point.name, inks.FIXED.size / 2)
    for mark in works.marks:
        x, y = mark.point.x, mark.point.y
        canvas.point(*canvas.paper.xy(x, y), inks.MARK)
        labels.keep_free(x, y, inks.MARK.size / 2)
        labels.ask_beside(x, y, mark.name, inks.MARK.size / 2)


def draw_scale_bar(canvas: Canvas, corner: tuple[float, float], length_m: float = 0.0) -> None:
    """Draw a bar whose length on the ground and on paper is written below it."""
    paper = canvas.paper
    canvas.group("scale_bar")
    length = length_m or (_SHORT_BAR_M if paper.scale <= _COARSE else _LONG_BAR_M)
    long, step = paper.mm(length), paper.mm(length) / _BAR_FIELDS
    wide, high = BAR_MM
    canvas.rect(*corner, max(wide, long + 8), high, fill=WHITE, fill_opacity="0.7")
    left, y = corner[0] + 3, corner[1] + 5.5
    for field in range(_BAR_FIELDS):
        fill = WHITE if field % 2 else BLACK
        canvas.rect(left + field * step, y - 1.2, step, 1.2, fill=fill)
    line = {"stroke": BLACK, "stroke_width": "0.25", "fill": "none"}
    canvas.outline(f"M{left:.2f} {y:.2f}h{long:.2f}", id=f"{canvas.prefix}bar", **line)
    canvas.outline(f"M{left:.2f} {y - 1.2:.2f}h{long:.2f}", **line)
    canvas.text(left, y - 2.2, "0", _TEXT_MM, text_anchor="middle")
    canvas.text(left + long, y - 2.2, f"{length:g} m", _TEXT_MM, text_anchor="middle")
    words = f"1:{paper.scale:g}, the bar is {length:g} m, {long:g} mm on paper"
    canvas.text(left - 1, y + 3.6, words, _TEXT_MM)
