"""Where rain runs to on the ground, and how much ground drains over a place.

Water leaves each cell down the steepest of the eight triangles to its neighbours, shared between
the two nearest directions so that its mean way is straight down the fall: D-infinity (Tarboton,
Water Resources Research 33(2):309-319, 1997, from memory) with shares by tangent instead of angle.
Hollows run over: from a cell with no lower neighbour the water goes on along the way whose highest
point is least, which lies in the least spanning tree of the grid, until it comes to lower ground.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from scipy.sparse import csgraph, csr_array
from scipy.sparse.linalg import spsolve_triangular
from shapely.geometry.base import BaseGeometry

from lawnplat.survey.types import FloatArray
from lawnplat.terrain.gradient import slope_pct
from lawnplat.terrain.sample import bilinear
from lawnplat.terrain.types import Grid, Terrain

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

STEPS = ((0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0), (1, 1))
"""Row and column steps to the eight neighbours, counter-clockwise from east."""
_SAMPLES_A_CELL = 4
"""How often the edge of a place is looked at."""
_LEVEL_FALL = 1e-6
"""On ground without any fall water goes on away from the slope it came down: this fall, m/m."""
_LEAST_WEIGHT = 1.0
"""Keeps weights of the spanning tree over zero, which would mean no edge."""


@dataclass(frozen=True)
class Drainage:
    """How much ground drains by, a metre of width across the way that its water runs.

    ``east_m`` and ``north_m`` have shape (rows, columns) of ``grid``: square metres a metre, as a
    vector the way that the water runs. All 0 where nothing runs off.
    """

    grid: Grid
    east_m: FloatArray
    north_m: FloatArray


def drainage(terrain: Terrain, drains: BaseGeometry, runoff_slope_pct: float) -> Drainage:
    """Return where the rain of all ground steeper than ``runoff_slope_pct`` runs to.

    Parameters
    ----------
    terrain : Terrain
        What lies beyond its grid is not known and sends no water; at its border water leaves.
    drains : Polygon or MultiPolygon
        Ground that takes up what runs onto it, such as ponds.
    runoff_slope_pct : float
        Rain on gentler ground soaks in; water from above still runs over it.
    """
    grid = terrain.grid
    sheds = slope_pct(terrain.dz_dx, terrain.dz_dy) >= runoff_slope_pct
    if not sheds.any():
        nothing = np.zeros((grid.rows, grid.columns))
        return Drainage(grid, nothing, nothing)
    swallows = np.asarray(shapely.contains_xy(drains, *np.meshgrid(*grid.centres())))
    source_m2 = np.where(sheds & ~swallows, grid.cell_m**2, 0.0)
    from_slope_m = distance_transform_edt(~sheds) * grid.cell_m
    heights_m = terrain.elevation_m - _LEVEL_FALL * from_slope_m
    flow = flow_of(heights_m, swallows, source_m2)
    down, right = (np.array(column, float) for column in zip(*STEPS, strict=True))
    return Drainage(
        grid,
        east_m=np.tensordot(right, flow, axes=1) / grid.cell_m,
        north_m=np.tensordot(-down, flow, axes=1) / grid.cell_m,
    )


def flow_of(
    heights_m: FloatArray, swallows: BoolArray, source: FloatArray
) -> FloatArray:
    """Return what leaves each cell in each of the eight directions, shape (8, rows, columns).

    Parameters
    ----------
    heights_m, swallows, source : arrays of shape (rows, columns)
        Heights without NaN on square cells; cells that water leaves the ground at, besides the
        border; what rises in each cell, in any unit.
    """
    shares = _shares(heights_m)
    shares[:, swallows] = 0.0
    stuck = ~swallows & (shares.sum(axis=0) == 0)
    if not stuck[1:-1, 1:-1].any():
        # No hollows: at the border water leaves the ground.
        nowhere = np.zeros(heights_m.shape, np.int64)
        return np.asarray(shares * _accumulated(shares, source, heights_m, nowhere))
    before, steps = _ways_out(heights_m, swallows)
    cut_m, cut = _cut_through(heights_m, stuck, before)
    towards = _directions(before, heights_m.shape)
    for direction in range(len(STEPS)):
        shares[direction][cut] = towards[cut] == direction
    total = _accumulated(shares, source, cut_m, steps)
    return np.asarray(shares * total)


def _windows(step: tuple[int, int], shape: tuple[int, int]) -> tuple[tuple[slice, slice], ...]:
    """Return the windows of the cells that have a neighbour at ``step``, and of the neighbours."""
    (down, right), (rows, columns) = step, shape
    here = (
        slice(max(0, -down), rows - max(0, down)),
        slice(max(0, -right), columns - max(0, right)),
    )
    there = (
        slice(max(0, down), rows - max(0, -down)),
        slice(max(0, right), columns - max(0, -right)),
    )
    return here, there


def _ways_out(heights_m: FloatArray, swallows: BoolArray) -> tuple[IntArray, IntArray]:
    """Return for each cell the next on its way out, by flat index, and the steps left to go.

    The way out is the one in the least spanning tree: no other way's highest point is lower. It
    ends beyond the last cell, at index ``heights_m.size``. Shapes (cells,) and (rows, columns).
    """
    size = heights_m.size
    number = np.arange(size, dtype=np.int32).reshape(heights_m.shape)
    lifted = heights_m - heights_m.min() + _LEAST_WEIGHT
    start, end, weight = [], [], []
    for step in STEPS[:4]:
        here, there = _windows(step, heights_m.shape)
        start.append(number[here].ravel())
        end.append(number[there].ravel())
        weight.append(np.maximum(lifted[here], lifted[there]).ravel())
    way_out = swallows.copy()
    way_out[[0, -1]], way_out[:, [0, -1]] = True, True
    leaving = number[way_out]
    start.append(leaving)
    end.append(np.full(len(leaving), size, np.int32))
    weight.append(lifted.ravel()[leaving])
    edges = (np.concatenate(weight), (np.concatenate(start), np.concatenate(end)))
    tree = csgraph.minimum_spanning_tree(csr_array(edges, shape=(size + 1, size + 1)))
    _, before = csgraph.breadth_first_order(tree, size, directed=False)
    found = np.append(before[:-1], size).astype(np.int64)
    return found[:-1], _steps_left(found).reshape(heights_m.shape)


def _steps_left(before: IntArray) -> IntArray:
    """Return the number of steps from each node to the last, which is its own next (doubling)."""
    root = len(before) - 1
    steps = (np.arange(len(before)) != root).astype(np.int64)
    ahead = before
    while (ahead != root).any():
        steps = steps + steps[ahead]
        ahead = ahead[ahead]
    return np.asarray(steps[:-1])


def _cut_through(
    heights_m: FloatArray, stuck: BoolArray, before: IntArray
) -> tuple[FloatArray, BoolArray]:
    """Return the heights with the way out of each hollow cut through its brim, and the cells cut.

    From every stuck cell the way is cut down to its height until the ground is lower; of two cuts
    that meet the deeper one goes on.
    """
    heights = np.append(heights_m.ravel(), -np.inf)
    cut_m, cut = heights.copy(), np.append(stuck.ravel(), False)
    at = np.flatnonzero(cut)
    height = heights[at]
    while len(at):
        at = before[at]
        on = heights[at] >= height
        at, height = at[on], height[on]
        # Of several that come to one cell in one step the lowest goes on.
        order = np.lexsort((height, at))
        at, height = at[order], height[order]
        lowest = np.append(True, at[1:] != at[:-1]) if len(at) else np.zeros(0, bool)
        on = lowest & (~cut[at] | (height < cut_m[at]))
        at, height = at[on], height[on]
        cut_m[at], cut[at] = height, True
    return cut_m[:-1].reshape(heights_m.shape), cut[:-1].reshape(heights_m.shape)


def _directions(before: IntArray, shape: tuple[int, int]) -> IntArray:
    """Return the direction from each cell to the one before it in the tree; -1 for the root."""
    rows, columns = shape
    cell = np.arange(rows * columns)
    down = before // columns - cell // columns
    right = before % columns - cell % columns
    found = np.full(rows * columns, -1)
    for direction, step in enumerate(STEPS):
        found[(down == step[0]) & (right == step[1]) & (before < rows * columns)] = direction
    return found.reshape(shape)


def _shares(heights_m: FloatArray) -> FloatArray:
    """Return the share of each cell's water that goes each way, shape (8, rows, columns).

    Down the steepest of the eight triangles and the eight straight ways; none where no neighbour
    is lower.
    """
    low = _neighbours(heights_m)
    steepest = np.zeros(heights_m.shape)
    # The direction that most goes, the one that the rest goes, and the share of the rest.
    first = np.full(heights_m.shape, -1, np.int8)
    second = first.copy()
    aside_share = np.zeros(heights_m.shape)
    for direction, step in enumerate(STEPS):
        fall = _fall(heights_m, low[direction], np.isfinite(low[direction])) / np.hypot(*step)
        better = fall > steepest
        np.copyto(steepest, fall, where=better)
        first[better] = direction
    for straight in range(0, 8, 2):
        ahead = _fall(heights_m, low[straight], np.isfinite(low[straight]))
        for across in ((straight + 1) % 8, (straight - 1) % 8):
            whole = np.isfinite(low[straight]) & np.isfinite(low[across])
            aside = _fall(low[straight], low[across], whole)
            fall = np.hypot(ahead, aside)
            better = (aside > 0) & (aside < ahead) & (fall > steepest)
            np.copyto(steepest, fall, where=better)
            first[better], second[better] = straight, across
            aside_share[better] = aside[better] / ahead[better]
    shares = np.zeros((8, *heights_m.shape))
    for direction in range(8):
        np.copyto(shares[direction], 1.0 - aside_share, where=first == direction)
        np.copyto(shares[direction], aside_share, where=second == direction)
    return shares


def _fall(high: FloatArray, low: FloatArray, known: BoolArray) -> FloatArray:
    return np.subtract(high, low, out=np.zeros(high.shape), where=known)


def _neighbours(heights_m: FloatArray) -> FloatArray:
    """Return the height of each neighbour; infinite beyond the border."""
    found = np.full((8, *heights_m.shape), np.inf)
    for direction, step in enumerate(STEPS):
        here, there = _windows(step, heights_m.shape)
        found[direction][here] = heights_m[there]
    return found


def _accumulated(
    shares: FloatArray, source: FloatArray, cut_m: FloatArray, steps: IntArray
) -> FloatArray:
    """Return what passes each cell: what rises there and all that comes from its neighbours.

    Water goes to lower cells, or in a cut of one height nearer to the way out: taken in that order
    the balance of all cells is one triangular system.
    """
    size = source.size
    place = np.empty(size, np.int32)
    place[np.lexsort((-steps.ravel(), -cut_m.ravel()))] = np.arange(size, dtype=np.int32)
    places = place.reshape(source.shape)
    giver, taker, share = [], [], []
    for direction, step in enumerate(STEPS):
        here, there = _windows(step, source.shape)
        some = shares[direction][here] > 0
        giver.append(places[here][some])
        taker.append(places[there][some])
        share.append(-shares[direction][here][some])
    every = np.arange(size, dtype=np.int32)
    rows, columns = np.concatenate([*taker, every]), np.concatenate([*giver, every])
    entries = (np.concatenate([*share, np.ones(size)]), (rows, columns))
    balance = csr_array(entries, shape=(size, size))
    rises = np.empty(size)
    rises[place] = source.ravel()
    passes = spsolve_triangular(balance, rises, lower=True, unit_diagonal=True)
    return np.asarray(passes)[place].reshape(source.shape)


def upslope_m2(drained: Drainage, areas: NDArray[np.object_]) -> FloatArray:
    """Return how much ground drains over each polygon, square metres, its own ground left out.

    What runs in over its edge is added up along that edge; what runs out is not taken off.
    """
    if not (drained.east_m.any() or drained.north_m.any()):
        return np.zeros(len(areas))
    rings = shapely.get_exterior_ring(shapely.orient_polygons(areas))
    fine = shapely.segmentize(rings, drained.grid.cell_m / _SAMPLES_A_CELL)
    points, owner = shapely.get_coordinates(fine, return_index=True)
    step = np.diff(points, axis=0)
    middle = points[:-1] + step / 2
    inner = owner[1:] == owner[:-1]
    row, column = drained.grid.fractional(middle[:, 0], middle[:, 1])
    east, north = bilinear(drained.east_m, row, column), bilinear(drained.north_m, row, column)
    # Counter-clockwise, the inside lies on the left hand of each step.
    inward = step[:, 0] * north - step[:, 1] * east
    comes_in = np.where(inner, np.maximum(inward, 0.0), 0.0)
    return np.asarray(np.bincount(owner[1:], comes_in, len(areas)), dtype=float)
