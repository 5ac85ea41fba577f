"""The map's ground: property, lawn, what is mown, what is given up, slopes, surveyed things."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.picture import inks
from lawnplat.deliver.picture.canvas import Canvas, Ink
from lawnplat.deliver.picture.labels import Labels
from lawnplat.ground.types import Ground
from lawnplat.planned import Plan
from lawnplat.survey.types import Feature

_GIVEN_UP = {
    "too_steep": inks.STEEP,
    "cross_fall": inks.SLIDE,
    "too_narrow": inks.NARROW,
    "too_small": inks.NARROW,
}
_SLOPES = {"workable": inks.WORKABLE, "too_steep": inks.STEEP}
_SEEN_MM2 = 0.5
"""Ground smaller than this on the page is not seen, so that the key need not explain it."""
_ON_TOP = ("buried_service", "neighbour_wire", "drop")
"""Kinds drawn over the others: what must not be overlooked."""
_OUTLET, _OUTLET_MM = "power_outlet", 1.8
"""Half the size of its sign."""


def draw_ground(canvas: Canvas, plan: Plan, labels: Labels, clip: str) -> None:
    """Draw everything below the wires; outlets, small as they are, come over them."""
    if plan.ground is not None:
        canvas.group("ground", clip)
        _draw_lawn(canvas, plan.ground)
        canvas.group("slopes", clip)
        _draw_slopes(canvas, plan.ground)
    canvas.group("features", clip)
    things = [each for each in plan.site.features if each.kind != _OUTLET]
    for feature in sorted(things, key=lambda each: each.kind in _ON_TOP):
        _draw_feature(canvas, feature)
        _label_feature(feature, labels)
    canvas.group("boundary", clip)
    canvas.path(canvas.paper.path(plan.site.parcel.boundary), replace(inks.PARCEL, sign="line"))
    if plan.ground is not None:
        canvas.group("passages", clip)
        _draw_passages(canvas, plan.ground, labels)
        _label_parts(plan.ground, labels)


def draw_outlets(canvas: Canvas, plan: Plan, labels: Labels, clip: str) -> None:
    """Draw and name the outlets over all wires, which lie near them."""
    canvas.group("outlets", clip)
    for feature in plan.site.features:
        if feature.kind == _OUTLET:
            _draw_feature(canvas, feature)
            place = feature.geometry.representative_point()
            labels.keep_free(place.x, place.y, _OUTLET_MM)
            labels.ask_beside(place.x, place.y, "outlet", _OUTLET_MM)


def _draw_lawn(canvas: Canvas, ground: Ground) -> None:
    _draw_left_over(canvas, ground)
    for part in ground.parts:
        _areas(canvas, [part.area], inks.CARRIED if part.role == "carried" else inks.PART)
    _areas(canvas, (each.area for each in ground.hand_trim), inks.TRIM)
    for each in ground.keep_outs:
        if each.kind in _GIVEN_UP:
            _areas(canvas, [each.area], _GIVEN_UP[each.kind])


def _draw_left_over(canvas: Canvas, ground: Ground) -> None:
    """Draw the lawn under all else; the key names it only where some of it stays in sight."""
    seen = canvas.paper.seen
    over = [seen(part.area) for part in ground.parts]
    over += [seen(each.area) for each in ground.hand_trim]
    left = shapely.difference(seen(ground.lawn), shapely.union_all(over))
    keyed = canvas.paper.mm2(left.area) >= _SEEN_MM2
    canvas.path(canvas.paper.path(ground.lawn), inks.LAWN, keyed=keyed)


def _draw_slopes(canvas: Canvas, ground: Ground) -> None:
    """Hatch the zones; ground given up as too steep is hatched already."""
    given_up = {each.kind for each in ground.keep_outs}
    for zone in ground.zones:
        if zone.zone in _SLOPES and not (zone.zone == "too_steep" and "too_steep" in given_up):
            _areas(canvas, [zone.area], _SLOPES[zone.zone])


def _areas(canvas: Canvas, areas: Iterable[BaseGeometry], ink: Ink) -> None:
    for area in areas:
        if canvas.paper.mm2(area.area) >= _SEEN_MM2:
            canvas.path(canvas.paper.path(area), ink)


def _draw_feature(canvas: Canvas, feature: Feature) -> None:
    ink, shape = inks.feature_ink(feature.kind), feature.geometry
    if ink.sign not in {"area", "line"}:
        place = shape if isinstance(shape, Point) else shape.representative_point()
        canvas.point(*canvas.paper.xy(place.x, place.y), ink)
        return
    for part in getattr(shape, "geoms", [shape]):
        if isinstance(part, Point):
            fill = ink.fill if ink.fill != "none" else ink.stroke
            canvas.point(*canvas.paper.xy(part.x, part.y), replace(ink, sign="dot", fill=fill))
        elif part.area > 0:
            canvas.path(canvas.paper.path(part), ink)
        else:
            canvas.path(canvas.paper.path(part), replace(ink, sign="line"))


def _label_feature(feature: Feature, labels: Labels) -> None:
    """Name a thing where its name fits on it; the key tells what the smaller ones are."""
    if feature.kind == "tree":
        place = feature.geometry.centroid
        labels.keep_free(place.x, place.y, 1.0)
    elif feature.geometry.area > 0:
        labels.ask_on(feature.geometry, inks.kind_words(feature.kind))


def _draw_passages(canvas: Canvas, ground: Ground, labels: Labels) -> None:
    for each in ground.passages:
        ink = inks.PASSAGE.get(each.verdict, inks.PASSAGE["open"])
        canvas.path(canvas.paper.path(each.area), replace(ink, fill="none"))
        place = each.area.representative_point()
        labels.ask_close(place.x, place.y, f"{each.width_m:.1f} m wide")


def _label_parts(ground: Ground, labels: Labels) -> None:
    """Write on each part what it is; where there are several loops, in which it lies."""
    several = any(part.loop > 1 for part in ground.parts)
    for part in ground.parts:
        role = "mown" if part.role == "main" else f"mown, {part.role}"
        loop = f"loop {part.loop}, " if several else ""
        labels.ask_on(part.area, f"{loop}{role}: {part.area.area:.0f} m²")
