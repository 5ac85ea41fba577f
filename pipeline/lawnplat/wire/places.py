"""Places on the wire where a charging station could stand, and what speaks against each.

Candidates lie along the outer ring and along the rings of islands that hold a building: where the
house stands in the middle of the lawn, its outlets are out of reach from the outer ring.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, grow, points_along, rectangle, union
from lawnplat.ground.setbacks import setback_of
from lawnplat.ground.types import Ground
from lawnplat.settings.types import RuleBook
from lawnplat.wire.scene import Scene

_STRAIGHT_CHECKS = 9
_SAME_M = 1e-6
_TOUCH_M = 1e-4


@dataclass(frozen=True)
class Places:
    """Candidate places along the rims of one piece of ground.

    Arrays of length n, or (n, 2) for ``point`` and ``ahead`` (a unit vector into the lawn).
    ``front`` and ``base`` hold polygons. ``drawn_in_m`` is how far the rim would be drawn in to run
    straight past the place, 0 where it does; ``chainage_m`` is the place's along its own rim.
    ``way_out`` tells whether there is room to turn beyond the front, True where none was asked for.
    """

    point: FloatArray
    ahead: FloatArray
    front: NDArray[np.object_]
    base: NDArray[np.object_]
    chainage_m: FloatArray
    drawn_in_m: FloatArray
    straight_wire: NDArray[np.bool_]
    front_clear: NDArray[np.bool_]
    base_on_lawn: NDArray[np.bool_]
    in_passage: NDArray[np.bool_]
    way_out: NDArray[np.bool_]

    def stands(self) -> NDArray[np.bool_]:
        """Return where nothing but level ground and power could be wanting."""
        free = self.front_clear & self.way_out & ~self.in_passage
        return self.straight_wire & self.base_on_lawn & free


def rims_of(piece: Polygon) -> list[LineString]:
    """Return all rings of ``piece``, the outer first, each with the lawn on its right hand."""
    turned = shapely.orient_polygons(piece, exterior_cw=True)
    return [LineString(ring.coords) for ring in (turned.exterior, *turned.interiors)]


def rim_of(piece: Polygon) -> LineString:
    """Return the outer ring of ``piece`` with the lawn on its right hand (clockwise)."""
    return rims_of(piece)[0]


def places_on(
    scene: Scene,
    piece: Polygon,
    houses: BaseGeometry,
    *,
    drawn_in: bool = False,
    roomy: bool = False,
) -> Places:
    """Return candidate places every ``candidate_spacing_m`` along the rims of ``piece``.

    ``houses`` are the buildings whose island rings count too. With ``drawn_in`` the outer rim may
    be drawn in to run straight past a place; ``roomy`` asks for as much room beyond the front as a
    return line likes to have.
    """
    ground, machine, rules = scene.ground, scene.machine, scene.rules
    outer, *islands = rims_of(piece)
    rims = [outer, *(ring for ring in islands if shapely.intersects(Polygon(ring), houses))]
    along = [_along(rim, rules) for rim in rims]
    if drawn_in:
        along[0] = _drawn_in(piece, outer, along[0], scene)
    found = _Along(*(np.concatenate(column) for column in zip(*along, strict=True)))
    point, ahead = found.point, found.ahead
    base_ahead_m = scene.base_ahead_m
    half_m = rules.station.side_clear_m
    front = rectangle(point, ahead, 0.0, rules.station.front_clear_m, half_m)
    clear_to_m = rules.station.front_clear_m + base_ahead_m
    off_rim_m = 2 * rules.ground.shape_tolerance_m
    needed = rectangle(point, ahead, off_rim_m, clear_to_m, half_m)
    turn_m = clear_to_m + rules.return_line.comfortable_m if roomy else clear_to_m
    to_turn = rectangle(point, ahead, off_rim_m, turn_m, half_m)
    behind_m, base_half_m = machine.base_behind_wire_m, machine.base_width_m / 2
    base = rectangle(point, ahead, -behind_m, base_ahead_m, base_half_m)
    room = _standing_room(piece, ground, rules)
    return Places(
        point=point,
        ahead=ahead,
        front=front,
        base=base,
        chainage_m=found.chainage_m,
        drawn_in_m=found.drawn_in_m,
        straight_wire=found.straight,
        front_clear=_covered(room, needed),
        base_on_lawn=_on_lawn(base, ground, rules),
        in_passage=np.asarray(shapely.intersects(_narrow(ground), front)),
        way_out=_covered(room, to_turn) if roomy else np.ones(len(point), bool),
    )


class _Along(NamedTuple):
    """Places along a ring, the way into the lawn at each, and where the ring is straight."""

    point: FloatArray
    ahead: FloatArray
    chainage_m: FloatArray
    drawn_in_m: FloatArray
    straight: NDArray[np.bool_]


def _along(rim: LineString, rules: RuleBook) -> _Along:
    """Return places along a ring.

    It is straight where between ``straight_wire_m`` before and behind, no point leaves the line
    through the place that is square to its front by more than a peg's tolerance.
    """
    count = max(int(np.ceil(rim.length / rules.station.candidate_spacing_m)), 8)
    chainage_m = np.arange(count) * rim.length / count
    around, ahead = _around(rim, chainage_m, rules)
    middle = around[:, _STRAIGHT_CHECKS // 2]
    off_m = np.maximum(
        np.abs(_ahead_of(around, middle, ahead)).max(axis=1),
        _corners_off_m(rim, chainage_m, middle, ahead, rules.station.straight_wire_m),
    )
    straight = off_m <= rules.pegs.curve_offset_m
    return _Along(middle, ahead, chainage_m, np.zeros(count), straight)


def _corners_off_m(
    rim: LineString, chainage_m: FloatArray, origin: FloatArray, ahead: FloatArray, reach_m: float
) -> FloatArray:
    """Return how far corners of a ring within reach lie off the lines square to ``ahead``.

    Between its corners a ring is straight: none of it lies further off than they do, or the ends
    of the reach. Shape (n,); 0 where no corner is within reach.
    """
    corners = shapely.get_coordinates(rim)
    at_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    # The ring three times over, for places whose reach passes its start.
    length_m = at_m[-1]
    at_m = np.concatenate([at_m[:-1] - length_m, at_m[:-1], at_m[:-1] + length_m])
    corners = np.tile(corners[:-1], (3, 1))
    first = np.searchsorted(at_m, chainage_m - reach_m)
    counts = np.searchsorted(at_m, chainage_m + reach_m) - first
    place = np.repeat(np.arange(len(chainage_m)), counts)
    corner = np.arange(counts.sum()) + np.repeat(first - np.cumsum(counts) + counts, counts)
    off_m = np.abs(((corners[corner] - origin[place]) * ahead[place]).sum(axis=1))
    found = np.zeros(len(chainage_m))
    np.maximum.at(found, place, off_m)
    return found


def _around(
    rim: LineString, chainage_m: FloatArray, rules: RuleBook
) -> tuple[FloatArray, FloatArray]:
    """Return the rim's run past each chainage, and the unit vector into the lawn from its chord.

    Shapes (n, checks, 2) and (n, 2).
    """
    span = rules.station.straight_wire_m * np.linspace(-1, 1, _STRAIGHT_CHECKS)
    around = points_along(rim, chainage_m[:, None] + span)
    chord = around[:, -1] - around[:, 0]
    along = chord / np.maximum(np.hypot(chord[:, 0], chord[:, 1]), 1e-9)[:, None]
    return around, np.stack([along[:, 1], -along[:, 0]], axis=1)


def _ahead_of(around: FloatArray, origin: FloatArray, ahead: FloatArray) -> FloatArray:
    """Return how far each point lies ahead of the line square to ``ahead``. Shape (n, checks)."""
    return np.asarray(((around - origin[:, None]) * ahead[:, None]).sum(axis=2))


def _drawn_in(piece: Polygon, rim: LineString, along: _Along, scene: Scene) -> _Along:
    """Return the places, those on a rim that bulges outward moved onto the rim's chord there.

    The chord is no further in than ``straightening_m``, clear of firm obstacles and crossings, and
    makes no corner at its ends into which the machine does not come.
    """
    rules = scene.rules
    around, ahead = _around(rim, along.chainage_m, rules)
    bulge_m = -_ahead_of(around, around[:, 0], ahead)
    least, most = bulge_m.min(axis=1), bulge_m.max(axis=1)
    fits = ~along.straight & (least >= -_SAME_M) & (most <= rules.station.straightening_m)
    fits &= _turn_beyond_rad(rim, along.chainage_m, around, scene) <= _largest_turn_rad(scene)
    which = np.flatnonzero(fits)
    room = grow(_standing_room(piece, scene.ground, rules), _TOUCH_M)
    chords = np.asarray(shapely.linestrings(around[which][:, [0, -1]]))
    narrow = _narrow(scene.ground)
    free = _covered(room, chords) & ~shapely.intersects(narrow, chords)
    which = which[free]
    point, drawn_in_m, straight = along.point.copy(), along.drawn_in_m.copy(), along.straight.copy()
    point[which] = around[which][:, [0, -1]].mean(axis=1)
    drawn_in_m[which], straight[which] = most[which], True
    return _Along(point, ahead, along.chainage_m, drawn_in_m, straight)


def _turn_beyond_rad(
    rim: LineString, chainage_m: FloatArray, around: FloatArray, scene: Scene
) -> FloatArray:
    """Return by how much a rim turns toward its lawn beyond a chord's ends, the sharper one.

    The rim's direction is that to where it is half a smallest passage further on. Shape (n,).
    """
    reach_m = scene.rules.station.straight_wire_m + scene.machine.smallest_passage_m / 2
    beyond = points_along(rim, chainage_m[:, None] + [-reach_m, reach_m])
    ends = around[:, [0, -1]]
    chord = ends[:, 1] - ends[:, 0]
    turns = []
    for run in (ends[:, 0] - beyond[:, 0], beyond[:, 1] - ends[:, 1]):
        cross = chord[:, 0] * run[:, 1] - chord[:, 1] * run[:, 0]
        turns.append(np.arctan2(cross, (chord * run).sum(axis=1)))
    # The lawn lies on the right hand: before the chord it turns the same way as after it.
    return np.asarray(np.maximum(turns[0], -turns[1]))


def _largest_turn_rad(scene: Scene) -> float:
    """Return the sharpest corner whose tip the machine's disc leaves by a peg's tolerance.

    A disc of radius r leaves the tip of a corner that turns by t by r (1 / cos(t / 2) - 1).
    """
    radius_m = scene.machine.smallest_passage_m / 2
    return 2 * math.acos(radius_m / (radius_m + scene.rules.pegs.curve_offset_m))


def _narrow(ground: Ground) -> BaseGeometry:
    return union(passage.area for passage in ground.passages if passage.verdict == "guided")


def _standing_room(piece: Polygon, ground: Ground, rules: RuleBook) -> BaseGeometry:
    """Return mowable ground free of firm obstacles and crossings."""
    firm = [
        grow(feature.geometry, setback_of(feature, rules))
        for feature in ground.wire_ground.firm
    ]
    taken = union([*firm, *ground.wire_ground.crossings])
    return shapely.difference(piece, taken)


def _covered(room: BaseGeometry, shapes: NDArray[np.object_]) -> NDArray[np.bool_]:
    shapely.prepare(room)
    return np.asarray(shapely.covers(room, shapes))


def _on_lawn(
    base: NDArray[np.object_], ground: Ground, rules: RuleBook
) -> NDArray[np.bool_]:
    """Return where the base stands on lawn and on no feature."""
    lawn = grow(ground.lawn, 1.5 * rules.ground.shape_tolerance_m)
    bodies = union(
        cause.body for cause in ground.causes if cause.kind in rules.kinds and cause.body.area > 0
    )
    return _covered(shapely.difference(lawn, bodies) if not bodies.is_empty else lawn, base)
