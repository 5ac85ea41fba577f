"""The last legs of return lines: from places on free ground straight to their joints."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from lawnplat.geometry import FloatArray, grow
from lawnplat.settings.types import RuleBook
from lawnplat.wire.corridor import Corridor, end_reach_m
from lawnplat.wire.route_grid import RouteGrid

Steepest = Callable[[FloatArray, FloatArray], FloatArray]
"""The steepest gradient, m/m, along straight legs from starts to ends of shape (n, 2)."""

LONGEST_LEGS = 1.5
"""Legs are at most this many smallest legs long; longer ones are made of several."""
_ON_IT_M = 1e-3


@dataclass(frozen=True)
class Landings:
    """Last legs, one an entry: from which cell, to which end, its direction and its length.

    ``angle`` is radians from east; ``ends`` is how many ends there are, some perhaps without a leg.
    """

    cell: NDArray[np.int64]
    end: NDArray[np.int64]
    angle: FloatArray
    length_m: FloatArray
    ends: int


def landings(
    grid: RouteGrid,
    corridor: Corridor,
    joint: FloatArray,
    rules: RuleBook,
    *,
    steepest: Steepest,
    limit: float,
) -> Landings:
    """Return the legs over free ground, within the gradient ``limit`` (m/m), to each joint.

    Parameters
    ----------
    grid : RouteGrid
    corridor : Corridor
    joint : array of shape (n, 2)
    rules : RuleBook
    steepest : callable
    limit : float
    """
    leg_m = rules.return_line.smallest_leg_m
    free = grid.free_nodes()
    places = grid.coordinates(free)
    apart_m = np.hypot(*(places[:, None] - joint).transpose(2, 0, 1))
    place, end = np.nonzero((apart_m >= leg_m) & (apart_m <= LONGEST_LEGS * leg_m))
    start, last, length_m = places[place], joint[end], apart_m[place, end]
    fit = _on_ground(corridor, start, last, length_m, rules)
    fit[fit] = steepest(start[fit], last[fit]) <= limit
    run = (last - start)[fit]
    angle = np.arctan2(run[:, 1], run[:, 0])
    return Landings(free[place[fit]], end[fit], angle, length_m[fit], len(joint))


def _on_ground(
    corridor: Corridor, start: FloatArray, end: FloatArray, length_m: FloatArray, rules: RuleBook
) -> NDArray[np.bool_]:
    """Return which legs stay on free ground, and near their ends inside the wire."""
    share = (1.0 - end_reach_m(rules) / length_m)[:, None]
    mouth = start + (end - start) * share
    outer = shapely.linestrings(np.stack([start, mouth], axis=1))
    inner = shapely.linestrings(np.stack([mouth, end], axis=1))
    free, room = grow(corridor.free, _ON_IT_M), grow(corridor.room, _ON_IT_M)
    shapely.prepare([free, room])
    return np.asarray(shapely.covers(free, outer) & shapely.covers(room, inner))
