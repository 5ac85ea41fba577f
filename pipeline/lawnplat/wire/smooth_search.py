"""Ways over a grid that turn no more sharply than a machine follows, on any ground.

A state is a cell and the direction in which it was come to; a step onward may turn only as far as
the rules' largest bend, spread over their smallest leg, lets it. A search without directions is
several times as quick and serves nearly every garden; this one is for where the way that it finds
cannot be drawn without a sharp bend. A turn on a bank would have to go straight up it, so ways over
a bank keep to one side, or turn where the ground is gentle.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lawnplat.geometry import FloatArray
from lawnplat.wire.direction_states import Begin, Edges, cheapest_direction, cheapest_states
from lawnplat.wire.route_grid import RouteGrid, moves_by, steps
from lawnplat.wire.search import Ways, Weights, admitted
from lawnplat.wire.turning import (
    Onward,
    Turning,
    along_run_m,
    angles_of,
    between_deg,
    directed,
)

_REACH = 3
_STEP_SHARE = 0.5
"""Steps are at least this share of the smallest leg long, so that a turn has a place on them."""
_MOST_TURN_SHARE = 0.75
"""A longer step may turn by this share of the largest bend at most."""
_HAIR, _HAIR_DEG = 1e-9, 1e-6


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
    angles = angles_of(headings)
    cells = grid.free.size
    come_deg = between_deg(float(np.arctan2(ahead[1], ahead[0])), angles)
    come_in = np.flatnonzero(come_deg <= turning.largest_deg * _MOST_TURN_SHARE)
    first, run_m = np.sort(starts), along_run_m(grid, starts, ahead)[np.argsort(starts)]
    begin = (come_in[:, None] * cells + first).ravel()
    found = [_steps_of(grid, gradient, heading, limit, weights) for heading in headings]
    bends = _bends(headings, grid.cell_m, turning)
    reach, before = cheapest_states(found, bends, Begin(begin, np.tile(run_m, len(come_in))), cells)
    reach[:, onward.nodes] += onward.barred(angles, turning.largest_deg)
    cost, state = cheapest_direction(reach)
    return Ways(grid, int(starts[0]), cost, limit, before, state)


def _headings(cell_m: float, turning: Turning) -> NDArray[np.int64]:
    """Return all directions as steps in cells upward and right, each long enough to turn on."""
    found = []
    for up, right in steps(_REACH):
        least_cells = _STEP_SHARE * turning.leg_m / cell_m
        many = max(int(np.ceil(least_cells / np.hypot(up, right) - _HAIR)), 1)
        found += [(many * up, many * right), (-many * up, -many * right)]
    return np.array(found)


def _bends(headings: NDArray[np.int64], cell_m: float, turning: Turning) -> FloatArray:
    """Return what a step in each direction costs after each other, infinite where it may not be."""
    angles = angles_of(headings)
    turns_deg = between_deg(angles[:, None], angles)
    length_m = cell_m * np.hypot(*headings.T)
    most_deg = turning.largest_deg * np.minimum(length_m / turning.leg_m, _MOST_TURN_SHARE)
    admits = turns_deg <= most_deg[:, None] + _HAIR_DEG
    # By the step that goes on, then by the one that it follows; turned about here.
    return np.where(admits, turning.price(turns_deg), np.inf).T


def _steps_of(
    grid: RouteGrid,
    gradient: tuple[FloatArray, FloatArray],
    heading: NDArray[np.int64],
    limit: float,
    weights: Weights,
) -> Edges:
    """Return the cells from which a step leads in one direction, where to, and its cost."""
    step, forward = directed(heading)
    within, cost = admitted(grid, moves_by(grid, step, gradient), limit, weights)
    return (within.start, within.end, cost) if forward else (within.end, within.start, cost)
