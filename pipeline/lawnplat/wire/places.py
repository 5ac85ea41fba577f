"""Places on the wire where a charging station could stand, and what speaks against each.

Candidates lie along the outer ring and along the rings of islands that hold a building: where the
house stands in the middle of the lawn, its outlets are out of reach from the outer ring.
"""

from __future__ import annotations

from dataclasses import dataclass

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


@dataclass(frozen=True)
class Places:
    """Candidate places along the rims of one piece of ground.

    Arrays of length n, or (n, 2) for ``point`` and ``ahead`` (a unit vector into the lawn).
    ``front`` and ``base`` hold polygons.
    """

    point: FloatArray
    ahead: FloatArray
    front: NDArray[np.object_]
    base: NDArray[np.object_]
    straight_wire: NDArray[np.bool_]
    front_clear: NDArray[np.bool_]
    base_on_lawn: NDArray[np.bool_]
    in_passage: NDArray[np.bool_]

    def stands(self) -> NDArray[np.bool_]:
        """Return where nothing but level ground and power could be wanting."""
        return self.straight_wire & self.front_clear & self.base_on_lawn & ~self.in_passage


def rims_of(piece: Polygon) -> list[LineString]:
    """Return all rings of ``piece``, the outer first, each with the lawn on its right hand."""
    turned = shapely.orient_polygons(piece, exterior_cw=True)
    return [LineString(ring.coords) for ring in (turned.exterior, *turned.interiors)]


def rim_of(piece: Polygon) -> LineString:
    """Return the outer ring of ``piece`` with the lawn on its right hand (clockwise)."""
    return rims_of(piece)[0]


def places_on(scene: Scene, piece: Polygon, houses: BaseGeometry) -> Places:
    """Return candidate places every ``candidate_spacing_m`` along the rims of ``piece``.

    ``houses`` are the buildings whose island rings count too.
    """
    ground, machine, rules = scene.ground, scene.machine, scene.rules
    outer, *islands = rims_of(piece)
    rims = [outer, *(ring for ring in islands if shapely.intersects(Polygon(ring), houses))]
    found = [_along(rim, rules) for rim in rims]
    point, ahead, straight = (np.concatenate(column) for column in zip(*found, strict=True))
    base_ahead_m = scene.base_ahead_m
    half_m = rules.station.side_clear_m
    front = rectangle(point, ahead, 0.0, rules.station.front_clear_m, half_m)
    clear_to_m = rules.station.front_clear_m + base_ahead_m
    off_rim_m = 2 * rules.ground.shape_tolerance_m
    needed = rectangle(point, ahead, off_rim_m, clear_to_m, half_m)
    behind_m, base_half_m = machine.base_behind_wire_m, machine.base_width_m / 2
    base = rectangle(point, ahead, -behind_m, base_ahead_m, base_half_m)
    room = _standing_room(piece, ground, rules)
    narrow = union(passage.area for passage in ground.passages if passage.verdict == "guided")
    return Places(
        point=point,
        ahead=ahead,
        front=front,
        base=base,
        straight_wire=straight,
        front_clear=_covered(room, needed),
        base_on_lawn=_on_lawn(base, ground, rules),
        in_passage=np.asarray(shapely.intersects(narrow, front)),
    )


def _along(
    rim: LineString, rules: RuleBook
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Return places along a ring, the way into the lawn at each, and where the ring is straight."""
    count = max(int(np.ceil(rim.length / rules.station.candidate_spacing_m)), 8)
    chainage_m = np.arange(count) * rim.length / count
    ahead, straight = _direction(rim, chainage_m, rules)
    return points_along(rim, chainage_m), ahead, straight


def _direction(
    rim: LineString, chainage_m: FloatArray, rules: RuleBook
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Return the inward normal of the rim at each chainage, and whether the rim is straight there.

    Straight means that between ``straight_wire_m`` before and behind, no point leaves the line
    through the place that is square to its front by more than a peg's tolerance.
    """
    span = rules.station.straight_wire_m * np.linspace(-1, 1, _STRAIGHT_CHECKS)
    around = points_along(rim, (chainage_m[:, None] + span).ravel())
    around = around.reshape(len(chainage_m), _STRAIGHT_CHECKS, 2)
    chord = around[:, -1] - around[:, 0]
    length = np.maximum(np.hypot(chord[:, 0], chord[:, 1]), 1e-9)
    along = chord / length[:, None]
    offset = around - around[:, _STRAIGHT_CHECKS // 2, None]
    off_m = np.abs(offset[..., 0] * along[:, None, 1] - offset[..., 1] * along[:, None, 0])
    straight = off_m.max(axis=1) <= rules.pegs.curve_offset_m
    return np.stack([along[:, 1], -along[:, 0]], axis=1), straight


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
