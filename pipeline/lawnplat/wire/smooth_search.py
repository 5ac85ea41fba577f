"""Ways over a grid that turn no more sharply than a machine follows, on any ground.

A state is a cell and the direction in which it was come to; a step onward may turn only as far as
the rules' largest bend, spread over their smallest leg, lets it. A search without directions is
several times as quick and serves nearly every garden; this one is for where the way that it finds
cannot be drawn without a sharp bend. A turn on a bank would have to go straight up it, so ways over
a bank keep to one side, or turn where the ground is gentle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csgraph, csr_array

from lawnplat.geometry import FloatArray
from lawnplat.wire.route_grid import Cells, Moves, RouteGrid, moves_by, steps
from lawnplat.wire.search import Ways, Weights, admitted

_REACH = 3
_STEP_SHARE = 0.5
"""Steps are at least this share of the smallest leg long, so that a turn has a place on them."""
_MOST_TURN_SHARE = 0.75
"""A longer step may turn by this share of the largest bend at most."""
_HAIR, _HAIR_DEG = 1e-9, 1e-6
_AS_NEAR_DEG = 1.0
"""Of two directions as near to a straight run's as that, a way may begin in either."""


@dataclass(frozen=True)
class Turning:
    """How a way may turn: as far as ``largest_deg`` in each ``leg_m``, at a price.

    ``per_bend`` is what the largest bend is worth, in metres of line. Without ``whole_legs`` turns
    are spread over steps shorter than a leg; with them each step is a leg at least, and may turn by
    the whole of the largest bend. That finds ways where room is short, from a straight run above
    all, and goes round smooth rims less well.
    """

    largest_deg: float
    leg_m: float
    per_bend: float
    whole_legs: bool = False

    @property
    def least_step_m(self) -> float:
        """Return the length of the shortest step."""
        return self.leg_m if self.whole_legs else _STEP_SHARE * self.leg_m

    @property
    def most_share(self) -> float:
        """Return the share of the largest bend that one step may turn by at most."""
        return 1.0 if self.whole_legs else _MOST_TURN_SHARE


@dataclass(frozen=True)
class _Heading:
    """One of the directions of travel: its step in cells and its angle, radians from east."""

    up: int
    right: int

    @property
    def angle(self) -> float:
        return float(np.arctan2(self.up, self.right))


@dataclass(frozen=True)
class Onward:
    """The direction in which a way goes on from each of some cells; shapes (n,) and (n, 2)."""

    nodes: NDArray[np.int64]
    ahead: FloatArray

    def barred(self, headings: Sequence[_Heading], largest_deg: float) -> FloatArray:
        """Return infinity where a way that comes in a heading would turn too far, else 0."""
        angles = np.arctan2(self.ahead[:, 1], self.ahead[:, 0])
        turns = [[_between_deg(each.angle, angle) for angle in angles] for each in headings]
        return np.where(np.array(turns) > largest_deg, np.inf, 0.0)


def smooth_ways(
    grid: RouteGrid,
    gradient: tuple[FloatArray, FloatArray],
    start: int,
    ahead: FloatArray,
    *,
    limit: float,
    weights: Weights,
    turning: Turning,
    onward: Onward,
) -> Ways:
    """Return the cheapest ways from ``start`` that turn gently and keep under ``limit``.

    Parameters
    ----------
    grid : RouteGrid
    gradient : pair of arrays of shape (rows, columns)
        Rise a metre eastward and northward at the cell centres.
    start : int
        Flat index of a cell.
    ahead : array of shape (2,)
        Unit vector in which the line comes to the start.
    limit : float
        Gradient limit, m/m.
    weights : Weights
    turning : Turning
    onward : Onward
        Where ways to some cells go on to; they come to these cells so that they can.
    """
    headings = _headings(grid.cell_m, turning)
    cells = grid.free.size
    network = _network(grid, gradient, headings, limit, weights, turning)
    come = float(np.arctan2(ahead[1], ahead[0]))
    off_deg = [_between_deg(come, heading.angle) for heading in headings]
    # A step that may turn by the whole bend begins along the run: twice as far it could else turn.
    nearest_deg = min(off_deg) + _AS_NEAR_DEG
    most_deg = nearest_deg if turning.whole_legs else turning.largest_deg * turning.most_share
    begin = [number * cells + start for number, off in enumerate(off_deg) if off <= most_deg]
    reach, before = csgraph.dijkstra(
        network, directed=True, indices=np.array(begin), min_only=True, return_predecessors=True
    )[:2]
    by_heading = reach.reshape(len(headings), cells)
    by_heading[:, onward.nodes] += onward.barred(headings, turning.largest_deg)
    least = np.argmin(by_heading, axis=0)
    every = np.arange(cells)
    return Ways(grid, start, by_heading[least, every], limit, before, every + least * cells)


def _headings(cell_m: float, turning: Turning) -> list[_Heading]:
    """Return all directions, each with a step long enough to turn on."""
    found = []
    for up, right in steps(_REACH):
        many = int(np.ceil(turning.least_step_m / (cell_m * np.hypot(up, right)) - _HAIR))
        many = max(many, 1)
        found += [_Heading(many * up, many * right), _Heading(-many * up, -many * right)]
    return found


def _network(  # noqa: PLR0917 - see smooth_ways
    grid: RouteGrid,
    gradient: tuple[FloatArray, FloatArray],
    headings: list[_Heading],
    limit: float,
    weights: Weights,
    turning: Turning,
) -> csr_array:
    """Return the directed graph over cells and headings."""
    cells = grid.free.size
    ways = [_steps_of(grid, gradient, heading, limit, weights) for heading in headings]
    starts: list[Cells] = []
    ends: list[Cells] = []
    costs: list[FloatArray] = []
    for (number, heading), (old, come) in product(enumerate(headings), enumerate(headings)):
        first, last, cost = ways[number]
        turn_deg = _between_deg(come.angle, heading.angle)
        if turn_deg <= _most_turn_deg(heading, grid.cell_m, turning):
            starts.append(first + old * cells)
            ends.append(last + number * cells)
            costs.append(cost + turning.per_bend * turn_deg / turning.largest_deg)
    table = (np.concatenate(costs), (np.concatenate(starts), np.concatenate(ends)))
    return csr_array(table, shape=(len(headings) * cells,) * 2)


def _steps_of(
    grid: RouteGrid,
    gradient: tuple[FloatArray, FloatArray],
    heading: _Heading,
    limit: float,
    weights: Weights,
) -> tuple[Cells, Cells, FloatArray]:
    """Return the cells from which a step leads in one direction, where to, and its cost."""
    forward = heading.up > 0 or (heading.up == 0 and heading.right > 0)
    sign = 1 if forward else -1
    found = moves_by(grid, (sign * heading.up, sign * heading.right), gradient)
    within, cost = admitted(grid, found, limit, weights)
    return _directed(within, forward=forward, cost=cost)


def _directed(found: Moves, *, forward: bool, cost: FloatArray) -> tuple[Cells, Cells, FloatArray]:
    ends = (found.start, found.end) if forward else (found.end, found.start)
    return (*ends, cost)


def _most_turn_deg(heading: _Heading, cell_m: float, turning: Turning) -> float:
    length_m = cell_m * float(np.hypot(heading.up, heading.right))
    share = min(length_m / turning.leg_m, turning.most_share)
    return turning.largest_deg * share + _HAIR_DEG


def _between_deg(one: float, other: float) -> float:
    """Return the angle between two directions, degrees."""
    turn = (other - one + np.pi) % (2 * np.pi) - np.pi
    return float(abs(np.degrees(turn)))
