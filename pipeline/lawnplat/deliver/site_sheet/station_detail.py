"""The enlarged station: base, front, straight wire, wire ends, cable, return lines, dimensions."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.looks import BLACK, WHITE
from lawnplat.deliver.picture.canvas import Canvas
from lawnplat.deliver.picture.corners import free_corners
from lawnplat.deliver.picture.draw import clip_to_map, draw_frame
from lawnplat.deliver.picture.ground_map import draw_ground, draw_outlets
from lawnplat.deliver.picture.labels import Labels
from lawnplat.deliver.picture.panel import draw_north
from lawnplat.deliver.picture.paper import Paper
from lawnplat.deliver.picture.wire_map import draw_wires
from lawnplat.deliver.site_sheet.map_page import BAR_MM, draw_marks, draw_scale_bar
from lawnplat.planned import Plan
from lawnplat.wire.types import Layout, Station

_WIDTH_MM, _HEIGHT_MM = 183.6, 196.0
_SCALES = (20.0, 25.0, 50.0, 100.0)
_AROUND_M = 0.35
"""Ground shown beyond base, front and straight wire, dimensions included."""
_STRAIGHT_DEG = 5.0
"""A wire that turns by more than this is no longer straight."""
_LONGEST_STRAIGHT_M = 1.2
"""So much straight wire beside a station is drawn and measured at most."""
_CM = 0.01
_OFF_MM = 6.0
_BAR_M = 1.0


@dataclass(frozen=True)
class StationSizes:
    """Sizes of one station in metres; "left" and "right" are seen from behind it."""

    base_length_m: float
    base_width_m: float
    front_depth_m: float
    front_width_m: float
    straight_left_m: float
    straight_right_m: float


def station_sizes(layout: Layout) -> StationSizes:
    """Return the station's sizes, measured on the plan's own geometry."""
    axes = _Axes(layout.station)
    base, front = axes.box(layout.station.base), axes.box(layout.station.front)
    left, right = straight_ends(layout)
    return StationSizes(
        base_length_m=base[2] - base[0],
        base_width_m=base[3] - base[1],
        front_depth_m=front[2] - front[0],
        front_width_m=front[3] - front[1],
        straight_left_m=layout.station.point.distance(left),
        straight_right_m=layout.station.point.distance(right),
    )


def straight_words(length_m: float) -> str:
    """Return how long a straight stretch is; where it was not followed to its end, so."""
    if length_m >= _LONGEST_STRAIGHT_M - _CM:
        return f"over {_LONGEST_STRAIGHT_M:.1f} m"
    return f"{length_m:.2f} m"


class _Axes:
    """The station's own axes: ahead the way its front faces, and to the right."""

    def __init__(self, station: Station) -> None:
        angle = math.radians(station.bearing_deg)
        self.at = np.array([station.point.x, station.point.y])
        self.ahead = np.array([math.sin(angle), math.cos(angle)])
        self.right = np.array([math.cos(angle), -math.sin(angle)])

    def box(self, area: Polygon) -> tuple[float, float, float, float]:
        """Return back, left, front and right of an area, in metres from the station's point."""
        corners = shapely.get_coordinates(area) - self.at
        along, across = corners @ self.ahead, corners @ self.right
        return float(along.min()), float(across.min()), float(along.max()), float(across.max())

    def place(self, along: float, across: float) -> tuple[float, float]:
        """Return the coordinates of a place given in these axes."""
        x, y = self.at + along * self.ahead + across * self.right
        return float(x), float(y)


def straight_ends(layout: Layout) -> tuple[Point, Point]:
    """Return where the wire stops running straight to the left and to the right of the station."""
    line = layout.perimeter.line
    return _straight_end(line), _straight_end(line.reverse())


def _straight_end(line: LineString) -> Point:
    coords = shapely.get_coordinates(line)
    legs = np.diff(coords, axis=0)
    lengths = np.hypot(*legs.T)
    whole = np.cumsum(lengths)
    start = legs[np.argmax(lengths > 0)]
    turn = np.degrees(np.arctan2(legs[:, 1], legs[:, 0]) - math.atan2(start[1], start[0]))
    bent = np.abs((turn + 180.0) % 360.0 - 180.0) > _STRAIGHT_DEG
    first = int(np.argmax(bent)) if bent.any() else len(legs)
    reach = min(float(whole[first - 1]), _LONGEST_STRAIGHT_M) if first else 0.0
    return line.interpolate(reach)


def draw_station(plan: Plan, layout: Layout) -> Canvas:
    """Draw one station at 1:20, or 1:50 where it is too large for that; north is up."""
    shown = _shown(layout)
    paper = _paper(shown)
    canvas = Canvas(
        paper,
        f"Station of loop {layout.loop}, scale 1:{paper.scale:g}",
        "Base, ground kept clear, straight wire, wire ends, cable and return lines, with sizes.",
        prefix=f"s{layout.loop}-",
    )
    canvas.rect(0, 0, paper.width_mm, paper.height_mm, fill=WHITE)
    labels, clip = Labels(paper), clip_to_map(canvas)
    corners = free_corners(paper, plan, labels, BAR_MM)
    draw_ground(canvas, plan, labels, clip)
    draw_wires(canvas, [layout], plan.works, labels, clip)
    draw_outlets(canvas, plan, labels, clip)
    if plan.works is not None:
        draw_marks(canvas, plan.works, labels, clip)
    canvas.group("dimensions", clip)
    for each in _dimensions(layout, paper):
        _draw_dimension(canvas, each, labels)
    _name_wires(layout, labels)
    canvas.group("names", clip)
    labels.write(canvas)
    draw_frame(canvas)
    draw_scale_bar(canvas, corners.bar, _BAR_M)
    draw_north(canvas, at_left=corners.north_at_left)
    return canvas


def _shown(layout: Layout) -> BaseGeometry:
    station = layout.station
    parts = [station.base, station.front, *straight_ends(layout)]
    return shapely.union_all(parts).buffer(_AROUND_M)


def _paper(shown: BaseGeometry) -> Paper:
    west, south, east, north = shown.bounds
    needed = max((east - west) * 1000 / _WIDTH_MM, (north - south) * 1000 / _HEIGHT_MM)
    scale = next((each for each in _SCALES if each >= needed), _SCALES[-1])
    middle = (west + east) / 2, (south + north) / 2
    frame = (_WIDTH_MM, _HEIGHT_MM)
    return Paper(*frame, 0.0, 0.0, *frame, *middle, scale, cut=True)


@dataclass(frozen=True)
class _Dimension:
    """A length to be drawn beside what it measures: ends, which way to move it off, in words."""

    start: tuple[float, float]
    end: tuple[float, float]
    off: tuple[float, float]
    words: str


def _dimensions(layout: Layout, paper: Paper) -> Iterator[_Dimension]:
    """Yield the sizes; ``off`` is in the station's axes: ahead and right, in steps of paper."""
    axes, sizes = _Axes(layout.station), station_sizes(layout)
    back, left, ahead, right = axes.box(layout.station.base)
    near, front_left, far, front_right = axes.box(layout.station.front)
    yield _dimension(axes, (back, left), (ahead, left), (0, -1), f"{sizes.base_length_m:.2f} m")
    yield _dimension(axes, (back, left), (back, right), (-1, 0), f"{sizes.base_width_m:.2f} m")
    yield _dimension(
        axes, (near, front_right), (far, front_right), (0, 1), f"{sizes.front_depth_m:.2f} m clear"
    )
    yield _dimension(
        axes, (far, front_left), (far, front_right), (1, 0), f"{sizes.front_width_m:.2f} m clear"
    )
    for side, length in ((-1, sizes.straight_left_m), (1, sizes.straight_right_m)):
        words = f"{straight_words(length)} straight"
        behind = paper.mm(-back) / _OFF_MM + 2
        yield _dimension(axes, (0.0, 0.0), (0.0, side * length), (-behind, 0), words)


def _dimension(
    axes: _Axes,
    start: tuple[float, float],
    end: tuple[float, float],
    off: tuple[float, float],
    words: str,
) -> _Dimension:
    moved = off[0] * axes.ahead + off[1] * axes.right
    return _Dimension(axes.place(*start), axes.place(*end), (moved[0], moved[1]), words)


def _draw_dimension(canvas: Canvas, each: _Dimension, labels: Labels) -> None:
    """Draw the line between two ticks, moved off what it measures, with its length on it."""
    shift = np.array([each.off[0], -each.off[1]]) * _OFF_MM
    start, end = (np.array(canvas.paper.xy(*place)) for place in (each.start, each.end))
    far_start, far_end = start + shift, end + shift
    thin = {"stroke": BLACK, "stroke_width": "0.15", "fill": "none"}
    for a, b in ((start, far_start), (end, far_end)):
        canvas.outline(_path(a, b + shift / np.hypot(*shift) * 1.2), **thin, stroke_dasharray="0.6")
    canvas.outline(_path(far_start, far_end), stroke=BLACK, stroke_width="0.3", fill="none")
    along = (far_end - far_start) / max(float(np.hypot(*(far_end - far_start))), 1e-9)
    tick = np.array([along[1], -along[0]]) + along
    for place in (far_start, far_end):
        canvas.outline(_path(place - tick, place + tick), stroke=BLACK, stroke_width="0.45")
    middle = canvas.paper.place(*((far_start + far_end) / 2))
    labels.ask(*middle, each.words, must=True)


def _path(start: np.ndarray, end: np.ndarray) -> str:
    return f"M{start[0]:.2f} {start[1]:.2f}L{end[0]:.2f} {end[1]:.2f}"


def _name_wires(layout: Layout, labels: Labels) -> None:
    """Name the wire's ends, the cable and each return line where it leaves the front."""
    coords = layout.perimeter.line.coords
    for (x, y), name in ((coords[0], "left wire end"), (coords[-1], "right wire end")):
        labels.ask_beside(x, y, name, 2.0)
    station = layout.station
    if station.cable_route is not None:
        near = station.cable_route.interpolate(max(station.cable_route.length - 0.6, 0.0))
        labels.ask(near.x, near.y, f"cable to outlet, {station.outlet_distance_m:.1f} m")
    for each in layout.return_lines:
        place = each.line.interpolate(min(1.2, each.line.length / 2))
        labels.ask_beside(place.x, place.y, f"return line {each.number}", 1.0)
