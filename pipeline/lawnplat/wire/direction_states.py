"""The cheapest ways over a grid whose steps may follow each other only as they turn.

A state is a cell and the direction in which it was come to; it is numbered ``direction * cells +
cell``. Most of these no step leads to: only those that one does are put into the graph, whose rows
are written down as the search reads them, for to sort them would take longer than to search.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csgraph, csr_array

from lawnplat.geometry import FloatArray
from lawnplat.wire.route_grid import Cells
from lawnplat.wire.search import NOTHING_BEFORE

Edges = tuple[Cells, Cells, FloatArray]
"""Where each edge of a graph starts, where it ends, and what it costs."""


@dataclass(frozen=True)
class Begin:
    """States in which a way may begin, in ascending order, and what has been gone before each."""

    state: NDArray[np.int64]
    gone_m: FloatArray


def cheapest_states(
    steps: Sequence[Edges], bends: FloatArray, begin: Begin, cells: int
) -> tuple[FloatArray, NDArray[np.int32]]:
    """Return the least cost to each state, and the state before it.

    Parameters
    ----------
    steps : sequence of (start, end, cost)
        One a direction: the cells from which a step leads in it, where to, and what it costs.
    bends : array of shape (directions come in, directions)
        What it costs to go on in a direction, infinite where that may not be. There may be more
        directions to come in than steps, for states that ways only begin in.
    begin : Begin
    cells : int

    Returns
    -------
    reach : array of shape (directions come in, cells)
    before : array of shape (directions come in * cells,)
        `NOTHING_BEFORE` where a way begins, or none leads.
    """
    there = np.zeros(len(bends) * cells, bool)
    for direction, (_, last, _) in enumerate(steps):
        there[direction * cells + last] = True
    there[begin.state] = True
    states = np.flatnonzero(there)
    network = _network(steps, bends, begin, states, cells)
    found, came = csgraph.dijkstra(
        network, directed=True, indices=np.array([len(states)]), return_predecessors=True
    )
    reach = np.full(there.shape, np.inf)
    reach[states] = found[0, :-1]
    before = np.full(there.shape, NOTHING_BEFORE, np.int32)
    inner = np.flatnonzero((came[0, :-1] >= 0) & (came[0, :-1] < len(states)))
    before[states[inner]] = states[came[0, inner]]
    return reach.reshape(len(bends), cells), before


def _network(
    steps: Sequence[Edges],
    bends: FloatArray,
    begin: Begin,
    states: NDArray[np.int64],
    cells: int,
) -> csr_array:
    """Return the directed graph of the ``states``, and of one more from which all ways begin."""
    number = np.full(len(bends) * cells, -1, np.int32)
    number[states] = np.arange(len(states), dtype=np.int32)
    width = len(steps)
    goes, costs = np.full((cells, width), -1, np.int32), np.zeros((cells, width))
    for direction, (first, last, cost) in enumerate(steps):
        goes[first, direction] = number[direction * cells :].take(last)
        costs[first, direction] = cost
    bounds = np.searchsorted(states, np.arange(len(bends) + 1) * cells)
    most = int((np.diff(bounds) * np.isfinite(bends).sum(axis=1)).sum()) + len(begin.state)
    # Room for all that there could be: what is not written to takes no memory.
    ends, prices = np.empty(most, np.int32), np.empty(most)
    counts, done = [], 0
    for come, bend in enumerate(bends):
        onward = np.flatnonzero(np.isfinite(bend))
        here = states[bounds[come] : bounds[come + 1]] - come * cells
        at = (here * width)[:, None] + onward
        end, price = goes.take(at), costs.take(at)
        price += bend[onward]
        open_way = end >= 0
        kept = np.flatnonzero(open_way)
        row = slice(done, done + len(kept))
        ends[row], prices[row] = end.take(kept), price.take(kept)
        counts.append(np.count_nonzero(open_way, axis=1))
        done = row.stop
    row = slice(done, done + len(begin.state))
    ends[row], prices[row] = number[begin.state], begin.gone_m
    counts.append(np.array([len(begin.state)]))
    rows = np.concatenate([[0], np.cumsum(np.concatenate(counts))]).astype(np.int32)
    return csr_array((prices[: row.stop], ends[: row.stop], rows), shape=(len(states) + 1,) * 2)


def cheapest_direction(reach: FloatArray) -> tuple[FloatArray, NDArray[np.int64]]:
    """Return the least cost to each cell and its state, of costs of shape (directions, cells)."""
    cells = reach.shape[1]
    least = np.argmin(reach, axis=0)
    every = np.arange(cells)
    return reach[least, every], every + least * cells
