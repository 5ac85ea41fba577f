"""The wire room: station, return line, leads, conductor and joints of one site."""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from shapely import Polygon

from lawnplat.errors import NotPlannable
from lawnplat.geometry import grow, union
from lawnplat.ground.types import Ground
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Finding, Site
from lawnplat.terrain.types import Terrain
from lawnplat.wire.conductor import conductor, slit_ground
from lawnplat.wire.joints import joints_of, parking_test_of
from lawnplat.wire.leads import LeadGround, LeadTree, UnjoinedIsland, least_tree
from lawnplat.wire.return_line import Routed, route
from lawnplat.wire.sections import sections_of
from lawnplat.wire.station import Siting, site_station
from lawnplat.wire.types import Layout, Perimeter, Station

_BESIDE_JOINT_M = 0.15


@dataclass(frozen=True)
class Laid:
    """A layout, and the pieces of ground that no wire could be led to (by their number)."""

    layout: Layout
    unreached: tuple[int, ...]


def build_layout(
    site: Site, ground: Ground, terrain: Terrain, machine: MachineClass, rules: RuleBook
) -> Laid:
    """Site the station, route the return line, and lead one conductor round everything.

    Raises
    ------
    NotPlannable
        Where there is no room for a station, or nothing to mow.
    """
    siting = site_station(site, ground, terrain, machine, rules)
    routed = route(siting, ground, terrain, machine, rules)
    pieces = _home_first(ground.wire_ground.pieces, siting.piece)
    try:
        tree = least_tree(_lead_ground(site, ground, pieces, siting.station, routed, rules))
    except UnjoinedIsland as error:
        raise NotPlannable(site.property_id, str(error), "move or widen what bars the way") from error
    kept = tuple(piece for number, piece in enumerate(pieces) if number not in tree.unreached)
    perimeter = _perimeter(kept, tree, siting.station, ground, terrain, rules)
    tests = tuple(parking_test_of(line, rules) for line in routed.lines)
    layout = Layout(
        station=siting.station,
        perimeter=perimeter,
        return_lines=routed.lines,
        joints=joints_of(perimeter, routed.lines, rules),
        parking_tests=tests,
        findings=(
            *siting.findings,
            *routed.findings,
            *_limits(perimeter, siting, machine),
            *_unreached(pieces, tree, rules),
        ),
    )
    numbers = [ground.wire_ground.pieces.index(pieces[number]) for number in tree.unreached]
    return Laid(layout, tuple(numbers))


def _home_first(pieces: tuple[Polygon, ...], home: Polygon) -> tuple[Polygon, ...]:
    return (home, *(piece for piece in pieces if piece is not home))


def _perimeter(
    pieces: tuple[Polygon, ...],
    tree: LeadTree,
    station: Station,
    ground: Ground,
    terrain: Terrain,
    rules: RuleBook,
) -> Perimeter:
    gap_m = rules.wire.pair_gap_m
    whole = slit_ground(pieces, tree.leads, gap_m)
    line = conductor(whole, station.point, rules.wire.terminal_gap_m)
    return Perimeter(line, sections_of(line, pieces, tree.leads, ground, terrain, gap_m))


def _lead_ground(
    site: Site,
    ground: Ground,
    pieces: tuple[Polygon, ...],
    station: Station,
    routed: Routed,
    rules: RuleBook,
) -> LeadGround:
    """Return where leads may run: never across a return line, a passage or the station's ground."""
    corridor_m = rules.return_line.corridor_m
    rims = shapely.boundary(pieces[0])
    straight = shapely.intersection(rims, grow(station.point, rules.station.straight_wire_m))
    narrow = [passage.area for passage in ground.passages if passage.verdict == "guided"]
    forbidden = [
        station.front,
        station.base,
        *ground.wire_ground.crossings,
        *(grow(line.line, rules.wire.pair_gap_m) for line in routed.lines),
    ]
    lines = [grow(line.line, corridor_m) for line in routed.lines]
    barred = [*forbidden, *lines, *narrow, grow(straight, 0.05)]
    solid = union(
        feature.geometry
        for feature in site.features
        if rules.kinds[feature.kind].barrier and feature.geometry.area > 0
    )
    outside = shapely.difference(
        grow(site.parcel, 0.05), union([solid, grow(union(pieces), -1e-4)])
    )
    return LeadGround(
        pieces=pieces,
        barred=union(barred),
        forbidden=union(forbidden),
        outside=grow(outside, 1e-4),
        longest_outside_m=rules.wire.longest_lead_m,
        apart_m=_BESIDE_JOINT_M,
    )


def _limits(
    perimeter: Perimeter, siting: Siting, machine: MachineClass
) -> list[Finding]:
    found = []
    if perimeter.line.length > machine.longest_wire_m:
        found.append(
            Finding(
                rule="longest_wire",
                severity="warn",
                text=(
                    f"the perimeter takes {perimeter.line.length:.0f} m of wire, over the "
                    f"{machine.longest_wire_m:.0f} m of a {machine.name} machine: a larger class "
                    "or a second loop is needed"
                ),
                place=siting.station.point,
                measured=round(perimeter.line.length, 1),
                limit=machine.longest_wire_m,
            )
        )
    return found


def _unreached(
    pieces: tuple[Polygon, ...], tree: LeadTree, rules: RuleBook
) -> list[Finding]:
    return [
        Finding(
            rule="carried_lead",
            severity="warn",
            text=(
                f"no wire pair of at most {rules.wire.longest_lead_m:.0f} m reaches this lawn of "
                f"{pieces[number].area:.0f} m2; it is left to hand or to a loop of its own"
            ),
            place=shapely.point_on_surface(pieces[number]),
            limit=rules.wire.longest_lead_m,
        )
        for number in tree.unreached
    ]
