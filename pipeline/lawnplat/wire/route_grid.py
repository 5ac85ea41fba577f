"""A grid of places that a machine can stand on, and the moves between them.

A move goes to one of up to 48 neighbours: all whole steps of at most four cells that are not a
multiple of a shorter one. It counts only where every cell that it passes over is free. Its
gradient is the steepest found along it, from the ground's own gradient in the move's direction,
not from the heights of its two ends: long moves would skip bumps.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import ceil, floor, gcd

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_array, csr_array
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, polygons

IntArray = NDArray[np.int64]
Cells = NDArray[np.int32]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class RouteGrid:
    """Square cells over some ground.

    ``free`` has shape (rows, columns), row 0 in the south. ``clearance_m`` is the distance to the
    nearest cell that is not free. ``west_m`` and ``south_m`` are the centre of cell (0, 0).
    """

    west_m: float
    south_m: float
    cell_m: float
    free: BoolArray
    clearance_m: FloatArray

    def coordinates(self, nodes: IntArray | Cells) -> FloatArray:
        """Return the centres of cells given by their flat index. Shape (n, 2)."""
        cells, columns = np.asarray(nodes), self.free.shape[1]
        # Not np.divmod, which takes several times as long.
        row = cells // columns
        column = cells - row * columns
        return np.stack(
            [self.west_m + column * self.cell_m, self.south_m + row * self.cell_m], axis=1
        )

    def cells_at(self, x: FloatArray, y: FloatArray) -> tuple[IntArray, IntArray]:
        """Return row and column of the cell nearest to each place, beyond the grid its rim."""
        rows, columns = self.free.shape
        row = np.rint((y - self.south_m) / self.cell_m).astype(np.int64)
        column = np.rint((x - self.west_m) / self.cell_m).astype(np.int64)
        # Not np.clip, which takes longer than all the rest where there are few places.
        return (
            np.minimum(np.maximum(row, 0), rows - 1),
            np.minimum(np.maximum(column, 0), columns - 1),
        )

    def free_at(self, x: FloatArray, y: FloatArray) -> BoolArray:
        """Return whether the cell at each place is free. The grid's rim never is."""
        return np.asarray(self.free[self.cells_at(x, y)])

    def clearance_at(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Return the clearance of the cell at each place, metres."""
        return self.value_at(self.clearance_m, x, y)

    def value_at(self, values: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
        """Return what an array of the grid's shape holds for the cell at each place."""
        row, column = self.cells_at(x, y)
        row *= self.free.shape[1]
        row += column
        return np.asarray(values.ravel().take(row))

    def free_nodes(self) -> IntArray:
        """Return the flat indices of all free cells."""
        return np.flatnonzero(self.free)

    def nearest(self, points: FloatArray, within_m: float) -> IntArray:
        """Return the flat index of the free cell nearest to each point; -1 beyond ``within_m``."""
        row, column = self.cells_at(points[:, 0], points[:, 1])
        found = np.where(self.free[row, column], row * self.free.shape[1] + column, -1)
        # A point in a free cell is nearest to that one's centre; the others have to be looked for.
        missing = np.flatnonzero(found < 0)
        if len(missing):
            found[missing] = self._nearest_around(points[missing], within_m)
        return np.asarray(found)

    def _nearest_around(self, points: FloatArray, within_m: float) -> IntArray:
        """Return what `nearest` does, from all cells around each point."""
        rows, columns = self.free.shape
        far = int(within_m / self.cell_m) + 1
        away = np.arange(-far, far + 1)
        middle_row = np.rint((points[:, 1] - self.south_m) / self.cell_m).astype(np.int64)
        middle_column = np.rint((points[:, 0] - self.west_m) / self.cell_m).astype(np.int64)
        row = np.clip(middle_row[:, None] + away, 0, rows - 1)
        column = np.clip(middle_column[:, None] + away, 0, columns - 1)
        up_m = self.south_m + row * self.cell_m - points[:, 1:]
        right_m = self.west_m + column * self.cell_m - points[:, :1]
        off_m = np.hypot(up_m[:, :, None], right_m[:, None])
        off_m[~self.free[row[:, :, None], column[:, None]]] = np.inf
        least = np.argmin(off_m.reshape(len(points), -1), axis=1)
        each = np.arange(len(points))
        up, right = np.divmod(least, len(away))
        node = row[each, up] * columns + column[each, right]
        return np.where(off_m[each, up, right] < within_m, node, -1)


@dataclass(frozen=True)
class Moves:
    """Moves between free cells, each once: flat indices, plan length, steepest gradient (m/m)."""

    start: Cells
    end: Cells
    length_m: FloatArray
    steepest: FloatArray


def lay_grid(
    ground: BaseGeometry, cell_m: float, anchor: FloatArray | None = None
) -> RouteGrid:
    """Return the grid of cells of ``cell_m`` whose centres lie in ``ground``.

    With an ``anchor``, shape (2,), a cell is centred on it.
    """
    west, south, east, north = shapely.bounds(ground)
    columns = int(np.ceil((east - west) / cell_m)) + 4
    rows = int(np.ceil((north - south) / cell_m)) + 4
    west_m, south_m = float(west) - cell_m, float(south) - cell_m
    if anchor is not None:
        west_m -= (west_m - float(anchor[0])) % cell_m
        south_m -= (south_m - float(anchor[1])) % cell_m
    x = np.asarray(west_m + np.arange(columns) * cell_m, float)
    y = np.asarray(south_m + np.arange(rows) * cell_m, float)
    free = centres_within(ground, x, y)
    clearance_m = np.asarray(ndimage.distance_transform_edt(free)) * cell_m
    return RouteGrid(west_m, south_m, cell_m, free, clearance_m)


def centres_within(ground: BaseGeometry, x: FloatArray, y: FloatArray) -> BoolArray:
    """Return which places of a lattice lie inside ``ground``, its edge left out.

    Row by row, by the even-odd rule: several times as quick as to ask for each place. One exactly
    on a corner that stands out into the ground may count as inside.

    Parameters
    ----------
    ground : Polygon or MultiPolygon
    x, y : arrays of shape (columns,) and (rows,)
        In ascending order.
    """
    ring, owner = shapely.get_coordinates(
        shapely.get_rings(np.array(polygons(ground), dtype=object)), return_index=True
    )
    joined = owner[1:] == owner[:-1]
    start, end = ring[:-1][joined], ring[1:][joined]
    low, high = np.minimum(start[:, 1], end[:, 1]), np.maximum(start[:, 1], end[:, 1])
    inside = np.ones((len(y), len(x)), bool)
    # A place on a side of the edge is inside for one way to count and outside for the other.
    for side in ("left", "right"):
        first, stop = np.searchsorted(y, low, side), np.searchsorted(y, high, side)
        crossed = stop - first
        edge = np.repeat(np.arange(len(start)), crossed)
        row = np.arange(len(edge)) - np.repeat(np.cumsum(crossed) - crossed, crossed) + first[edge]
        run = end[edge] - start[edge]
        at_x = start[edge, 0] + (y[row] - start[edge, 1]) * run[:, 0] / run[:, 1]
        turns = row * (len(x) + 1) + np.searchsorted(x, at_x, side)
        count = np.bincount(turns, minlength=len(y) * (len(x) + 1)).reshape(len(y), -1)
        inside &= np.cumsum(count, axis=1)[:, :-1] % 2 == 1
    return inside


def steps(reach: int) -> list[tuple[int, int]]:
    """Return half of the steps (rows, columns) of at most ``reach`` cells, opposites left out."""
    return [
        (up, right)
        for up in range(reach + 1)
        for right in range(-reach, reach + 1)
        if gcd(up, abs(right)) == 1 and (up > 0 or right > 0)
    ]


@cache
def passed_over(up: int, right: int) -> tuple[tuple[int, int], ...]:
    """Return the cells that the straight step touches, its two ends left out."""
    pieces = 4 * max(up, abs(right))
    cells: set[tuple[int, int]] = set()
    for piece in range(1, pieces):
        row, column = piece / pieces * up, piece / pieces * right
        rows = {floor(row + 0.5), ceil(row - 0.5)}
        columns = {floor(column + 0.5), ceil(column - 0.5)}
        cells.update((r, c) for r in rows for c in columns)
    return tuple(sorted(cells - {(0, 0), (up, right)}))


def moves(
    grid: RouteGrid,
    reach: int,
    gradient: tuple[FloatArray, FloatArray] | None = None,
) -> Moves:
    """Return every move between free cells.

    Parameters
    ----------
    grid : RouteGrid
    reach : int
        1 gives 8 neighbours, 2 gives 16, 3 gives 32, 4 gives 48.
    gradient : pair of arrays of shape (rows, columns), optional
        Rise a metre eastward and northward at the cell centres. Without it the ground is level.
    """
    every = steps(reach)
    # Room for all that there could be: what is not written to takes no memory.
    most = len(every) * int(np.count_nonzero(grid.free))
    start, end = np.empty(most, np.int32), np.empty(most, np.int32)
    length_m, steepest = np.empty(most), np.empty(most)
    done = 0
    for step in every:
        found = moves_by(grid, step, gradient)
        here = slice(done, done + len(found.start))
        start[here], end[here] = found.start, found.end
        length_m[here], steepest[here] = found.length_m, found.steepest
        done = here.stop
    return Moves(start[:done], end[:done], length_m[:done], steepest[:done])


def moves_by(
    grid: RouteGrid,
    step: tuple[int, int],
    gradient: tuple[FloatArray, FloatArray] | None = None,
) -> Moves:
    """Return every move between free cells by one step (rows upward, columns)."""
    rows, columns = grid.free.shape
    up, right = step
    # Half as wide as numpy's own: what a search does is mostly to carry these about.
    number = np.arange(rows * columns, dtype=np.int32).reshape(rows, columns)
    here, there = _windows(rows, columns, up, right)
    open_way = grid.free[here] & grid.free[there]
    for r, c in passed_over(up, right):
        open_way &= grid.free[_shifted(here, r, c)]
    kept = np.flatnonzero(open_way)
    start = number[here].ravel().take(kept)
    end = start + np.int32(up * columns + right)
    length_m = np.full(len(start), grid.cell_m * float(np.hypot(up, right)))
    return Moves(start, end, length_m, _steepest(gradient, here, up, right, kept))


Window = tuple[slice, slice]


def _windows(rows: int, columns: int, up: int, right: int) -> tuple[Window, Window]:
    """Return the windows of the starts and of the ends of a step."""
    first, last = max(0, -right), columns - max(0, right)
    here = (slice(0, rows - up), slice(first, last))
    return here, _shifted(here, up, right)


def _shifted(window: Window, up: int, right: int) -> Window:
    rows, columns = window
    return (
        slice(rows.start + up, rows.stop + up),
        slice(columns.start + right, columns.stop + right),
    )


def _steepest(
    gradient: tuple[FloatArray, FloatArray] | None,
    here: Window,
    up: int,
    right: int,
    kept: IntArray,
) -> FloatArray:
    """Return the steepest gradient along the step, looked at about once a cell."""
    if gradient is None:
        return np.zeros(len(kept))
    size = float(np.hypot(up, right))
    along = np.abs((gradient[0] * right + gradient[1] * up) / size)
    checks = max(up, abs(right))
    steepest = along[here].copy()
    for k in range(1, checks + 1):
        place = _shifted(here, round(up * k / checks), round(right * k / checks))
        np.maximum(steepest, along[place], out=steepest)
    return np.asarray(steepest.ravel().take(kept))


def graph(grid: RouteGrid, found: Moves, cost: FloatArray) -> csr_array:
    """Return the symmetric graph of the moves with their costs, one node a cell."""
    # Backward first, from the last move on: each row's columns then come in order, as `moves` lists
    # its steps from the least to the greatest.
    start, end = found.start, found.end
    return network_of(
        np.concatenate([end[::-1], start]),
        np.concatenate([start[::-1], end]),
        np.concatenate([cost[::-1], cost]),
        grid.free.size,
    )


def network_of(start: Cells, end: Cells, cost: FloatArray, size: int) -> csr_array:
    """Return the directed graph of ``size`` nodes with these edges, no two of them the same."""
    table = coo_array((cost, (start, end)), shape=(size, size))
    # Nothing is there twice, and a search does not need the columns of each row in order.
    table.has_canonical_format = True
    return table.tocsr()
