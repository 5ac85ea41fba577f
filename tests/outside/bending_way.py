"""The shortest way from a station to a joint that bends and climbs no more than the rules allow.

A discretisation of its own, searched by scipy: a state is a place of a lattice and one of some
forty directions of legs from one to one and a half smallest legs long; a leg follows another where
the turn between them is within the rules. Nothing of the program's own search, straightening or
pricing is used, only its ground inside the wire and its terrain as it is. Legs keep the limit at
every place looked at: the reference takes none of the point over it that a line may have.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from scipy.sparse import coo_array, csgraph
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from lawnplat.planned import Plan
from lawnplat.settings.types import RuleBook
from lawnplat.terrain.sample import gradient_at

LATTICE_M = 0.25
LONGEST_LEGS = 1.4
LOOKS = np.linspace(0.0, 1.0, 6)  # places at which a leg of 1 to 1.5 m is looked at
HAIR_DEG = 0.5
JOINT_CORRIDORS = 1.5  # within so many corridors of its joint a line may come near to the wire


@dataclass(frozen=True)
class Room:
    """Where a line may run, how steeply, and its two ends."""

    free: BaseGeometry
    gradient: Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]
    limit: float
    begins: np.ndarray
    """Places on the straight run from which it may turn, shape (n, 2)."""
    station: np.ndarray
    ahead: np.ndarray
    joint: np.ndarray
    largest_bend_deg: float
    smallest_leg_m: float

    def admits(self, start: np.ndarray, end: np.ndarray) -> np.ndarray:
        """Return whether straight legs stay on the ground and under the limit. Shape (n,)."""
        run = end - start
        x = start[:, :1] + run[:, :1] * LOOKS
        y = start[:, 1:] + run[:, 1:] * LOOKS
        east, north = self.gradient(x, y)
        along = np.abs(east * run[:, :1] + north * run[:, 1:]).max(axis=1)
        fit = np.flatnonzero(along <= self.limit * np.hypot(*run.T))
        inside = np.zeros(len(run), bool)
        inside[fit] = shapely.contains_xy(self.free, x[fit], y[fit]).all(axis=1)
        return inside


def room_of(plan: Plan, rules: RuleBook, *, off_leads: bool = False) -> Room:
    """Return the room of a plan's first return line on a lawn of one piece without firm things.

    With ``off_leads`` the plan's leads are no ground for it: a line crosses none.
    """
    layout, line = plan.layout, rules.return_line
    station, joint = layout.station, np.array(layout.return_lines[0].line.coords[-1])
    piece = next(p for p in plan.ground.wire_ground.pieces if p.distance(station.point) < 0.05)
    angle = np.radians(station.bearing_deg)
    ahead = np.array([np.sin(angle), np.cos(angle)])
    home = np.array(layout.return_lines[0].line.coords[0])
    first_m = max(line.straight_run_m, rules.station.front_clear_m)
    along_m = np.arange(first_m, first_m + 1.5, 0.25)
    run = LineString([home, home + ahead * along_m[-1]])
    mouth = Point(joint).buffer(JOINT_CORRIDORS * line.corridor_m).intersection(piece)
    clear = piece.buffer(-line.corridor_m).difference(station.front)
    if off_leads:
        leads = [each.line for each in layout.perimeter.sections if each.section.startswith("lead")]
        clear = clear.difference(shapely.union_all(leads).buffer(line.corridor_m))
    free = shapely.union_all([clear, mouth, run.buffer(0.02)]).buffer(1e-3)
    shapely.prepare(free)
    limit = plan.machine.slope_return_pct / 100
    return Room(
        free, partial(gradient_at, plan.terrain), limit,
        home + ahead * along_m[:, None], home, ahead, joint,
        line.largest_bend_deg, line.smallest_leg_m,
    )


def least_m(room: Room, most_m: float) -> float:
    """Return the length of the shortest way; infinity where none is shorter than ``most_m``."""
    places, number = _lattice(room, most_m)
    legs, angles = _legs(room.smallest_leg_m)
    least = room.largest_bend_deg + HAIR_DEG
    count, home = len(places), len(places) * len(legs)
    rows, columns, costs = [], [], []
    for way, leg in enumerate(legs):
        # Lattice places of the far ends; -1 where there is none.
        at = np.rint((places - room.joint) / LATTICE_M).astype(int)
        to = _numbers(number, at + leg)
        begins = np.flatnonzero(to >= 0)
        begins = begins[room.admits(places[begins], places[to[begins]])]
        for before, angle in enumerate(angles):
            if _turn_deg(angle, angles[way]) <= least:
                rows.append(begins + before * count)
                columns.append(to[begins] + way * count)
                costs.append(np.full(len(begins), LATTICE_M * np.hypot(*leg)))
    for begin in room.begins:
        near, way, length_m = _joined(room, places, angles, begin, outward=True)
        sharp = _turn_deg(np.arctan2(*room.ahead[::-1]), angles[way]) > least
        rows.append(np.full((~sharp).sum(), home))
        columns.append((near + way * count)[~sharp])
        costs.append((length_m + np.hypot(*(begin - room.station)))[~sharp])
    near, way, length_m = _joined(room, places, angles, room.joint, outward=False)
    for before, angle in enumerate(angles):
        fit = _turn_deg(angle, angles[way]) <= least
        rows.append(near[fit] + before * count)
        columns.append(np.full(fit.sum(), home + 1))
        costs.append(length_m[fit])
    table = (np.concatenate(costs), (np.concatenate(rows), np.concatenate(columns)))
    network = coo_array(table, shape=(home + 2, home + 2)).tocsr()
    return float(csgraph.dijkstra(network, indices=home, limit=1.05 * most_m)[home + 1])


def _lattice(room: Room, most_m: float) -> tuple[np.ndarray, dict[tuple[int, int], int]]:
    """Return free places on no longer way than ``most_m``: inside the ellipse about its ends."""
    reach = int(np.ceil(most_m / LATTICE_M))
    steps = np.arange(-reach, reach + 1)
    at = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    places = room.joint + LATTICE_M * at
    ways_m = np.hypot(*(places - room.station).T) + np.hypot(*(places - room.joint).T)
    near = np.flatnonzero(ways_m <= most_m)
    near = near[shapely.contains_xy(room.free, *places[near].T)]
    return places[near], {tuple(key): place for place, key in enumerate(at[near].tolist())}


def _numbers(number: dict[tuple[int, int], int], at: np.ndarray) -> np.ndarray:
    return np.array([number.get((x, y), -1) for x, y in at.tolist()])


def _legs(least_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the steps of one leg in lattice units, one a direction, and their angles."""
    reach = int(np.ceil(LONGEST_LEGS * least_m / LATTICE_M))
    steps = np.arange(-reach, reach + 1)
    every = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    length_m = LATTICE_M * np.hypot(*every.T)
    fit = every[(length_m >= least_m - 1e-9) & (length_m <= LONGEST_LEGS * least_m)]
    fit = fit[np.argsort(np.hypot(*fit.T), kind="stable")]
    angle = np.arctan2(fit[:, 1], fit[:, 0])
    _, first = np.unique(np.round(angle, 6), return_index=True)
    return fit[first], angle[first]


def _joined(
    room: Room, places: np.ndarray, angles: np.ndarray, end: np.ndarray, *, outward: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the places to which a leg leads from ``end``, or from which one leads to it.

    With the direction nearest to the leg's, and its length.
    """
    apart_m = np.hypot(*(places - end).T)
    legs_m = (room.smallest_leg_m, 1.5 * LONGEST_LEGS * room.smallest_leg_m)
    near = np.flatnonzero((apart_m >= legs_m[0]) & (apart_m <= legs_m[1]))
    ends = np.broadcast_to(end, (len(near), 2))
    near = near[room.admits(ends, places[near])]
    run = (places[near] - end) * (1 if outward else -1)
    angle = np.arctan2(run[:, 1], run[:, 0])
    return near, np.argmin(_turn_deg(angle[:, None], angles), axis=1), apart_m[near]


def _turn_deg(one: np.ndarray | float, other: np.ndarray | float) -> np.ndarray:
    return np.degrees(np.abs((np.subtract(other, one) + np.pi) % (2 * np.pi) - np.pi))
