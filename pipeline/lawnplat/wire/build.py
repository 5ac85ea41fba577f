"""The wire room: station, return line, leads, conductor and joints of one site."""

from __future__ import annotations

from dataclasses import dataclass, replace

import shapely
from shapely import Polygon

from lawnplat.errors import NotPlannable
from lawnplat.ground.types import Ground
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Finding, Site
from lawnplat.terrain.types import Terrain
from lawnplat.wire.conductor import BrokenRim, conductor, slit_ground
from lawnplat.wire.edge_fall import edge_fall_findings
from lawnplat.wire.joints import joints_of, parking_test_of
from lawnplat.wire.lead_ground import lead_ground
from lawnplat.wire.leads import LeadGround, LeadTree, UnjoinedIsland, least_tree
from lawnplat.wire.return_line import Routed, route
from lawnplat.wire.scene import Scene
from lawnplat.wire.sections import sections_of
from lawnplat.wire.station import Siting, site_station
from lawnplat.wire.types import Layout, Perimeter, Station


@dataclass(frozen=True)
class Laid:
    """A layout, and the pieces of ground that no wire could be led to (by their number).

    ``ground`` is the ground as it was laid: the station may have had its rim drawn straight.
    """

    layout: Layout
    ground: Ground
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
    scene = Scene(site, ground, terrain, machine, rules)
    siting, routed = _sited_and_routed(scene)
    ground = siting.ground
    scene = replace(scene, ground=ground)
    pieces = _home_first(ground.wire_ground.pieces, siting.piece)
    lines = [line.line for line in routed.lines]
    leads = lead_ground(scene, pieces, siting.station, lines)
    tree = _joined(scene, leads)
    kept = tuple(piece for number, piece in enumerate(pieces) if number not in tree.unreached)
    perimeter = _perimeter(scene, kept, tree, siting.station)
    layout = Layout(
        station=siting.station,
        perimeter=perimeter,
        return_lines=routed.lines,
        joints=joints_of(perimeter, routed.lines, rules),
        parking_tests=tuple(parking_test_of(line, rules) for line in routed.lines),
        findings=(
            *siting.findings,
            *routed.findings,
            *_limits(perimeter, siting, machine),
            *edge_fall_findings(scene, kept),
            *_unreached(pieces, tree, rules),
            *_over_walls(scene, tree),
            *_past_the_station(leads, tree, rules),
        ),
    )
    numbers = [ground.wire_ground.pieces.index(pieces[number]) for number in tree.unreached]
    return Laid(layout, ground, tuple(numbers))


def _sited_and_routed(scene: Scene) -> tuple[Siting, Routed]:
    """Return the best place that a return line can leave from; the best of all for none.

    Where lines leave the best place by a bend sharper than the rules allow, one with room to turn
    is taken if they leave that without, and no more speaks against it.
    """
    first = site_station(scene)
    routed = route(replace(scene, ground=first.ground), first)
    if routed.lines and not routed.bends_sharply:
        return first, routed
    there = _with_room_to_turn(scene)
    if there is not None and there[1].lines:
        roomy, routed_there = there
        better = not routed_there.bends_sharply and len(roomy.findings) <= len(first.findings)
        if better or not routed.lines:
            return roomy, routed_there
    if routed.lines:
        return first, routed
    return first, route(replace(scene, ground=first.ground), first, only_ahead=True)


def _with_room_to_turn(scene: Scene) -> tuple[Siting, Routed] | None:
    """Return the best place with room to turn beyond its front, and its lines; None for none."""
    try:
        roomy = site_station(scene, roomy=True)
    except NotPlannable:
        return None
    return roomy, route(replace(scene, ground=roomy.ground), roomy)


def _home_first(pieces: tuple[Polygon, ...], home: Polygon) -> tuple[Polygon, ...]:
    return (home, *(piece for piece in pieces if piece is not home))


def _joined(scene: Scene, ground: LeadGround) -> LeadTree:
    try:
        return least_tree(ground)
    except UnjoinedIsland as error:
        raise NotPlannable(
            scene.site.property_id, str(error), "move or widen what bars the way"
        ) from error


def _perimeter(
    scene: Scene, pieces: tuple[Polygon, ...], tree: LeadTree, station: Station
) -> Perimeter:
    wire = scene.rules.wire
    try:
        whole = slit_ground(pieces, tree.leads, wire.pair_gap_m)
    except BrokenRim as error:
        raise NotPlannable(
            scene.site.property_id,
            "no way was found to lead one wire round every island without cutting lawn off",
            "look at what lies by a crossing or in a corner, and draw it simpler",
        ) from error
    line = conductor(whole, station.point, wire.terminal_gap_m)
    return Perimeter(line, sections_of(scene, line, pieces, tree.leads))


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


def _over_walls(scene: Scene, tree: LeadTree) -> list[Finding]:
    """Say where a wire pair has to cross a wall or a fall that was drawn as a line."""
    walls = scene.line_barriers()
    crossings = (shapely.intersection(lead.line, walls) for lead in tree.leads)
    return [
        Finding(
            rule="lead_over_wall",
            severity="warn",
            text=(
                "no way for a wire pair leads round this wall or fall: the pair crosses it here, "
                "in a conduit fixed to its face or through a bore"
            ),
            place=shapely.centroid(crossing),
        )
        for crossing in crossings
        if not crossing.is_empty
    ]


def _past_the_station(ground: LeadGround, tree: LeadTree, rules: RuleBook) -> list[Finding]:
    """Say where a wire pair has to leave the wire that should run straight past the station."""
    meets = (shapely.intersection(lead.line, ground.straight) for lead in tree.leads)
    return [
        Finding(
            rule="station_straight_wire",
            severity="warn",
            text=(
                f"a wire pair leaves the perimeter here, within {rules.station.straight_wire_m:.1f}"
                " m of the station, for no other way leads to the island that it serves: the "
                "machine comes in askew; move the station along, or leave the island out"
            ),
            place=shapely.centroid(meet),
            limit=rules.station.straight_wire_m,
        )
        for meet in meets
        if not meet.is_empty
    ]
