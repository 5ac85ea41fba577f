"""Where leads may run on one site, and what return lines do to their length."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, opened, union
from lawnplat.ground.setbacks import setback_of
from lawnplat.settings.types import Treatment
from lawnplat.wire.gentle_leads import Gentleness
from lawnplat.wire.leads import LeadGround, UnjoinedIsland, least_tree
from lawnplat.wire.scene import Scene
from lawnplat.wire.types import Station

_APART_M = 0.15
"""Leads keep this far from each other: two pairs side by side would be mistaken for one."""
_BESIDE_M = 0.05
_RIM_M = 1e-4
_HAIR_M = 1e-3
"""What a disc of this radius cannot reach of a crossing bars no lead: between two crossings side by
side a hair of one may run on along the rim where a lead has to land."""


class HomeLeads:
    """The least leads over the islands of the station's own piece, beside one choice of lines.

    What was found is kept: leads whose corridor a further line does not come to are the least
    beside that line too, since all that it bars is ground that they leave alone.
    """

    def __init__(self, scene: Scene, piece: Polygon, station: Station) -> None:
        self._scene, self._piece, self._station = scene, piece, station
        self._known: list[tuple[Sequence[LineString], list[LineString] | None]] = []

    def beside(self, lines: Sequence[LineString]) -> list[LineString] | None:
        """Return the leads beside return ``lines``; None where these leave an island without."""
        for fewer, leads in reversed(self._known):
            added = [line for line in lines if not _among(line, fewer)]
            if all(_among(line, lines) for line in fewer) and self.spared(leads or [], added):
                return leads
        leads = self._looked_for(lines)
        self._known.append((tuple(lines), leads))
        return leads

    def spared(self, leads: Sequence[LineString], lines: Sequence[LineString]) -> bool:
        """Return whether no lead comes into the corridor of one of the return ``lines``."""
        if not leads or not lines:
            return True
        taken = grow(union(lines), self._scene.rules.return_line.corridor_m)
        return not any(shapely.intersects(taken, lead) for lead in leads)

    def _looked_for(self, lines: Sequence[LineString]) -> list[LineString] | None:
        if not self._piece.interiors:
            return []
        try:
            tree = least_tree(lead_ground(self._scene, (self._piece,), self._station, lines))
        except UnjoinedIsland:
            return None
        return [lead.line for lead in tree.leads]


def _among(line: LineString, lines: Sequence[LineString]) -> bool:
    return any(line is other for other in lines)


def lead_ground(
    scene: Scene, pieces: tuple[Polygon, ...], station: Station, lines: Sequence[LineString]
) -> LeadGround:
    """Return where leads may run: never across a return line, a crossing or the station's ground.

    Nor through a firm obstacle. Where any tree of leads does, they also keep the corridor of the
    return ``lines``, the distance from firm obstacles, passages, the station's cable and the
    straight wire beside it free.
    """
    rules, ground = scene.rules, scene.ground
    past = grow(station.point, rules.station.straight_wire_m)
    straight = grow(shapely.intersection(shapely.boundary(pieces[0]), past), _BESIDE_M)
    narrow = [passage.area for passage in ground.passages if passage.verdict == "guided"]
    firm = ground.wire_ground.firm
    forbidden = [
        station.front,
        station.base,
        *(grow(feature.geometry, _BESIDE_M) for feature in firm),
        *(opened(strip, _HAIR_M) for strip in ground.wire_ground.crossings),
        *(grow(line, rules.wire.pair_gap_m) for line in lines),
    ]
    corridors = [grow(line, rules.return_line.corridor_m) for line in lines]
    clear = [grow(feature.geometry, setback_of(feature, rules)) for feature in firm]
    if station.cable_route is not None:
        clear.append(grow(station.cable_route, _APART_M))
    return LeadGround(
        pieces=pieces,
        barred=union([*forbidden, *corridors, *clear, *narrow, straight]),
        forbidden=union(forbidden),
        # No lead over the islands of one piece ever leaves it.
        outside=_outside(scene, pieces) if len(pieces) > 1 else Polygon(),
        longest_outside_m=rules.wire.longest_lead_m,
        apart_m=_APART_M,
        gentle=Gentleness(scene.terrain, rules.wire.lead_longer_share),
        walls=scene.line_barriers(),
        straight=straight,
    )


def _outside(scene: Scene, pieces: tuple[Polygon, ...]) -> BaseGeometry:
    """Return the parcel less lawns, their rims let in, and less what is barred: trunks among it."""
    others = grow(scene.ground.wire_ground.others, scene.rules.wire.loops_apart_m)
    lawns = union([grow(union(pieces), -_RIM_M), others])
    barriers = grow(scene.barriers(), scene.rules.station.cable_clear_m)
    trunks = (
        grow(feature.geometry, _BESIDE_M)
        for feature in scene.site.features
        if scene.rules.kinds[feature.kind].treatment is Treatment.FIRM
    )
    ground = shapely.difference(scene.site.parcel, union([barriers, lawns, *trunks]))
    return grow(ground, _RIM_M)
