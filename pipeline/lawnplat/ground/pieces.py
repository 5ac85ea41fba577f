"""Connected pieces of ground that one machine can reach, and the parts that they fall into."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, middle_of, moved, polygons, thickened, union
from lawnplat.ground.crossings import Strip
from lawnplat.ground.narrow import clear_width, divide
from lawnplat.ground.types import Part, Passage
from lawnplat.settings.types import MachineClass, RuleBook

_TOUCH_M = 0.01
_SPECK_M2 = 1e-4
_SEAM_M = 1e-6


@dataclass(frozen=True)
class Piece:
    """Ground that one machine reaches by driving.

    ``area`` is what the wire encloses: the lawns ``members`` and the crossing strips between them.
    """

    area: Polygon
    members: tuple[Polygon, ...]
    strips: tuple[Polygon, ...]

    @property
    def mown_m2(self) -> float:
        """Lawn in the piece, strips not counted."""
        return float(sum(member.area for member in self.members))


def joined(lawns: list[Polygon], strips: list[Strip]) -> list[Piece]:
    """Join ``lawns`` that a strip connects; largest piece first."""
    group = list(range(len(lawns)))
    for strip in strips:
        joined_groups = {group[index] for index in strip.joins}
        first = min(joined_groups)
        group = [first if number in joined_groups else number for number in group]
    pieces = []
    for number in sorted(set(group)):
        members = tuple(lawn for lawn, owner in zip(lawns, group, strict=True) if owner == number)
        inside = tuple(strip.area for strip in strips if group[strip.joins[0]] == number)
        pieces.append(Piece(_whole(members, inside), members, inside))
    return sorted(pieces, key=lambda piece: -piece.mown_m2)


def _whole(members: tuple[Polygon, ...], strips: tuple[Polygon, ...]) -> Polygon:
    if not strips:
        return members[0]
    # About the middle: where maps are, a union of rims this close is rounded to 10 micrometres.
    middle = middle_of(members[0])
    bodies = [*members, *(thickened(strip, _SEAM_M) for strip in strips)]
    body = union(moved(each, -middle) for each in bodies)
    whole = moved(max(polygons(body), key=lambda found: found.area), middle)
    # Strips that meet leave holes of a hair's width: no wire goes round those.
    holes = [ring for ring in whole.interiors if Polygon(ring).area > _SPECK_M2]
    return Polygon(whole.exterior, holes)


def parts_of(
    pieces: list[Piece], firm: BaseGeometry, machine: MachineClass, rules: RuleBook
) -> tuple[list[Part], list[Passage]]:
    """Split every piece at its passages into parts, numbered from 1 in the pieces' order.

    The first part of the first piece is ``main`` until the station is known.
    """
    parts: list[Part] = []
    passages: list[Passage] = []
    for place, piece in enumerate(pieces):
        for member in piece.members:
            division = divide(member, machine.comfortable_passage_m, rules.ground.smallest_part_m2)
            passages.extend(division.passages)
            for order in np.argsort([-part.area for part in division.parts], kind="stable"):
                mown = _without(division.parts[order], firm)
                via = "passage" if len(division.parts) > 1 else "crossing" if piece.strips else ""
                role = "carried" if place else "linked" if parts else "main"
                parts.append(Part(len(parts) + 1, role, mown, via))
    return parts, passages


def _without(area: Polygon, firm: BaseGeometry) -> Polygon:
    left = polygons(shapely.difference(area, firm))
    return max(left, key=lambda found: found.area)


def closed_passages(
    narrow: list[Polygon], pieces: list[Piece], machine: MachineClass
) -> list[Passage]:
    """Return the narrow places too tight for the machine that part two lawns from each other."""
    lawns = [member for piece in pieces for member in piece.members]
    bodies = np.array(lawns, dtype=object)
    found: list[Passage] = []
    for neck in narrow:
        touching = np.flatnonzero(shapely.dwithin(bodies, neck, _TOUCH_M))
        if len(touching) < 2:  # noqa: PLR2004 - a passage joins two
            continue
        one, other = (lawns[index] for index in touching[:2])
        whole = union([grow(neck, 1e-4), one, other])
        width_m = clear_width(whole, neck, one, other, machine.smallest_passage_m)
        axis = shapely.shortest_line(one, other)
        found.append(Passage(neck, axis, round(width_m, 3), round(axis.length, 2), "closed"))
    return found
