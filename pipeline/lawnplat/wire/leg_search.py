"""Ways over a grid in whole legs, none shorter than the rules ask, each turned by one whole bend.

A state is a cell and the leg by which it was come to. Where bends have to follow close on each
other, as on a bank, such ways are the shortest that there are; round smooth rims they are a little
longer than ways in short steps, and they miss passages that are shorter than a leg.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lawnplat.geometry import FloatArray
from lawnplat.wire.direction_states import Begin, Edges, cheapest_direction, cheapest_states
from lawnplat.wire.landing import LONGEST_LEGS, Landings, Steepest
from lawnplat.wire.route_grid import Moves, RouteGrid, moves_by
from lawnplat.wire.search import Ways, Weights, admitted
from lawnplat.wire.turning import Turning, along_run_m, angles_of, between_deg, directed

_HAIR, _HAIR_DEG = 1e-9, 1e-6


def ways_in_legs(
    grid: RouteGrid,
    steepest: Steepest,
    starts: NDArray[np.int64],
    ahead: FloatArray,
    *,
    limit: float,
    weights: Weights,
    turning: Turning,
    last_legs: Landings,
) -> Ways:
    """Return the cheapest ways in whole legs that keep under ``limit``.

    Besides its cells the result knows the ends: ``i`` is its node ``cells + i``, and the way to it
    is the one from which the cheapest last leg leads there.

    Parameters
    ----------
    grid : RouteGrid
    steepest : callable
    starts : array of shape (n,)
        Flat indices of the cells in which a way may begin, the first the nearest to the station.
    ahead : array of shape (2,)
        Unit vector in which the line comes to them, one after the other.
    limit : float
        Gradient limit, m/m.
    weights : Weights
    turning : Turning
    last_legs : Landings
    """
    legs = _legs(grid.cell_m, turning.leg_m)
    order = np.argsort(starts)
    along_m = along_run_m(grid, starts, ahead)[order]
    begin = Begin(len(legs) * grid.free.size + starts[order], along_m)
    angles = angles_of(legs)
    come = float(np.arctan2(ahead[1], ahead[0]))
    steps = _steps_of(grid, steepest, legs, limit, weights)
    reach, before = cheapest_states(steps, _bends(angles, come, turning), begin, grid.free.size)
    by_leg = reach[:-1]
    cost, state = cheapest_direction(by_leg)
    end_cost, end_state = _landed(by_leg, angles, last_legs, turning)
    costs, last = np.concatenate([cost, end_cost]), np.concatenate([state, end_state])
    return Ways(grid, int(starts[0]), costs, limit, before, last)


def _landed(
    by_leg: FloatArray, angles: FloatArray, last_legs: Landings, turning: Turning
) -> tuple[FloatArray, NDArray[np.int64]]:
    """Return the least cost to each end, infinite where none, and the state before its last leg."""
    turns_deg = between_deg(angles[:, None], last_legs.angle)
    cost = by_leg[:, last_legs.cell] + turning.price(turns_deg) + last_legs.length_m
    cost[turns_deg > turning.largest_deg + _HAIR_DEG] = np.inf
    leg = np.argmin(cost, axis=0)
    least = cost[leg, np.arange(len(leg))]
    order = np.lexsort((least, last_legs.end))
    ends, first = np.unique(last_legs.end[order], return_index=True)
    best = order[first]
    end_cost = np.full(last_legs.ends, np.inf)
    end_state = np.zeros(last_legs.ends, np.int64)
    end_cost[ends] = least[best]
    end_state[ends] = leg[best] * by_leg.shape[1] + last_legs.cell[best]
    return end_cost, end_state


def _legs(cell_m: float, leg_m: float) -> NDArray[np.int64]:
    """Return the shortest leg in each direction, as cells upward and right. Shape (n, 2)."""
    reach = int(np.ceil(LONGEST_LEGS * leg_m / cell_m))
    away = np.arange(-reach, reach + 1)
    every = np.stack(np.meshgrid(away, away, indexing="ij"), axis=-1).reshape(-1, 2)
    length_m = cell_m * np.hypot(*every.T)
    fit = (length_m >= leg_m - _HAIR) & (length_m <= LONGEST_LEGS * leg_m)
    every = every[fit][np.argsort(length_m[fit], kind="stable")]
    _, shortest = np.unique(np.round(angles_of(every), 9), return_index=True)
    return np.asarray(every[shortest])


def _steps_of(
    grid: RouteGrid,
    steepest: Steepest,
    legs: NDArray[np.int64],
    limit: float,
    weights: Weights,
) -> list[Edges]:
    """Return, a leg, the cells from which it leads in its direction, where to, and its cost."""
    known: dict[tuple[int, int], tuple[Moves, FloatArray]] = {}
    found: list[Edges] = []
    for leg in legs:
        step, forward = directed(leg)
        if step not in known:
            each = moves_by(grid, step)
            along = steepest(grid.coordinates(each.start), grid.coordinates(each.end))
            known[step] = admitted(grid, replace(each, steepest=along), limit, weights)
        within, cost = known[step]
        ends = (within.start, within.end) if forward else (within.end, within.start)
        found.append((*ends, cost))
    return found


def _bends(angles: FloatArray, come: float, turning: Turning) -> FloatArray:
    """Return what it costs to go on by each leg, infinite where it may not be.

    Shape (legs + 1, legs): after each leg, and at last from where a way begins, to which the
    straight run comes at the angle ``come``.
    """
    before = np.append(angles, come)
    turns_deg = between_deg(before[:, None], angles)
    admits = turns_deg <= turning.largest_deg + _HAIR_DEG
    return np.where(admits, turning.price(turns_deg), np.inf)
