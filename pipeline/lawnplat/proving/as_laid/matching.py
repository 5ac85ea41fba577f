"""Match a measured line to planned wires, in order: the likeliest way in a hidden Markov model.

States are places along the wires, each walked in laying order or against it. A point is the less
likely the farther it lies off a state; a step from state to state the less likely the more its
chainage differs from the way between the two points (Newson and Krumm, Hidden Markov map matching
through noise and sparseness, 2009), and chainage never runs back. So the two conductors of a pair,
which lie closer together than any rover can tell, are told apart by their order. A leap to anywhere
has one fixed price: a line may begin anywhere, pass the station, leave out a part, or go on with
another wire.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.spatial
from numpy.typing import NDArray

from lawnplat.geometry import FloatArray
from lawnplat.proving.chained import ChainedWire

IntArray = NDArray[np.intp]

_STATE_STEP_M = 0.1
"""Places along a wire; what is found is refined afterwards without steps."""
_LAYING_SPREAD_M = 0.15
"""How far a wire commonly lies off its plan: it only weighs one wire against another."""
_STEP_SPREAD_M = 0.2
"""By how much the way between two points differs from the chainage between them, at corners."""
_FAR = 3.0
"""Beyond so many spreads being farther off costs in proportion, no longer by the square."""
_LEAP = 30.0
"""Price of a leap, in units of log likelihood: dearer than any two points that are ill measured."""
_NOWHERE = np.inf
_WAYS = (1.0, -1.0)


@dataclass(frozen=True)
class Way:
    """Where points of one line were matched, each to one wire.

    ``index``: which points, ascending, shape (n,); ``wire`` and ``chainage_m`` alike; ``onward``:
    1 where the line runs with the wire, -1 where against it; ``leap``: whether a new run begins.
    """

    index: IntArray
    wire: IntArray
    chainage_m: FloatArray
    onward: FloatArray
    leap: NDArray[np.bool_]


@dataclass(frozen=True)
class States:
    """Places along all wires: coordinates, wire and chainage of each, and what finds the near.

    ``length_m`` and ``round_m``: for each wire its length, and how far it is once round, past the
    station; infinite for a return line.
    """

    xy: FloatArray
    wire: IntArray
    chainage_m: FloatArray
    tree: scipy.spatial.cKDTree
    length_m: FloatArray
    round_m: FloatArray


def states_of(wires: Sequence[ChainedWire]) -> States:
    """Return the states of wires, a few centimetres apart."""
    chainages = [
        np.linspace(0.0, wire.length_m, max(2, int(np.ceil(wire.length_m / _STATE_STEP_M)) + 1))
        for wire in wires
    ]
    xy = np.concatenate([w.places(at) for w, at in zip(wires, chainages, strict=True)])
    which = np.repeat(np.arange(len(wires)), [len(at) for at in chainages])
    length_m = np.array([wire.length_m for wire in wires])
    gap_m = [np.hypot(*(w.xy[0] - w.xy[-1])) if w.is_perimeter else _NOWHERE for w in wires]
    tree = scipy.spatial.cKDTree(xy)
    return States(xy, which, np.concatenate(chainages), tree, length_m, length_m + gap_m)


def match_line(
    xy: FloatArray,
    sigma_m: FloatArray,
    states: States,
    reach_m: float,
    only: int | None,
) -> Way:
    """Return the likeliest way of one measured line along the wires.

    Parameters
    ----------
    xy : array of shape (n, 2)
        Its points, far enough apart to tell which way it runs.
    sigma_m : array of shape (n,)
        Their standard deviations.
    states : States
    reach_m : float
        A point farther off every wire is left out.
    only : int or None
        The one wire that the line is said to be, if any.
    """
    reach = np.maximum(reach_m, _FAR * sigma_m)
    near = [
        _of_wire(np.array(found, dtype=np.intp), states, only)
        for found in states.tree.query_ball_point(xy, reach, return_sorted=True)
    ]
    index = np.flatnonzero([len(found) > 0 for found in near])
    if not len(index):
        none = np.empty(0, dtype=np.intp)
        return Way(none, none, np.empty(0), np.empty(0), np.empty(0, dtype=bool))
    costs: list[FloatArray] = []
    came: list[IntArray] = []
    for step, point in enumerate(index):
        here = _point_costs(xy[point], sigma_m[point], near[point], states)
        if step == 0:
            costs.append(np.stack([here, here]))
            came.append(np.full(costs[0].shape, -1, dtype=np.intp))
            continue
        last = index[step - 1]
        way_m, apart_sigma_m = (
            float(np.hypot(*(xy[point] - xy[last]))),
            float(np.hypot(sigma_m[last], sigma_m[point])),
        )
        along = _step_costs(near[last], near[point], states, way_m, apart_sigma_m)
        best, back = _best_step(costs[-1], along)
        costs.append(best + here)
        came.append(back)
    return _traced(index, near, states, costs, came)


def _of_wire(found: IntArray, states: States, only: int | None) -> IntArray:
    return found if only is None else found[states.wire[found] == only]


def _point_costs(point: FloatArray, sigma_m: float, near: IntArray, states: States) -> FloatArray:
    """Return Huber's cost of each near state."""
    spread = float(np.hypot(sigma_m, _LAYING_SPREAD_M))
    off: FloatArray = np.hypot(*(states.xy[near] - point).T) / spread
    return np.asarray(np.where(off <= _FAR, off**2 / 2, _FAR * off - _FAR**2 / 2))


def _step_costs(
    before: IntArray, after: IntArray, states: States, way_m: float, sigma_m: float
) -> FloatArray:  # fmt: skip
    """Return the cost of each step, shape (2, before, after): with the wire, against it."""
    wire = states.wire[after]
    run = states.chainage_m[after][None, :] - states.chainage_m[before][:, None]
    same = states.wire[before][:, None] == wire[None, :]
    # Past the station: from the right terminal on to the left one.
    half, once_round = states.length_m[wire][None, :] / 2, states.round_m[wire][None, :]
    back_m = _FAR * sigma_m + _STATE_STEP_M
    costs = np.empty((2, *run.shape))
    for row, way in enumerate(_WAYS):
        onward = way * run
        onward = np.where(onward < -half, onward + once_round, onward)
        cost = np.abs(onward - way_m) / _STEP_SPREAD_M
        costs[row] = np.where(same & (onward >= -back_m), cost, _NOWHERE)
    return costs


def _best_step(before: FloatArray, along: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return for each state the cheapest way to it, and the state before (its row and column)."""
    width = before.shape[1]
    leap_from = int(np.argmin(before))
    leap = float(before.ravel()[leap_from]) + _LEAP
    total = before[:, :, None] + along
    column = np.argmin(total, axis=1)
    best = np.take_along_axis(total, column[:, None, :], axis=1)[:, 0, :]
    back = column + np.arange(2)[:, None] * width
    # Negative: a leap. The state before it is told all the same.
    leaps = best > leap
    return np.where(leaps, leap, best), np.where(leaps, -2 - leap_from, back)


def _traced(
    index: IntArray,
    near: Sequence[IntArray],
    states: States,
    costs: Sequence[FloatArray],
    came: Sequence[IntArray],
) -> Way:
    place = int(np.argmin(costs[-1]))
    found, onward, leap = [], [], []
    for step in range(len(index) - 1, -1, -1):
        row, column = divmod(place, costs[step].shape[1])
        found.append(near[index[step]][column])
        onward.append(_WAYS[row])
        back = int(came[step][row, column])
        leap.append(back < 0)
        place = back if back >= 0 else -2 - back
    state = np.array(found[::-1], dtype=np.intp)
    return Way(
        index=index,
        wire=states.wire[state],
        chainage_m=states.chainage_m[state],
        onward=np.array(onward[::-1]),
        leap=np.array(leap[::-1]),
    )
