"""The map's wires: conductor, return lines, station, joints, pegs, and the numbered advisories."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon

from lawnplat.deliver.looks import BLACK
from lawnplat.deliver.picture import inks
from lawnplat.deliver.picture.canvas import Canvas
from lawnplat.deliver.picture.labels import Labels
from lawnplat.survey.types import Finding
from lawnplat.wire.types import Layout, Station
from lawnplat.works.types import Works

_ARROW_EVERY_MM = 45.0
_ARROW_STEP_MM = 0.8
_PEGS_APART_MM = 1.2
_FACING_MM = 3.4
_OF_MARKS = "setting_out"


def draw_wires(
    canvas: Canvas,
    layouts: Sequence[Layout],
    works: Works | None,
    labels: Labels,
    clip: str,
) -> None:
    """Draw everything that is laid in all loops, from the stations' ground up to the joints."""
    canvas.group("station_area", clip)
    paper = canvas.paper
    for layout in layouts:
        canvas.path(paper.path(layout.station.front), inks.FRONT)
        canvas.path(paper.path(layout.station.base), inks.BASE)
    canvas.group("cable_route", clip)
    for route in (layout.station.cable_route for layout in layouts):
        if route is not None:
            canvas.path(paper.path(route), inks.CABLE)
    canvas.group("return_lines", clip)
    for line in (line for layout in layouts for line in layout.return_lines):
        labels.keep_off(line.line)
        canvas.path(paper.path(line.line), inks.RETURN)
    canvas.group("perimeter_wire", clip)
    for layout in layouts:
        labels.keep_off(layout.perimeter.line)
        canvas.path(paper.path(layout.perimeter.line), inks.WIRE)
    if works is not None and _can_tell_apart(canvas, layouts, works):
        canvas.group("pegs", clip)
        for peg in works.pegs:
            canvas.point(*paper.xy(peg.point.x, peg.point.y), inks.PEG)
    canvas.group("marks", clip)
    for layout in layouts:
        _draw_arrows(canvas, layout.perimeter.line)
        _draw_marks(canvas, layout)
        name = "station" if len(layouts) == 1 else f"station {layout.loop}"
        _draw_facing(canvas, layout.station, name, labels)


def _can_tell_apart(canvas: Canvas, layouts: Sequence[Layout], works: Works) -> bool:
    """Return whether pegs are far enough apart on the page to be seen one by one."""
    wires = [layout.perimeter.line for layout in layouts]
    wires += [each.line for layout in layouts for each in layout.return_lines]
    length = canvas.paper.mm(sum(wire.length for wire in wires))
    return length >= _PEGS_APART_MM * len(works.pegs)


def _draw_arrows(canvas: Canvas, line: LineString) -> None:
    """Show which way the wire is laid, evenly along it and never at its ends."""
    paper = canvas.paper
    count = max(2, round(paper.mm(line.length) / _ARROW_EVERY_MM))
    step = paper.metres(_ARROW_STEP_MM)
    along = (np.arange(count) + 0.5) / count * line.length
    for at, place in zip(along, shapely.line_interpolate_point(line, along), strict=True):
        if not paper.shows(place.x, place.y):
            continue
        before, after = line.interpolate(at - step), line.interpolate(at + step)
        canvas.point(*paper.xy(place.x, place.y), inks.LAYING, _bearing(before, after))


def _bearing(start: Point, end: Point) -> float:
    """Return degrees clockwise from north."""
    return math.degrees(math.atan2(end.x - start.x, end.y - start.y))


def _draw_marks(canvas: Canvas, layout: Layout) -> None:
    for joint in layout.joints:
        ink = inks.JOINT.get(joint.joint, inks.JOINT["splice"])
        canvas.point(*canvas.paper.xy(joint.point.x, joint.point.y), ink)
    for test in layout.parking_tests:
        canvas.point(*canvas.paper.xy(test.point.x, test.point.y), inks.TEST)


def _draw_facing(canvas: Canvas, station: Station, name: str, labels: Labels) -> None:
    """Put an arrow in front of the station's point, the way its front faces."""
    x, y = canvas.paper.xy(station.point.x, station.point.y)
    angle = math.radians(station.bearing_deg)
    ahead = (x + _FACING_MM * math.sin(angle), y - _FACING_MM * math.cos(angle))
    canvas.point(*ahead, inks.FACING, station.bearing_deg)
    labels.keep_free(station.point.x, station.point.y, _FACING_MM)
    labels.ask_beside(station.point.x, station.point.y, name, _FACING_MM)


def with_a_place(
    numbered: Sequence[tuple[int, Finding]], parcel: Polygon | MultiPolygon
) -> list[tuple[int, Finding]]:
    """Return the advisories that are of one place; those of the whole property stand in its middle.

    A sign there would send the reader to a spot where there is nothing to see.
    """
    middle = shapely.point_on_surface(parcel)
    return [
        (number, each)
        for number, each in numbered
        if each.place is not None and not shapely.equals(each.place, middle)
    ]


def draw_advisories(
    canvas: Canvas, numbered: Sequence[tuple[int, Finding]], labels: Labels, clip: str
) -> None:
    """Put each advisory's number where it belongs on the map; marks have numbers of their own."""
    canvas.group("advisories", clip)
    for number, finding in numbered:
        if finding.rule == _OF_MARKS or finding.place is None or finding.place.is_empty:
            continue
        if not canvas.paper.shows(finding.place.x, finding.place.y):
            continue
        place = canvas.paper.xy(finding.place.x, finding.place.y)
        x, y = labels.free_spot(finding.place.x, finding.place.y, inks.ADVISORY.size / 2)
        if math.dist(place, (x, y)) > inks.ADVISORY.size / 2:
            canvas.outline(
                f"M{place[0]:.2f} {place[1]:.2f}L{x:.2f} {y:.2f}", stroke=BLACK, stroke_width="0.25"
            )
        canvas.point(x, y, inks.ADVISORY)
        canvas.text(
            x, y + 0.9, str(number), 2.5,
            text_anchor="middle", font_weight="bold",
        )  # fmt: skip
