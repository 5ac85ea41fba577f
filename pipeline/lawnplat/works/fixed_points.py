"""Corners that hold a tape: of houses first, then of other built things, then of the parcel."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, polygons, union
from lawnplat.settings.types import SettingOutRules
from lawnplat.survey.types import Site

HOUSE, BUILT, PARCEL = 0, 1, 2
"""Ranks, the best first."""
_BUILT_KINDS = ("wall", "paving_flush", "path", "planter", "fence")
_DRAWN_M = 0.02
"""Vertices that shape an outline by less are no corners."""
_ON_PARCEL_M = 0.3
"""A fence or a wall on the boundary is surveyed to this, and nobody hooks a tape next door."""
_INSIDE_M = 0.01


@dataclass(frozen=True)
class Candidate:
    """A corner that could serve as a fixed point. ``rank`` is `HOUSE`, `BUILT` or `PARCEL`."""

    rank: int
    what: str
    point: Point


def candidates(site: Site, rules: SettingOutRules) -> tuple[Candidate, ...]:
    """Return the corners of a site that hold a tape, the best ranks first, none of them twice.

    Only corners on the parcel or at its edge; only those that point outward, turn by the rules'
    smallest corner at least, and are not hidden inside a building.
    """
    houses = union(f.geometry for f in site.features if f.kind == "building")
    inside = shapely.buffer(houses, -_INSIDE_M)
    grown = shapely.buffer(site.parcel, _ON_PARCEL_M)
    shapely.prepare(inside)
    shapely.prepare(grown)
    found: list[Candidate] = []
    for each in _all(site, houses, rules):
        if not shapely.intersects(grown, each.point) or shapely.intersects(inside, each.point):
            continue
        if all(each.point.distance(other.point) >= rules.fixed_apart_m for other in found):
            found.append(each)
    return tuple(found)


def _all(site: Site, houses: BaseGeometry, rules: SettingOutRules) -> Iterator[Candidate]:
    for point in _corners(houses, rules):
        yield Candidate(HOUSE, "building corner", point)
    for kind in _BUILT_KINDS:
        name = kind.split("_", maxsplit=1)[0]
        # Pieces that touch are one thing on the ground: no corner where they meet.
        whole = union(f.geometry for f in site.features if f.kind == kind)
        for point in _corners(whole, rules):
            yield Candidate(BUILT, f"{name} corner", point)
        for point in _line_ends(whole):
            yield Candidate(BUILT, f"{name} end", point)
    for point in _corners(site.parcel, rules):
        yield Candidate(PARCEL, "parcel corner", point)


def _corners(geometry: BaseGeometry, rules: SettingOutRules) -> Iterator[Point]:
    """Yield the corners of polygons that point outward, and the bends of lines."""
    for polygon in polygons(geometry):
        outline = shapely.orient_polygons(shapely.simplify(polygon, _DRAWN_M)).exterior
        yield from _turning(shapely.get_coordinates(outline), rules, outward=True)
    for line in _lines(geometry):
        yield from _turning(shapely.get_coordinates(line), rules, outward=False)


def _turning(points: FloatArray, rules: SettingOutRules, *, outward: bool) -> Iterator[Point]:
    """Yield the vertices where a line turns enough; ``outward``: to the left alone."""
    if outward or (points[0] == points[-1]).all():
        points = np.concatenate([points[-2:-1], points])
    if len(points) < 3:  # noqa: PLR2004
        return
    run = np.diff(points, axis=0)
    into, out = run[:-1], run[1:]
    turn = np.arctan2(
        into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0], (into * out).sum(axis=1)
    )
    enough = (turn if outward else np.abs(turn)) >= np.radians(rules.smallest_corner_deg)
    # An arc drawn in chords has no corners: its bends lie close together.
    legs = np.minimum(np.hypot(*into.T), np.hypot(*out.T))
    for x, y in points[1:-1][enough & (legs >= rules.fixed_apart_m)]:
        yield Point(x, y)


def _line_ends(geometry: BaseGeometry) -> Iterator[Point]:
    for line in _lines(geometry):
        ends = shapely.get_coordinates(line)[[0, -1]]
        if not (ends[0] == ends[1]).all():
            yield from (Point(x, y) for x, y in ends)


def _lines(geometry: BaseGeometry) -> list[BaseGeometry]:
    parts = shapely.get_parts(shapely.get_parts(np.array([geometry])))
    lines = [part for part in parts if shapely.get_dimensions(part) == 1]
    merged = shapely.line_merge(shapely.multilinestrings(lines)) if lines else None
    return [] if merged is None else list(shapely.get_parts(merged))
