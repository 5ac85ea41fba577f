"""Mouths of a crossing's strip: corners rounded into the lawn's rim, gaps beside it closed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, polygons, thickened, union
from lawnplat.settings.types import MachineClass, RuleBook

_CONTACT_M = 0.01
_HAIR_M = 1e-6
_SPECK_M2 = 1e-4
_GRAZED_M = 1e-3
_NEAR_M = 1.0
_TIGHTER = (0.95, 0.9, 0.85, 0.8, 0.75, 0.7, 0.65, 0.6, 0.55, 0.5)
"""Shares of the wire's corner radius, for a mouth whose corner would run out too far along a rim
that meets the strip at a sharp angle."""
_SAME_CORNER = 0.7
"""What a disc leaves in a corner goes by its radius squared. A tighter one that leaves under this
share of that has slipped through to another corner."""


@dataclass(frozen=True)
class Room:
    """Where a strip may be filled up: off what is kept clear, and ``within`` reach of its crossing.

    What lies farther off is no part of the crossing, though a rounded corner ran out into it.
    """

    allowed: BaseGeometry
    within: BaseGeometry


def filled(
    strip: Polygon,
    others: list[Polygon],
    room: Room,
    machine: MachineClass,
    rules: RuleBook,
) -> Polygon:
    """Return the strip with its mouths' corners rounded and the gaps beside it closed.

    Holes too small for the machine are left where a strip drawn into a lawn runs past the lawn's
    rounded corners, channels where it runs along them: no wire need go round either.
    """
    near = [other for other in others if shapely.dwithin(other, strip, _CONTACT_M)]
    known = union(Polygon(ring) for other in near for ring in other.interiors)
    whole = union([thickened(strip, _HAIR_M), *near])
    gaps = [thickened(gap, _HAIR_M) for gap in _rounded_off(strip, whole, room, rules)]
    # A channel closed may leave a hole behind it, as large as the corners' disc.
    for body in polygons(union([whole, *gaps])):
        for ring in body.interiors:
            hole = Polygon(ring)
            # One of no width at all is rounding: its corners coincide, which `thickened` minds.
            if hole.area <= _HAIR_M**2:
                continue
            small = shapely.is_empty(grow(hole, -machine.smallest_passage_m / 2))
            own = shapely.difference(hole, room.allowed).area <= _SPECK_M2
            if small and own and not shapely.intersects(known, shapely.point_on_surface(hole)):
                gaps.append(thickened(hole, _HAIR_M))
    if not gaps:
        return strip
    grown = shapely.difference(union([thickened(strip, _HAIR_M), *gaps]), union(near))
    return max(polygons(grown), key=lambda part: part.area)


def _rounded_off(
    strip: Polygon, whole: BaseGeometry, room: Room, rules: RuleBook
) -> Iterator[Polygon]:
    """Yield the channels beside the strip that a corner's disc leaves, none out of reach.

    A mouth's corner runs out along the lawn's rim until it touches it, the farther the sharper the
    rim meets the strip. One that runs out too far is rounded tighter.
    """
    corner_m = rules.wire.corner_radius_m
    beside = shapely.intersection(whole, grow(strip, _NEAR_M))

    def channels(radius_m: float) -> list[Polygon]:
        closed = grow(grow(beside, radius_m), -radius_m)
        left = shapely.difference(shapely.intersection(closed, room.allowed), whole)
        return [part for part in polygons(left) if _lies_along(part, strip)]

    for channel in channels(corner_m):
        fits = _reaches(room.within, channel)
        yield from [channel] if fits else _tighter(channel, channels, corner_m, room.within)


def _tighter(
    channel: Polygon,
    channels: Callable[[float], list[Polygon]],
    corner_m: float,
    within: BaseGeometry,
) -> list[Polygon]:
    """Return what the largest disc leaves in the corner of ``channel`` that stays ``within``.

    The channel itself, cut off there, where none does.
    """
    for share in _TIGHTER:
        found = [each for each in channels(share * corner_m) if each.intersects(channel)]
        if sum(each.area for each in found) < _SAME_CORNER * share**2 * channel.area:
            break
        if all(_reaches(within, each) for each in found):
            return found
    return polygons(shapely.intersection(channel, within))


def _reaches(within: BaseGeometry, channel: Polygon) -> bool:
    """Return whether nothing of a channel but a hair lies outside of ``within``."""
    beyond = shapely.difference(channel, within)
    return bool(beyond.is_empty or thickened(beyond, -_GRAZED_M).is_empty)


def _lies_along(channel: Polygon, strip: Polygon) -> bool:
    """Return whether a channel is the strip's own: one that grazes it rounds a corner beyond."""
    if channel.area <= _SPECK_M2:
        return False
    core = thickened(channel, -_GRAZED_M)
    return bool(core.is_empty or shapely.dwithin(core, strip, 2 * _GRAZED_M))
