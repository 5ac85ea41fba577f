"""Crossings: strips that the machine drives over from one lawn to another."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, MultiPoint, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import (
    FloatArray,
    grow,
    middle_of,
    moved,
    opened,
    polygons,
    thickened,
    union,
)
from lawnplat.ground.crossing_advice import blocked, kept_clear, useless
from lawnplat.ground.crossing_mouths import Room, filled
from lawnplat.ground.lawn import CROSSING, lawn_of
from lawnplat.ground.setbacks import open_edge_cause, setback_of
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Feature, Finding, Site

_GAP_M = 0.05
_SHARE = 0.49
"""A hair under half: a strip just as wide as the machine needs is wide enough."""
_CONTACT_M = 0.01
_BESIDE_M = 0.02
"""So near to a strip's side is along it; by so much at both corners an end is shorter."""
_SEAM_M = 1e-4
_HAIR_M2 = 1e-6
"""A centimetre of a hair as thin as a seam: less are corners that came out other by rounding."""
_SPECK_M2 = 1e-4
_GRAZED_M = 1e-3
_NEAR_M = 1.0
_SHORT_BY = 1.5
"""A crossing may be drawn too short by this many times the machine's smallest passage."""
_ALONG = 0.7
"""A strip leads across where its ends lie this much of their distance apart along it."""


@dataclass(frozen=True)
class Strip:
    """A crossing as it is wired: the strip from one piece of lawn to the other."""

    area: Polygon
    joins: tuple[int, ...]
    """Numbers of the pieces that it meets, two or more."""


def strips(
    pieces: list[Polygon], site: Site, steep: BaseGeometry, machine: MachineClass, rules: RuleBook
) -> tuple[list[Strip], list[Finding]]:
    """Return the strips that join two of ``pieces``, and what was wrong with the others.

    A surveyed crossing is prolonged at both ends over the setback of what it crosses, until it
    reaches the mowable ground. It keeps the setbacks of everything else, open edges among them, and
    off ground too ``steep`` for the machine: it is cut to what they leave clear.
    """
    if not any(feature.kind == CROSSING for feature in site.features):
        return [], []
    # About the middle: where maps are, GEOS is half a millimetre out, and rims that are one part.
    middle = middle_of(site.parcel)
    near = [moved(piece, -middle) for piece in pieces]
    found, findings = _strips(near, _moved(site, -middle), moved(steep, -middle), machine, rules)
    return (
        [replace(strip, area=_back(strip.area, middle)) for strip in found],
        [replace(each, place=moved(each.place, middle)) for each in findings if each.place],
    )


def _back(area: Polygon, by_m: FloatArray) -> Polygon:
    """Return a strip moved to where maps are, where a hair in its rim may be rounded to none."""
    there = moved(area, by_m)
    if there.is_valid:
        return there
    return max(polygons(shapely.make_valid(there)), key=lambda part: part.area)


def _moved(site: Site, by_m: FloatArray) -> Site:
    """Return the site moved by a vector, its heights left out."""
    features = (replace(each, geometry=moved(each.geometry, by_m)) for each in site.features)
    return replace(
        site,
        parcel=moved(site.parcel, by_m),
        lawns=tuple(moved(lawn, by_m) for lawn in site.lawns),
        features=tuple(features),
        spot_heights=np.empty((0, 3)),
    )


def _strips(
    pieces: list[Polygon], site: Site, steep: BaseGeometry, machine: MachineClass, rules: RuleBook
) -> tuple[list[Strip], list[Finding]]:
    found: list[Strip] = []
    findings: list[Finding] = []
    crossings = [feature for feature in site.features if feature.kind == CROSSING]
    edge = open_edge_cause(lawn_of(site, rules), site.features, rules) if crossings else None
    barred = union([steep, *([edge.reach] if edge else [])])
    for feature in crossings:
        crossed = [other for other in site.features if _crosses(feature, other, rules)]
        others = [other for other in site.features if other not in crossed]
        obstacles = kept_clear(others, rules)
        kept = union([barred, *(each.reach for each in obstacles)])
        allowed = shapely.difference(site.parcel, kept)
        reach_m = _reach_m(crossed, machine, rules)
        strip = _strip(feature, pieces, allowed, reach_m, machine)
        if strip is None:
            under = [each for each in site.features if _overlap(feature, each)]
            cleared = shapely.difference(site.parcel, barred)
            reach_m = _reach_m(under, machine, rules)
            way = _strip(feature, pieces, cleared, reach_m, machine)
            hit = [each for each in obstacles if way and shapely.intersects(each.reach, way.area)]
            findings.append(
                blocked(feature, way.area, hit, machine)
                if way and hit
                else useless(feature, machine)
            )
        else:
            whole = [*pieces, *(other.area for other in found)]
            room = Room(allowed, grow(feature.geometry, _farthest_m(rules)))
            found.append(replace(strip, area=filled(strip.area, whole, room, machine, rules)))
    return found, findings


def _reach_m(crossed: Iterable[Feature], machine: MachineClass, rules: RuleBook) -> float:
    """Return how far a crossing is prolonged at most: over setbacks, and where drawn too short.

    Farther than over the widest setbacks that there are no wire leads away from what was surveyed.
    """
    own_m = max((setback_of(feature, rules) for feature in crossed), default=0.0)
    return min(2 * own_m + _SHORT_BY * machine.smallest_passage_m, _over_setbacks_m(rules))


def _over_setbacks_m(rules: RuleBook) -> float:
    return 2 * max(rule.setback_m for rule in rules.kinds.values())


def _farthest_m(rules: RuleBook) -> float:
    """Return how far from a crossing the corners of its mouths may run out."""
    return _over_setbacks_m(rules) + rules.wire.corner_radius_m


def _strip(
    feature: Feature,
    pieces: list[Polygon],
    allowed: BaseGeometry,
    reach_m: float,
    machine: MachineClass,
) -> Strip | None:
    """Return ``feature`` as it is wired, prolonged by up to ``reach_m`` and no farther from it."""
    near = shapely.intersection(allowed, grow(feature.geometry, reach_m + _SEAM_M))
    # A strip that only grazes what was surveyed is another one, beside it or round its end.
    surveyed = thickened(feature.geometry, -_GRAZED_M)
    best: Strip | None = None
    for body, along, sides in _prolonged(feature.geometry, reach_m):
        way = _wide_enough(shapely.intersection(body, near), pieces, machine)
        for beside in map(_without_tails, polygons(way)):
            joined = _joined(beside, pieces, along, sides, machine)
            if joined is None:
                continue
            part = _between(beside, pieces, joined)
            if not shapely.intersects(part, surveyed):
                continue
            if best is None or part.area < best.area.area:
                best = Strip(part, joined)
    return best


def _crosses(crossing: Feature, other: Feature, rules: RuleBook) -> bool:
    """Return whether ``crossing`` runs over ``other``: over a path or paving, no obstacle."""
    return rules.kinds[other.kind].crossed and _overlap(crossing, other)


def _overlap(one: Feature, other: Feature) -> bool:
    return bool(shapely.intersects(one.geometry, other.geometry))


def _wide_enough(way: BaseGeometry, pieces: list[Polygon], machine: MachineClass) -> BaseGeometry:
    """Return what of ``way`` off the pieces the machine can drive, coming from them or not."""
    whole = union([way, *(shapely.intersection(piece, grow(way, _NEAR_M)) for piece in pieces)])
    driven = opened(grow(whole, _SEAM_M), _SHARE * machine.smallest_passage_m)
    return shapely.difference(_without_hairs(shapely.intersection(driven, way)), union(pieces))


def _without_hairs(area: BaseGeometry) -> BaseGeometry:
    """Return ``area`` without spikes and slits as thin as a seam; as it is where it has none.

    Where two rims run within a seam of each other, what both enclose may have a rim that runs to
    and fro.
    """
    bare = thickened(thickened(area, -_SEAM_M), _SEAM_M)
    even = thickened(thickened(bare, _SEAM_M), -_SEAM_M)
    return even if shapely.symmetric_difference(area, even).area > _HAIR_M2 else area


def _without_tails(strip: Polygon) -> Polygon:
    """Return a strip less what hangs on it by a neck that has next to no width.

    Beside a thing where the lawn swings out of a corner and comes back to the thing's setback, the
    machine fits in coming from the lawn: no crossing leads there.
    """
    bodies = sorted(polygons(thickened(strip, -_GRAZED_M)), key=lambda body: -body.area)
    tails = [thickened(body, 2 * _GRAZED_M) for body in bodies[1:] if body.area > _SPECK_M2]
    if not tails:
        return strip
    return max(polygons(shapely.difference(strip, union(tails))), key=lambda part: part.area)


def _prolonged(
    geometry: BaseGeometry, reach_m: float
) -> list[tuple[BaseGeometry, LineString, BaseGeometry]]:
    """Return the crossing as drawn made longer along each of its rectangle's two directions.

    With each come the middle line that it is driven along, and its two sides.
    """
    hull = shapely.convex_hull(geometry)
    corners = _rectangle(hull)
    if corners is None:
        return []
    found = []
    for first in (0, 1):
        ring = np.roll(corners, -first, axis=0)
        unit = (ring[1] - ring[0]) / np.hypot(*(ring[1] - ring[0]))
        longer = ring + np.outer([-reach_m, reach_m, reach_m, -reach_m], unit)
        middle = LineString([longer[[0, 3]].mean(axis=0), longer[[1, 2]].mean(axis=0)])
        sides = union([LineString(longer[[0, 1]]), LineString(longer[[2, 3]])])
        # Drawn by hand, an end is not quite at right angles: what lies beyond it is filled up.
        skew = _before_ends(hull, unit, reach_m)
        ends = shapely.difference(Polygon(longer), Polygon(corners))
        body = grow(union([hull, *skew, ends]), _SEAM_M)
        found.append((shapely.intersection(body, Polygon(longer)), middle, sides))
    return found


def _rectangle(hull: BaseGeometry) -> FloatArray | None:
    """Return the smallest rectangle round ``hull``, shape (4, 2); None for a line."""
    box = shapely.minimum_rotated_rectangle(hull)
    return shapely.get_coordinates(box)[:4] if isinstance(box, Polygon) else None


def _before_ends(hull: BaseGeometry, unit: FloatArray, far_m: float) -> list[BaseGeometry]:
    """Return what lies up to ``far_m`` before those edges of ``hull`` that face along ``unit``."""
    ring = shapely.get_coordinates(shapely.orient_polygons(hull))
    run = np.diff(ring, axis=0)
    faces = run @ np.array([unit[1], -unit[0]])
    along = run @ unit
    found: list[BaseGeometry] = []
    for edge in np.flatnonzero(np.abs(faces) > np.abs(along)):
        ends = ring[[edge, edge + 1]]
        moved = ends + np.sign(-faces[edge]) * far_m * unit
        found.append(MultiPoint(np.concatenate([ends, moved])).convex_hull)
    return found


def _between(strip: Polygon, pieces: list[Polygon], joined: tuple[int, ...]) -> Polygon:
    """Return the strip between the pieces it joins, less a gap beside those it only grazes."""
    hull = shapely.convex_hull(union(pieces[number] for number in joined))
    others = [piece for number, piece in enumerate(pieces) if number not in joined]
    grazed = [grow(piece, _GAP_M) for piece in others if shapely.dwithin(piece, strip, _GAP_M)]
    left = shapely.difference(shapely.intersection(strip, hull), union(grazed))
    return max(polygons(left), key=lambda part: part.area, default=strip)


def _joined(
    strip: Polygon,
    pieces: list[Polygon],
    along: LineString,
    sides: BaseGeometry,
    machine: MachineClass,
) -> tuple[int, ...] | None:
    """Return the pieces that the strip meets with at least the machine's passage width.

    None where they do not lie at both its ends: beside a strip nothing is crossed, and a lawn that
    only lies along one of its ``sides`` is not driven onto.
    """
    if grow(strip, -_SHARE * machine.smallest_passage_m).is_empty:
        return None
    bodies = np.array(pieces, dtype=object)
    ends = shapely.difference(shapely.boundary(strip), grow(sides, _BESIDE_M))
    contact = shapely.intersection(ends, shapely.buffer(bodies, _CONTACT_M))
    meets = np.flatnonzero(shapely.length(contact) >= machine.smallest_passage_m - 2 * _BESIDE_M)
    if len(meets) < 2:  # noqa: PLR2004 - a crossing joins two
        return None
    at_m = shapely.line_locate_point(along, shapely.centroid(contact[meets]))
    middle_m = float(shapely.line_locate_point(along, shapely.centroid(strip)))
    if not (at_m.min() < middle_m - _CONTACT_M and at_m.max() > middle_m + _CONTACT_M):
        return None
    across_m = float(shapely.distance(*contact[meets[[at_m.argmin(), at_m.argmax()]]]))
    if at_m.max() - at_m.min() < _ALONG * across_m:
        return None
    return tuple(int(number) for number in meets)
