"""Split a lawn into working areas, each small enough for one machine and one loop of wire.

The ground inside the wire is cut in two again and again (`lawnplat.ground.halving`), as near to
equal as its shape lets it. Then the areas are drawn apart, so that no two loops lie nearer to
each other than the rule book asks, and each becomes a ground of its own, with its own parts and
passages.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

import numpy as np
import shapely
from shapely import LineString, MultiLineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import as_multipolygon, grow, polygons, thickened, union
from lawnplat.ground.cross_fall import CROSS_FALL, Slopes, cut_for_fall, may_slide
from lawnplat.ground.firm import split_firm
from lawnplat.ground.given_up import hand_trim
from lawnplat.ground.halving import Pieces, SplitTask, in_two, wire_estimate_m
from lawnplat.ground.pieces import Piece, parts_of
from lawnplat.ground.seams import SeamPrice
from lawnplat.ground.setbacks import LOOP_SEAM, feature_causes
from lawnplat.ground.shape import shaped
from lawnplat.ground.types import Cause, Ground, KeepOut, Part, WireGround
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Site
from lawnplat.terrain.types import Terrain

_HAIR_M = 1e-3
_HAIR_M2 = 1e-3
_GROWN_M = 1e-5
_STEP_M = 5e-5
"""Takes out the steps in the rim that growing a narrow place leaves: else each would be a bend."""
_OUTLET = "power_outlet"


@dataclass(frozen=True)
class WorkingAreas:
    """A lawn split: one ground for each loop, and the seams between them, as lines.

    The grounds share lawn, zones and causes; their keep-outs are empty, since the account is kept
    for the whole (`merged`).
    """

    grounds: tuple[Ground, ...]
    seams: tuple[LineString, ...]


def mown_m2(ground: Ground) -> float:
    """Return the lawn that the machines mow."""
    return float(sum(part.area.area for part in ground.parts))


def loops_needed(ground: Ground, machine: MachineClass) -> int:
    """Return the least number of loops that area and wire ask for, as far as can be told at first.

    Seams only add wire, so that the wire of a single loop is the least that several take.
    """
    pieces = ground.wire_ground.pieces
    if not pieces:
        return 1
    by_area = ceil(mown_m2(ground) / machine.capacity_m2)
    by_wire = ceil(wire_estimate_m(pieces) / machine.longest_wire_m)
    return max(by_area, by_wire, 1)


def split(
    site: Site,
    ground: Ground,
    terrain: Terrain,
    machine: MachineClass,
    rules: RuleBook,
    *,
    loops: int,
) -> WorkingAreas | None:
    """Split the lawn into ``loops`` working areas.

    Returns
    -------
    WorkingAreas or None
        None where it cannot be done so that every area fits one machine.
    """
    task = _task(site, ground, SeamPrice(terrain, machine, rules, ground.wire_ground.firm))
    seams: list[LineString] = []
    leaves = _leaves(ground.wire_ground.pieces, loops, task, seams)
    if leaves is None:
        return None
    drawn_apart = _drawn_apart(leaves, seams, ground, machine, rules)
    slopes = Slopes(terrain, machine, rules, _away_from(seams, drawn_apart, rules))
    areas = [_grounded(area, ground, seams, slopes) for area in drawn_apart]
    grounds = [area for area in areas if area is not None]
    if len(grounds) < loops or not all(_one_machine(area, machine) for area in grounds):
        return None
    return WorkingAreas(_told_of_each_other(grounds), tuple(seams))


def _task(site: Site, ground: Ground, price: SeamPrice) -> SplitTask:
    wired = ground.wire_ground
    return SplitTask(
        price=price,
        unmown=union([*wired.crossings, *(feature.geometry for feature in wired.firm)]),
        outlets=tuple(each.geometry for each in site.features if each.kind == _OUTLET),
        passages=tuple(each for each in ground.passages if each.verdict != "closed"),
        strips=wired.crossings,
    )


def _leaves(
    pieces: Pieces, loops: int, task: SplitTask, seams: list[LineString]
) -> list[Pieces] | None:
    """Return the pieces of each loop; the seams cut are added to ``seams``."""
    if loops == 1:
        return [pieces]
    cut = in_two(pieces, loops, task)
    if cut is None:
        return None
    if cut.seam is not None:
        seams.append(cut.seam)
    left = _leaves(cut.left, cut.loops[0], task, seams)
    right = _leaves(cut.right, cut.loops[1], task, seams) if left is not None else None
    return None if left is None or right is None else [*left, *right]


def _drawn_apart(
    leaves: Sequence[Pieces],
    seams: Sequence[LineString],
    ground: Ground,
    machine: MachineClass,
    rules: RuleBook,
) -> list[list[Polygon]]:
    """Return the areas with the rule book's distance between any two, wide enough for a machine.

    Half the distance is given up on each side of a seam. Where two areas lie near each other round
    a thin island or across a path, the later one gives way. A crossing that no longer joins two
    lawns of one area is left out.
    """
    apart_m = rules.wire.loops_apart_m
    strip = union(grow(seam, apart_m / 2) for seam in seams)
    areas = [shapely.difference(union(leaf), strip) for leaf in leaves]
    for later in range(len(areas)):
        areas[later] = _without_idle(areas[later], ground.wire_ground.crossings, machine)
        for earlier in range(later):
            if shapely.distance(areas[earlier], areas[later]) < apart_m - _HAIR_M:
                near = grow(areas[earlier], apart_m)
                areas[later] = shapely.difference(areas[later], near)
    return [
        _wide(area, union(leaf), machine, rules)
        for area, leaf in zip(areas, leaves, strict=True)
    ]


def _without_idle(
    area: BaseGeometry, crossings: Sequence[Polygon], machine: MachineClass
) -> BaseGeometry:
    """Return the area without the crossing strips that have lawn of it at one end only."""
    idle = []
    for strip in crossings:
        here = shapely.intersection(area, strip)
        if here.area <= _HAIR_M2:
            continue
        lawn = shapely.difference(area, grow(strip, _HAIR_M))
        rim = shapely.intersection(shapely.boundary(strip), grow(lawn, 2 * _HAIR_M))
        ends = [line for line in shapely.get_parts(shapely.line_merge(rim)) if line.length > 0]
        wide = [line for line in ends if line.length >= 0.9 * machine.smallest_passage_m]
        whole = here.area >= strip.area - _HAIR_M2
        if not whole or len(wide) < 2:  # noqa: PLR2004 - a crossing joins two
            idle.append(grow(strip, _HAIR_M))
    return shapely.difference(area, union(idle)) if idle else area


def _wide(
    area: BaseGeometry, before: BaseGeometry, machine: MachineClass, rules: RuleBook
) -> list[Polygon]:
    """Return the area's polygons without what the cut left too narrow for the machine.

    Only what is new is taken: the rest of the rim stays as it was to the last digit.
    """
    new_rim = shapely.difference(shapely.boundary(area), grow(shapely.boundary(before), _HAIR_M))
    near = grow(new_rim, machine.smallest_passage_m)
    reach = shaped(area, machine, rules)
    narrow = [
        # Grown, so that no rounding leaves a hair between a narrow corner and the rim.
        shapely.buffer(part, _GROWN_M, join_style="mitre")
        for part in polygons(shapely.difference(area, reach))
        if part.area > _HAIR_M2 and shapely.intersects(part, near)
    ]
    if not narrow:
        return polygons(area)
    cut = shapely.difference(area, union(narrow))
    return polygons(shapely.simplify(cut, _STEP_M))


def _grounded(
    area: list[Polygon],
    ground: Ground,
    seams: Sequence[LineString],
    slopes: Slopes,
) -> Ground | None:
    """Return the ground of one working area, or None where nothing of it is worth a machine.

    Where the ground falls away over a seam, the rim is drawn in as any other is. A firm obstacle
    that the new rim would touch is wired round, as it is at any other rim.
    """
    machine, rules = slopes.machine, slopes.rules
    fallen = _drawn_in(area, slopes) if seams else Polygon()
    if not fallen.is_empty:
        whole = union(area)
        area = _wide(shapely.difference(whole, fallen), whole, machine, rules)
    whole = union(area)
    firm = split_firm(whole, ground.wire_ground.firm, rules)
    causes = feature_causes(firm.wired, rules)
    if causes:
        left = shapely.difference(whole, union(cause.reach for cause in causes))
        area = _wide(left, whole, machine, rules)
    pieces = _pieces(area, ground.wire_ground.crossings, rules)
    if not pieces:
        return None
    bodies = union(feature.geometry for feature in firm.inside)
    parts, passages = parts_of(pieces, bodies, machine, rules)
    return replace(
        ground,
        keep_outs=(),
        hand_trim=(),
        parts=tuple(parts),
        passages=tuple(passages),
        wire_ground=WireGround(
            pieces=tuple(piece.area for piece in pieces),
            crossings=tuple(strip for piece in pieces for strip in piece.strips),
            firm=firm.inside,
        ),
        causes=(*ground.causes, *causes, *_seam_causes(seams, rules), *_fall_causes(fallen)),
        findings=(),
    )


def _away_from(
    seams: Sequence[LineString], areas: Sequence[Sequence[Polygon]], rules: RuleBook
) -> BaseGeometry:
    """Return the ground out of reach of the seams: rims there have been drawn in before."""
    near_m = rules.wire.loops_apart_m / 2 + rules.ground.edge_reach_m
    near = union(grow(seam, near_m) for seam in seams)
    bodies = [polygon for area in areas for polygon in area]
    if not bodies:
        return Polygon()
    return shapely.difference(shapely.box(*grow(union(bodies), near_m).bounds), near)


def _drawn_in(area: Sequence[Polygon], slopes: Slopes) -> BaseGeometry:
    """Return what is given up of an area where the ground falls away over its seams."""
    if not may_slide(slopes.terrain, slopes.machine):
        return Polygon()
    return cut_for_fall(MultiPolygon(list(area)), slopes)


def _fall_causes(fallen: BaseGeometry) -> list[Cause]:
    return [] if fallen.is_empty else [Cause(CROSS_FALL, 0.0, fallen, fallen)]


def _pieces(
    area: Sequence[Polygon], crossings: Sequence[Polygon], rules: RuleBook
) -> list[Piece]:
    """Return what the area's wire encloses, largest first, scraps left out."""
    found = []
    for polygon in area:
        strips = tuple(
            strip
            for strip in crossings
            if shapely.intersection(strip, polygon).area > strip.area - _HAIR_M2
        )
        lawn = shapely.difference(polygon, union(thickened(strip, 1e-6) for strip in strips))
        members = tuple(each for each in polygons(lawn) if each.area > _HAIR_M2)
        found.append(Piece(polygon, members, strips))
    found.sort(key=lambda piece: -piece.mown_m2)
    least = rules.ground.smallest_carried_m2
    return [
        piece
        for place, piece in enumerate(found)
        if piece.mown_m2 >= (least if place else rules.ground.smallest_part_m2)
    ]


def _seam_causes(seams: Sequence[LineString], rules: RuleBook) -> list[Cause]:
    if not seams:
        return []
    body = MultiLineString(list(seams))
    setback_m = rules.wire.loops_apart_m / 2
    return [Cause(LOOP_SEAM, setback_m, body, grow(body, setback_m))]


def _one_machine(area: Ground, machine: MachineClass) -> bool:
    wire_m = wire_estimate_m(area.wire_ground.pieces)
    return mown_m2(area) <= machine.capacity_m2 and wire_m <= machine.longest_wire_m


def _told_of_each_other(grounds: Sequence[Ground]) -> tuple[Ground, ...]:
    """Return the grounds, each with the ground of the other loops, which its cables stay off."""
    bodies = np.array([union(each.wire_ground.pieces) for each in grounds], dtype=object)
    return tuple(
        replace(
            each,
            wire_ground=replace(
                each.wire_ground, others=union(np.delete(bodies, place).tolist())
            ),
        )
        for place, each in enumerate(grounds)
    )


def merged(whole: Ground, settled: Sequence[Ground], rules: RuleBook) -> Ground:
    """Return the ground of all working areas as one, parts numbered through.

    What the areas no longer mow of what ``whole`` did is given up to the seams, or to the fall over
    them; what a loop could not reach stays given up to that.
    """
    parts: list[Part] = []
    for loop, area in enumerate(settled, start=1):
        first = len(parts) + 1
        parts.extend(
            replace(part, number=first + place, loop=loop)
            for place, part in enumerate(area.parts)
        )
    unreached = [keep_out for area in settled for keep_out in area.keep_outs]
    kept = union([*(part.area for part in parts), *(each.area for each in unreached)])
    before = union(part.area for part in whole.parts)
    seam = as_multipolygon(shapely.difference(before, kept))
    causes = tuple(dict.fromkeys(cause for area in settled for cause in area.causes))
    fallen = union(
        cause.reach for cause in causes if cause.kind == CROSS_FALL and cause not in whole.causes
    )
    at_seams = (
        KeepOut(CROSS_FALL, 0.0, as_multipolygon(shapely.intersection(seam, fallen))),
        KeepOut(
            LOOP_SEAM,
            rules.wire.loops_apart_m / 2,
            as_multipolygon(shapely.difference(seam, fallen)),
        ),
    )
    given_up = (each for each in at_seams if not each.area.is_empty)
    keep_outs = (*whole.keep_outs, *given_up, *unreached)
    closed = tuple(each for each in whole.passages if each.verdict == "closed")
    return replace(
        whole,
        parts=tuple(parts),
        passages=(*(each for area in settled for each in area.passages), *closed),
        keep_outs=keep_outs,
        hand_trim=hand_trim(keep_outs, causes, rules),
        wire_ground=WireGround(
            pieces=tuple(each for area in settled for each in area.wire_ground.pieces),
            crossings=tuple(each for area in settled for each in area.wire_ground.crossings),
            firm=tuple(each for area in settled for each in area.wire_ground.firm),
        ),
        causes=causes,
    )
