"""The ground room: from a site and its terrain to lawn, keep-outs, parts and passages."""

from __future__ import annotations

from dataclasses import replace

import shapely
from shapely import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.errors import NotPlannable
from lawnplat.geometry import as_multipolygon, polygons, union
from lawnplat.ground.crossings import strips
from lawnplat.ground.given_up import account, hand_trim
from lawnplat.ground.held_off import held_off
from lawnplat.ground.lawn import lawn_of
from lawnplat.ground.pieces import Piece, closed_passages, joined, parts_of
from lawnplat.ground.setbacks import UNREACHED, steep_ground
from lawnplat.ground.taken import taken_from
from lawnplat.ground.types import Cause, Ground, KeepOut, Part, WireGround
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.types import SlopeZone, Terrain


def build_ground(
    site: Site, terrain: Terrain, machine: MachineClass, rules: RuleBook
) -> Ground:
    """Work out what of the lawn the machine mows and what is given up, and to what.

    Raises
    ------
    NotPlannable
        Where there is no lawn at all. A lawn of which nothing can be mown is returned with no
        parts, so that the account of what took it is not lost.
    """
    lawn = lawn_of(site, rules)
    if lawn.is_empty:
        raise NotPlannable(site.property_id, "there is no lawn on this parcel")
    taken = taken_from(lawn, site, terrain, machine, rules)
    reach = held_off(taken.reach, taken.causes)
    candidates = [part for part in polygons(reach) if part.area >= rules.ground.smallest_part_m2]
    crossing_strips, findings = strips(
        candidates, site, steep_ground(terrain), machine, rules
    )
    pieces = _worth_wiring(joined(candidates, crossing_strips), rules)
    firm = union(feature.geometry for feature in taken.firm)
    parts, passages = parts_of(pieces, firm, machine, rules)
    narrow = polygons(shapely.difference(taken.left, reach))
    mown = union(part.area for part in parts)
    small = union(part for part in polygons(reach) if not shapely.intersects(part, mown))
    causes = [*taken.causes, *_firm_causes(taken.firm)]
    keep_outs = account(lawn, mown, causes, small)
    return Ground(
        lawn=lawn,
        zones=_zones_on(lawn, terrain),
        keep_outs=keep_outs,
        parts=tuple(parts),
        passages=(*passages, *closed_passages(narrow, pieces, machine)),
        hand_trim=hand_trim(keep_outs, causes, rules),
        wire_ground=WireGround(
            pieces=tuple(piece.area for piece in pieces),
            crossings=tuple(strip for piece in pieces for strip in piece.strips),
            firm=taken.firm,
        ),
        open_edges=next((c.body for c in taken.causes if c.kind == "open_edge"), None),
        findings=tuple(findings),
        causes=taken.causes,
    )


def _firm_causes(firm: tuple[Feature, ...]) -> list[Cause]:
    """Return the footprints of the firm obstacles that stand in mown ground."""
    bodies = ((feature.kind, feature.geometry) for feature in firm)
    return [Cause(kind, 0.0, body, body) for kind, body in bodies if body.area > 0]


def _worth_wiring(pieces: list[Piece], rules: RuleBook) -> list[Piece]:
    """Leave out the pieces that are too small to carry the machine to."""
    return [
        piece
        for place, piece in enumerate(pieces)
        if place == 0 or piece.mown_m2 >= rules.ground.smallest_carried_m2
    ]


def _zones_on(lawn: MultiPolygon, terrain: Terrain) -> tuple[SlopeZone, ...]:
    clipped = (
        replace(zone, area=as_multipolygon(shapely.intersection(zone.area, lawn)))
        for zone in terrain.zones
    )
    return tuple(zone for zone in clipped if not zone.area.is_empty)


def settled(
    ground: Ground, station: Point, unreached: tuple[int, ...], rules: RuleBook
) -> Ground:
    """Return ``ground`` as the wire makes it.

    The part where ``station`` stands is the main one, the others on its piece are linked, the rest
    carried. Pieces to which no wire could be led (their numbers in ``unreached``) are given up.
    """
    pieces = ground.wire_ground.pieces
    home = min(pieces, key=lambda piece: float(shapely.distance(piece, station)))
    lost = union(pieces[number] for number in unreached)
    kept = [part for part in ground.parts if not _lies_in(part.area, lost)]
    main = min(
        (part for part in kept if _lies_in(part.area, home)),
        key=lambda part: float(shapely.distance(part.area, station)),
    )
    keep_outs = ground.keep_outs
    if unreached:
        given_up = union(part.area for part in ground.parts if part not in kept)
        keep_outs = (*keep_outs, KeepOut(UNREACHED, 0.0, as_multipolygon(given_up)))
    left = tuple(piece for number, piece in enumerate(pieces) if number not in unreached)
    return replace(
        ground,
        parts=tuple(_with_role(part, main, home) for part in kept),
        wire_ground=replace(ground.wire_ground, pieces=left),
        keep_outs=keep_outs,
        hand_trim=hand_trim(keep_outs, ground.causes, rules),
    )


def _with_role(part: Part, main: Part, home: Polygon) -> Part:
    if part.number == main.number:
        return replace(part, role="main", via="")
    return replace(part, role="linked" if _lies_in(part.area, home) else "carried")


def _lies_in(area: Polygon, piece: BaseGeometry) -> bool:
    return bool(shapely.intersects(piece, shapely.point_on_surface(area)))
