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
from lawnplat.wire.search import NOTHING_BEFORE, Ways, Weights, admitted

_REACH = 3
_STEP_SHARE = 0.5
"""Steps are at least this share of the smallest leg long, so that a turn has a place on them."""
_MOST_TURN_SHARE = 0.75
"""A longer step may turn by this share of the largest bend at most."""
_LEGS_AT_FIRST = 4
"""Within so many smallest legs of the start a way may go in whole legs."""
_HAIR, _HAIR_DEG = 1e-9, 1e-6
_AS_NEAR_DEG = 1.0
"""Of two directions as near to a straight run's as that, a way may begin in either."""


@dataclass(frozen=True)
class Turning:
    """How a way may turn: as far as ``largest_deg`` in each ``leg_m``, at a price.

    ``per_bend`` is what the largest bend is worth, in metres of line. Turns are spread over steps
    shorter than a leg. With ``whole_legs`` each of the first steps is a leg at least, and may turn
    by the whole of the largest bend: from a straight run, room is short; farther on, such steps
    would go round smooth rims less well, and miss narrow passages. With ``both_steps`` a turn is no
    more than the step before it bears either, and a way begins straight on: such ways are longer,
    and can nearly always be drawn as they are.
    """

    largest_deg: float
    leg_m: float
    per_bend: float
    whole_legs: bool = False
    both_steps: bool = False

    def least_step_m(self, *, whole: bool) -> float:
        """Return the length of the shortest step, as a whole leg or as a part of one."""
        return self.leg_m if whole else _STEP_SHARE * self.leg_m

    def most_deg(self, length_m: float, *, whole: bool) -> float:
        """Return by how much a way may turn into a step."""
        most = 1.0 if whole else _MOST_TURN_SHARE
        return self.largest_deg * min(length_m / self.leg_m, most)


@dataclass(frozen=True)
class _Heading:
    """One of the directions of travel: its step in cells and its angle, radians from east."""

    up: int
    right: int
    whole: bool
    """The step is a whole leg."""

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
    starts: NDArray[np.int64],
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
    starts : array of shape (n,)
        Flat indices of the cells in which a way may begin.
    ahead : array of shape (2,)
        Unit vector in which the line comes to them, one after the other.
    limit : float
        Gradient limit, m/m.
    weights : Weights
    turning : Turning
    onward : Onward
        Where ways to some cells go on to; they come to these cells so that they can.
    """
    headings = _headings(grid.cell_m, turning)
    cells = grid.free.size
    come_in = _come_in(headings, ahead, turning)
    begin = (come_in[:, None] * cells + starts).ravel()
    further_m = (grid.coordinates(starts) - grid.coordinates(starts[:1])) @ ahead
    run_m = np.tile(np.maximum(further_m, 0.0), len(come_in))
    network = _network(grid, starts, gradient, headings, limit, weights, turning, (begin, run_m))
    home = len(headings) * cells
    reach, came = csgraph.dijkstra(
        network, directed=True, indices=np.array([home]), return_predecessors=True
    )
    before = np.where(came == home, NOTHING_BEFORE, came)[0, :home]
    by_heading = reach[0, :home].reshape(len(headings), cells)
    by_heading[:, onward.nodes] += onward.barred(headings, turning.largest_deg)
    least = np.argmin(by_heading, axis=0)
    every = np.arange(cells)
    cost, last = by_heading[least, every], every + least * cells
    return Ways(grid, int(starts[0]), cost, limit, before, last)


def _headings(cell_m: float, turning: Turning) -> list[_Heading]:
    """Return all directions, each with a step long enough to turn on."""
    found = []
    for whole, (up, right) in product((False, True)[: 1 + turning.whole_legs], steps(_REACH)):
        least_m = turning.least_step_m(whole=whole)
        many = max(int(np.ceil(least_m / (cell_m * np.hypot(up, right)) - _HAIR)), 1)
        found += [
            _Heading(many * up, many * right, whole),
            _Heading(-many * up, -many * right, whole),
        ]
    return found


def _come_in(
    headings: list[_Heading], ahead: FloatArray, turning: Turning
) -> NDArray[np.intp]:
    """Return the directions in which a way may come to where it begins."""
    come = float(np.arctan2(ahead[1], ahead[0]))
    off_deg = np.array([_between_deg(come, heading.angle) for heading in headings])
    whole = np.array([heading.whole for heading in headings])
    # A step that may turn by the whole bend begins along the run: twice as far it could else turn.
    straight_on = turning.whole_legs or turning.both_steps
    nearest_deg = float(off_deg.min()) + _AS_NEAR_DEG
    most_deg = nearest_deg if straight_on else turning.largest_deg * _MOST_TURN_SHARE
    return np.flatnonzero((whole == turning.whole_legs) & (off_deg <= most_deg))


def _network(  # noqa: PLR0917 - see smooth_ways
    grid: RouteGrid,
    begins: NDArray[np.int64],
    gradient: tuple[FloatArray, FloatArray],
    headings: list[_Heading],
    limit: float,
    weights: Weights,
    turning: Turning,
    begin: tuple[NDArray[np.int64], FloatArray],
) -> csr_array:
    """Return the directed graph over cells and headings, and one state more, the last.

    From it the run leads to the states in which a way may ``begin``, as far as each is along it.
    """
    cells = grid.free.size
    near = _near(grid, begins, turning)
    ways = [
        _from(near == heading.whole, _steps_of(grid, gradient, heading, limit, weights))
        for heading in headings
    ]
    starts: list[Cells] = []
    ends: list[Cells] = []
    costs: list[FloatArray] = []
    for (number, heading), (old, come) in product(enumerate(headings), enumerate(headings)):
        first, last, cost = ways[number]
        turn_deg = _between_deg(come.angle, heading.angle)
        mixed = turning.both_steps or come.whole != heading.whole
        steps_asked = (come, heading) if mixed else (heading,)
        if turn_deg <= min(_most_turn_deg(step, grid.cell_m, turning) for step in steps_asked):
            starts.append(first + old * cells)
            ends.append(last + number * cells)
            costs.append(cost + turning.per_bend * turn_deg / turning.largest_deg)
    states = len(headings) * cells
    starts.append(np.full(len(begin[0]), states, dtype=np.int32))
    ends.append(begin[0].astype(np.int32))
    costs.append(begin[1])
    table = (np.concatenate(costs), (np.concatenate(starts), np.concatenate(ends)))
    return csr_array(table, shape=(states + 1,) * 2)


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


def _near(
    grid: RouteGrid, starts: NDArray[np.int64], turning: Turning
) -> NDArray[np.bool_]:
    """Return the cells from which steps are whole legs. Shape (cells,)."""
    rows, columns = np.indices(grid.free.shape)
    row, column = np.unravel_index(starts[-1], grid.free.shape)
    reach = _LEGS_AT_FIRST * turning.leg_m / grid.cell_m if turning.whole_legs else -1.0
    return np.asarray(np.hypot(rows - row, columns - column) <= reach).ravel()


def _from(
    cells: NDArray[np.bool_], found: tuple[Cells, Cells, FloatArray]
) -> tuple[Cells, Cells, FloatArray]:
    """Return the steps that start in some cells."""
    first, last, cost = found
    kept = cells[first]
    return first[kept], last[kept], cost[kept]


def _most_turn_deg(step: _Heading, cell_m: float, turning: Turning) -> float:
    length_m = cell_m * float(np.hypot(step.up, step.right))
    return turning.most_deg(length_m, whole=step.whole) + _HAIR_DEG


def _between_deg(one: float, other: float) -> float:
    """Return the angle between two directions, degrees."""
    turn = (other - one + np.pi) % (2 * np.pi) - np.pi
    return float(abs(np.degrees(turn)))
