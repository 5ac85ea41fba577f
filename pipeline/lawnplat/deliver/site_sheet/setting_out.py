"""The setting-out table: every mark with its tapes, and the fixed points they hang on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from lawnplat.deliver.site_sheet.markup import Html, element, figure, html, said, section, table
from lawnplat.works.types import FixedPoint, Mark, Works

_HOW = (
    "Hook one tape on each fixed point and pull both out until the two distances meet: there is "
    "the mark, on the side of the line from the first to the second fixed point that the table "
    "names. Check it with the ruler against the edge. Between two marks the wire is straight, or "
    "bows to the side given, at the middle, by the last column."
)


def setting_out_section(works: Works, *, several: bool) -> Html:
    """Return the section of a site that has marks.

    Parameters
    ----------
    works : Works
    several : bool
        Whether the site has several loops.
    """
    points = {point.name: point for point in works.fixed_points}
    pieces = [element("p", _HOW)]
    if works.fixed_points:
        pieces.append(_fixed_points(works.fixed_points))
    loops = sorted({mark.loop for mark in works.marks})
    for loop in loops:
        marks = [mark for mark in works.marks if mark.loop == loop]
        caption = f"Marks of loop {loop}" if several else "Marks"
        pieces.append(_marks(f"{caption} (lengths in metres)", marks, points))
    return section("Setting out", *pieces)


def _fixed_points(points: Sequence[FixedPoint]) -> Html:
    rows = (
        (each.name, said(each.what), figure(each.point.x), figure(each.point.y)) for each in points
    )
    heads = ("Point", "What it is", "Easting", "Northing")
    return table("Fixed points for tapes (metres)", heads, rows, right=(2, 3))


_HEADS = (
    "Mark", "What", "On wire", "At", "From edge", "Edge", "Tape 1", "Tape 2", "Cut", "Side",
    "Bow to next",
)  # fmt: skip


def _marks(caption: str, marks: Sequence[Mark], points: Mapping[str, FixedPoint]) -> Html:
    return table(caption, _HEADS, (_row(mark, points) for mark in marks), right=(3, 4, 8))


def _row(mark: Mark, points: Mapping[str, FixedPoint]) -> tuple[str, ...]:
    taped = bool(mark.from_a and mark.from_b)
    return (
        mark.name,
        mark.what,
        mark.on.replace("_", " "),
        figure(mark.chainage_m),
        figure(mark.edge_offset_m),
        mark.edge.replace("_", " ") or "-",
        _tape(mark.from_a, mark.dist_a_m) if taped else "-",
        _tape(mark.from_b, mark.dist_b_m) if taped else "-",
        f"{mark.angle_deg:.0f}°" if taped else "-",
        side_of(mark, points) or "-",
        _bow(mark.to_next_offset_m),
    )


def _tape(name: str, length_m: float) -> Html:
    return Html(f"<b>{html(name)}</b> {figure(length_m)}")


def _bow(offset_m: float) -> str:
    if offset_m != offset_m:  # noqa: PLR0124 - NaN
        return "-"
    if abs(offset_m) < 0.005:  # noqa: PLR2004 - shown to the centimetre
        return "straight"
    return f"{abs(offset_m):.2f} {'left' if offset_m > 0 else 'right'}"


def side_of(mark: Mark, points: Mapping[str, FixedPoint]) -> str:
    """Return on which side the mark lies of the way from its first to its second fixed point."""
    first, second = points.get(mark.from_a), points.get(mark.from_b)
    if first is None or second is None:
        return ""
    ahead_x, ahead_y = second.point.x - first.point.x, second.point.y - first.point.y
    to_x, to_y = mark.point.x - first.point.x, mark.point.y - first.point.y
    return "left" if ahead_x * to_y - ahead_y * to_x > 0 else "right"
