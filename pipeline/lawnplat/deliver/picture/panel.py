"""The column beside the map: title, figures, key, advisories, caution; scale bar and north."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from lawnplat.deliver.looks import BLACK, GREY, VERMILION, WHITE
from lawnplat.deliver.picture.canvas import Canvas, text_width, wrapped
from lawnplat.deliver.picture.paper import MARGIN_MM, PANEL_MM, Paper, round_up
from lawnplat.planned import Plan, Status
from lawnplat.survey.types import Finding
from lawnplat.wire.types import Layout

CAUTION = (
    "Before digging: have buried services located and marked. "
    "Mains voltage: a licensed electrician only."
)
_TITLE_MM, _BODY_MM, _SMALL_MM = 5.0, 3.0, 2.6
_ROW_MM = 4.7
_LINE_MM = 3.5
_SWATCH_MM = 7.0
_STATUS_WORDS = {
    Status.PLANNED: "planned",
    Status.PLANNED_WITH_ADVISORIES: "planned, with advisories",
    Status.NOT_PLANNABLE: "CANNOT BE PLANNED: do not lay",
    Status.BAD_INPUT: "BAD INPUT: do not lay",
}


@dataclass
class _Column:
    """A place to write downwards."""

    canvas: Canvas
    left: float
    width: float
    y: float
    bottom: float

    def lines(self, words: str, size: float, step: float, **paint: str) -> None:
        for line in wrapped(words, self.width, size):
            self.y += step
            self.canvas.text(self.left, self.y, line, size, **paint)

    def heading(self, words: str) -> None:
        self.y += 2.5
        self.canvas.rect(self.left, self.y, self.width, 0.2, fill=GREY)
        self.lines(words, _BODY_MM, 4.6, font_weight="bold")

    def room(self, needed: float) -> bool:
        return self.y + needed <= self.bottom


def draw_panel(canvas: Canvas, plan: Plan, numbered: Sequence[tuple[int, Finding]]) -> None:
    """Draw the column; the key lists the inks that the canvas has used so far."""
    paper = canvas.paper
    canvas.group("panel")
    left = paper.width_mm - MARGIN_MM - PANEL_MM
    bottom = paper.height_mm - MARGIN_MM
    column = _Column(canvas, left, PANEL_MM, MARGIN_MM - 1, bottom)
    _write_title(column, plan)
    _write_figures(column, plan)
    _draw_key(column)
    column.bottom = bottom - _write_caution(column, bottom)
    _write_advisories(column, numbered)


def _write_title(column: _Column, plan: Plan) -> None:
    site = plan.site
    title = site.label or site.property_id
    most = 2
    for line in wrapped(title, column.width, _TITLE_MM)[:most]:
        column.y += _TITLE_MM * 1.15
        column.canvas.text(column.left, column.y, line, _TITLE_MM, font_weight="bold")
    known = f"property {site.property_id}, " if site.label else ""
    for line in wrapped(f"{known}machine class {plan.machine.name}", column.width, _SMALL_MM)[
        :most
    ]:
        column.y += 4.0
        column.canvas.text(column.left, column.y, line, _SMALL_MM)
    done = plan.status in {Status.PLANNED, Status.PLANNED_WITH_ADVISORIES}
    colour, weight = (BLACK, "normal") if done else (VERMILION, "bold")
    column.lines(_STATUS_WORDS[plan.status], _BODY_MM, 4.2, fill=colour, font_weight=weight)


def _write_figures(column: _Column, plan: Plan) -> None:
    column.y += 1.0
    for name, figure in figures(plan):
        column.y += 4.0
        column.canvas.text(column.left, column.y, name, _BODY_MM)
        column.canvas.text(
            column.left + column.width, column.y, figure, _BODY_MM,
            text_anchor="end", font_weight="bold",
        )  # fmt: skip


def figures(plan: Plan) -> Iterator[tuple[str, str]]:
    """Yield the headline figures, as far as the plan came."""
    if plan.ground is not None:
        mown = sum(part.area.area for part in plan.ground.parts)
        yield "Lawn", f"{plan.ground.lawn.area:.0f} m²"
        yield "Mown by the machine", f"{mown:.0f} m²"
    yield from _wire_figures(plan.layouts)
    if plan.works is not None:
        yield "Pegs", f"{len(plan.works.pegs)}"


def _wire_figures(layouts: Sequence[Layout]) -> Iterator[tuple[str, str]]:
    """Yield what is laid: line by line for one loop, in sums for several."""
    for layout in layouts:
        name = "Perimeter wire" if len(layouts) == 1 else f"Perimeter wire, loop {layout.loop}"
        yield name, f"{layout.perimeter.line.length:.1f} m"
    lines = [line for layout in layouts for line in layout.return_lines]
    if len(layouts) == 1:
        for line in lines:
            yield f"Return line {line.number}", f"{line.line.length:.1f} m"
    elif lines:
        yield f"{len(lines)} return lines", f"{sum(each.line.length for each in lines):.1f} m"


def _draw_key(column: _Column) -> None:
    """List what was drawn, two abreast where both names are short."""
    inks = list(column.canvas.key.values())
    if not inks:
        return
    column.heading("Key")
    column.y += 0.6
    half = column.width / 2
    room = half - _SWATCH_MM - 2.5
    at_left = True
    for ink in inks:
        narrow = text_width(ink.label, _SMALL_MM) <= room
        if at_left or not narrow:
            column.y += _ROW_MM
            at_left = True
        x = column.left if at_left else column.left + half
        column.canvas.swatch(x, column.y - 1.0, _SWATCH_MM, ink)
        column.canvas.text(x + _SWATCH_MM + 1.5, column.y, ink.label, _SMALL_MM)
        at_left = not (at_left and narrow)


def _write_caution(column: _Column, bottom: float) -> float:
    """Write the caution at the foot and return how high it is."""
    lines = wrapped(CAUTION, column.width - 4, _BODY_MM)
    height = len(lines) * 4.0 + 3.5
    canvas, top = column.canvas, bottom - height
    canvas.rect(
        column.left, top, column.width, height, fill=WHITE, stroke=BLACK, stroke_width="0.5"
    )
    for index, line in enumerate(lines):
        canvas.text(column.left + 2, top + 4.4 + index * 4.0, line, _BODY_MM, font_weight="bold")
    return height + 2


def _write_advisories(column: _Column, numbered: Sequence[tuple[int, Finding]]) -> None:
    """List the advisories as far as there is room; the plan file holds them all."""
    if not numbered or not column.room(12):
        return
    column.heading("Look at this")
    column.y += 0.4
    for done, (number, finding) in enumerate(numbered):
        words = f"{number}. {finding.text}"
        last = done == len(numbered) - 1
        height = len(wrapped(words, column.width, _SMALL_MM)) * _LINE_MM
        if not column.room(height + (0 if last else _LINE_MM)):
            rest = len(numbered) - done
            column.lines(f"... and {rest} more in the plan file", _SMALL_MM, _LINE_MM)
            return
        column.lines(words, _SMALL_MM, _LINE_MM)
        column.y += 0.8


def draw_scale_bar(canvas: Canvas, corner: tuple[float, float]) -> None:
    """Draw a bar of a round length with its top left in ``corner``, and the scale in words."""
    paper = canvas.paper
    canvas.group("scale_bar")
    length, words = _bar(paper)
    long = paper.mm(length)
    left, y = corner[0] + 1.5, corner[1] + 7.5
    canvas.rect(*corner, *bar_size_mm(paper), fill=WHITE, fill_opacity="0.85")
    canvas.rect(left, y - 1.6, long, 1.6, fill=WHITE, stroke=BLACK, stroke_width="0.25")
    canvas.rect(left, y - 1.6, long / 2, 1.6, fill=BLACK)
    canvas.text(left, y - 3.2, words, _SMALL_MM)
    canvas.text(left + long + 1.5, y, f"{length:g} m", _SMALL_MM)


def bar_size_mm(paper: Paper) -> tuple[float, float]:
    """Return the width and height of the scale bar with its words."""
    length, words = _bar(paper)
    long = max(paper.mm(length), text_width(words, _SMALL_MM))
    return long + text_width(f"{length:g} m", _SMALL_MM) + 4, 10.0


def _bar(paper: Paper) -> tuple[float, str]:
    """Return the bar's length in metres, and the words over it."""
    return round_up(paper.metres(24.0), (1.0, 2.0, 5.0)), f"1:{paper.scale:g} on A4"


def draw_north(canvas: Canvas, *, at_left: bool = False) -> None:
    """Draw an arrow to grid north in the map's top right corner, or its top left one."""
    paper = canvas.paper
    canvas.group("north")
    x = paper.left_mm + (7 if at_left else paper.map_width_mm - 7)
    y = paper.top_mm + 8
    canvas.rect(x - 5, y - 6.5, 10, 16, fill=WHITE, fill_opacity="0.85")
    arrow = f"M{x} {y - 5}L{x + 3.2} {y + 4}L{x} {y + 2}Z"
    canvas.outline(arrow, fill=BLACK, stroke=BLACK, stroke_width="0.3")
    other = f"M{x} {y - 5}L{x - 3.2} {y + 4}L{x} {y + 2}Z"
    canvas.outline(other, fill=WHITE, stroke=BLACK, stroke_width="0.3")
    canvas.text(x, y + 8.4, "N", 3.6, text_anchor="middle", font_weight="bold")
