"""Candidate seams through one piece of lawn: where two working areas could meet.

A seam runs straight from the piece's outer rim to its outer rim; islands count as free width,
since the wire goes round them all the same. Beside straight chords there are bent ones by way of a
large island: two short legs from the rim to it. Places are sampled by bearing and offset; the area
on the left of each is read off the ring's running sum, islands not yet taken off.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon, STRtree

from lawnplat.geometry import FloatArray, grow
from lawnplat.ground.setbacks import setback_of
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Feature
from lawnplat.terrain.sample import gradient_at
from lawnplat.terrain.types import Terrain

_STEP_M = 1.0
"""Ground under a seam is looked at this often."""
_SAME_M = 1e-9
_ON_M = 1e-6
_BENT = 1.05
"""A seam with bends is harder to set out: it is taken where it is this much cheaper."""
_MOST_ISLANDS = 3
_SPOKES = 24
_POINTS = 4


@dataclass(frozen=True)
class SeamPrice:
    """What a metre of seam costs, in metres of seam on level ground."""

    terrain: Terrain
    machine: MachineClass
    rules: RuleBook
    firm: tuple[Feature, ...] = ()
    """Obstacles that need no wire unless a seam comes too near."""

    @cached_property
    def _trunks(self) -> STRtree:
        """Where no seam runs without both loops' wires swinging round a firm obstacle."""
        half_m = self.rules.wire.loops_apart_m / 2
        near = (grow(each.geometry, setback_of(each, self.rules) + half_m) for each in self.firm)
        return STRtree(list(near))

    def factors(self, points: FloatArray, along: FloatArray) -> FloatArray:
        """Return the price of a metre at each of ``points`` (n, 2) of a seam that runs ``along``.

        Steep ground is dear, and so is fall across the seam: the machine of the upper loop slides
        over its wire there.
        """
        east, north = gradient_at(self.terrain, points[:, 0], points[:, 1])
        slope = 100.0 * np.hypot(east, north) / self.machine.slope_lawn_pct
        across = 100.0 * np.abs(east * along[:, 1] - north * along[:, 0])
        fall = across / self.machine.slope_edge_pct
        return np.asarray(1.0 + self.rules.wire.score_seam_gradient * (slope + fall))

    def of(self, paths: FloatArray, inside_m: FloatArray) -> FloatArray:
        """Return the price of each stretch of ``paths`` (n, 2, 2), ``inside_m`` of it on lawn."""
        run = paths[:, 1] - paths[:, 0]
        length_m = np.maximum(np.hypot(run[:, 0], run[:, 1]), 1e-9)
        count = np.maximum(np.ceil(length_m / _STEP_M).astype(int), 1)
        owner = np.repeat(np.arange(len(paths)), count)
        first = np.concatenate([[0], np.cumsum(count)[:-1]])
        share = (np.arange(len(owner)) - first[owner] + 0.5) / count[owner]
        points = paths[owner, 0] + share[:, None] * run[owner]
        price = self.factors(points, (run / length_m[:, None])[owner])
        ground_m = np.bincount(owner, price, len(paths)) / count * inside_m
        met = self._trunks.query(shapely.linestrings(paths), predicate="intersects")[0]
        trunks = np.bincount(met, minlength=len(paths))
        return np.asarray(ground_m + self.rules.wire.score_seam_firm * trunks)


@dataclass(frozen=True)
class Seams:
    """Candidate seams through one piece.

    ``paths`` has shape (n, 4, 2): start, two bends (at an island's rim, or the ends again), end.
    ``price_m`` is length weighted by the ground; ``left_m2`` the area to the left inside the outer
    ring. ``natural`` seams lie in a passage or a crossing.
    """

    paths: FloatArray
    price_m: FloatArray
    left_m2: FloatArray
    natural: NDArray[np.bool_]

    def line(self, number: int) -> LineString:
        """Return one seam as a line."""
        points = self.paths[number]
        kept = [True, *(bool(np.hypot(*(b - a)) > _SAME_M) for a, b in pairwise(points))]
        return LineString(points[kept])


def together(found: Iterable[Seams]) -> Seams:
    """Return several sets of candidates as one."""
    each = list(found)
    return Seams(
        np.concatenate([one.paths for one in each]),
        np.concatenate([one.price_m for one in each]),
        np.concatenate([one.left_m2 for one in each]),
        np.concatenate([one.natural for one in each]),
    )


def middle_of(piece: Polygon) -> FloatArray:
    """Return the middle of the piece's box, from which offsets are counted. Shape (2,)."""
    west, south, east, north = piece.bounds
    return np.array([(west + east) / 2, (south + north) / 2])


def reach_of(piece: Polygon) -> float:
    """Return the diagonal of the piece's box, metres."""
    west, south, east, north = piece.bounds
    return float(np.hypot(east - west, north - south))


def scan_lines(
    piece: Polygon, bearings_deg: FloatArray, offsets_m: FloatArray
) -> NDArray[np.object_]:
    """Return lines right across the piece, offset to the left of the middle of its box."""
    angle = np.radians(bearings_deg)
    ahead = np.stack([np.sin(angle), np.cos(angle)], axis=1)
    left = np.stack([-ahead[:, 1], ahead[:, 0]], axis=1)
    at = middle_of(piece) + offsets_m[:, None] * left
    reach = reach_of(piece) * ahead
    return np.asarray(shapely.linestrings(np.stack([at - reach, at + reach], axis=1)))


def chords(
    piece: Polygon, price: SeamPrice, bearings_deg: FloatArray, offsets_m: FloatArray
) -> Seams:
    """Return the chords along lines.

    Parameters
    ----------
    piece : Polygon
    price : SeamPrice
    bearings_deg, offsets_m : array of n
        Direction of each line, and how far it lies to the left of the middle of the piece's box.
    """
    filled = Polygon(piece.exterior)
    shapely.prepare(filled)
    lines = scan_lines(piece, bearings_deg, offsets_m)
    found = shapely.get_parts(shapely.intersection(filled, lines))
    found = found[shapely.length(found) > _ON_M]
    return _priced(piece, price, found, natural=False)


def through(
    piece: Polygon, price: SeamPrice, places: FloatArray, bearings_deg: FloatArray
) -> Seams:
    """Return the chords along lines through ``places`` (n, 2): those pieces that hold the place."""
    kept: list[LineString] = []
    for place, bearing in zip(places, np.radians(bearings_deg), strict=True):
        reach = piece.length * np.array([np.sin(bearing), np.cos(bearing)])
        line = LineString([place - reach, place + reach])
        parts = shapely.get_parts(shapely.intersection(Polygon(piece.exterior), line))
        kept.extend(parts[shapely.dwithin(parts, shapely.Point(place), _ON_M)])
    return _priced(piece, price, np.array(kept, dtype=np.object_), natural=True)


def _priced(
    piece: Polygon, price: SeamPrice, lines: NDArray[np.object_], *, natural: bool
) -> Seams:
    """Return straight lines from rim to rim as seams."""
    ends = np.empty((len(lines), 2, 2))
    if len(lines):
        ends[:, 0] = shapely.get_coordinates(shapely.get_point(lines, 0))
        ends[:, 1] = shapely.get_coordinates(shapely.get_point(lines, -1))
    paths = ends[:, [0, 0, 1, 1]]
    inside_m = shapely.length(shapely.intersection(piece, lines)) if len(lines) else np.empty(0)
    return Seams(
        paths=paths,
        price_m=price.of(ends, inside_m),
        left_m2=left_areas(piece, paths),
        natural=np.full(len(lines), natural),
    )


def round_islands(piece: Polygon, price: SeamPrice) -> Seams:
    """Return seams of two legs from the outer rim to a large island, in every pairing."""
    rings = sorted(piece.interiors, key=lambda ring: -Polygon(ring).area)[:_MOST_ISLANDS]
    found = [_no_seams()]
    outer = LineString(piece.exterior.coords)
    for ring in rings:
        island = LineString(ring.coords)
        steps = np.arange(_SPOKES) / _SPOKES * island.length
        legs = shapely.shortest_line(outer, shapely.line_interpolate_point(island, steps))
        spokes = shapely.get_coordinates(legs).reshape(-1, 2, 2)
        legs_m = price.of(spokes, shapely.length(shapely.intersection(piece, legs)))
        one, other = np.triu_indices(_SPOKES, k=1)
        paths = np.concatenate([spokes[one], spokes[other][:, ::-1]], axis=1)
        left_m2 = left_areas(piece, paths)
        natural = np.zeros(len(paths), dtype=bool)
        price_m = _BENT * (legs_m[one] + legs_m[other])
        found.append(Seams(paths, price_m, left_m2, natural))
    return together(found)


def _no_seams() -> Seams:
    none = np.empty(0)
    return Seams(np.empty((0, _POINTS, 2)), none, none, np.empty(0, dtype=bool))


def left_areas(piece: Polygon, paths: FloatArray) -> FloatArray:
    """Return the area to the left of each path, inside the outer ring; square metres.

    The running sum of cross products along the ring (shoelace formula) gives the area between two
    places on it in one subtraction.
    """
    ring = shapely.get_coordinates(shapely.orient_polygons(piece).exterior)
    origin = ring.mean(axis=0)
    ring = ring - origin
    line = LineString(ring)
    at_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    cross = ring[:-1, 0] * ring[1:, 1] - ring[:-1, 1] * ring[1:, 0]
    running = np.concatenate([[0.0], np.cumsum(cross)])
    moved = paths - origin

    def up_to(points: FloatArray) -> tuple[FloatArray, FloatArray]:
        place_m = shapely.line_locate_point(line, shapely.points(points))
        before = np.clip(np.searchsorted(at_m, place_m, side="right") - 1, 0, len(ring) - 2)
        start = ring[before]
        rest = start[:, 0] * points[:, 1] - start[:, 1] * points[:, 0]
        return np.asarray(place_m), np.asarray(running[before] + rest)

    start_m, start_sum = up_to(moved[:, 0])
    end_m, end_sum = up_to(moved[:, -1])
    round_the_ring = start_sum - end_sum + np.where(start_m < end_m, running[-1], 0.0)
    step = moved[:, :-1, 0] * moved[:, 1:, 1] - moved[:, :-1, 1] * moved[:, 1:, 0]
    return np.asarray((round_the_ring + step.sum(axis=1)) / 2)
