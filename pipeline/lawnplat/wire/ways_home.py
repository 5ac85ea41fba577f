"""How far the machine drives home: distances inside the lawn from places on its rim."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csgraph, csr_array
from shapely import Polygon

from lawnplat.geometry import FloatArray, union
from lawnplat.wire.route_grid import RouteGrid, graph, lay_grid, moves
from lawnplat.wire.scene import Scene

_CELLS = 1500
_FINEST_M = 0.2
_SPECKS = 0.01
"""Share of cells that may lie apart: corners that a coarse grid cuts off."""


@dataclass(frozen=True)
class DrivingNetwork:
    """The ground inside one wire as a coarse grid, for distances to within some percent.

    ``nodes`` are the free cells, ``mown`` tells which of them are lawn and not a crossing strip.
    """

    grid: RouteGrid
    network: csr_array
    nodes: NDArray[np.int64]
    mown: NDArray[np.bool_]

    @property
    def cell_m(self) -> float:
        """Size of a cell."""
        return self.grid.cell_m

    def ways_m(self, points: FloatArray) -> FloatArray:
        """Return distances from each of ``points`` to every mown cell. Shape (points, cells)."""
        starts = self.grid.nearest(points, 4 * self.cell_m)
        ways = csgraph.dijkstra(self.network, indices=np.maximum(starts, 0))
        ways = ways[:, self.nodes[self.mown]]
        ways[starts < 0] = np.inf
        return np.asarray(ways)

    def ways_to_line_m(self, line_points: FloatArray) -> FloatArray:
        """Return the distance from every mown cell to the nearest of ``line_points``."""
        owner = np.zeros(len(line_points), np.int64)
        return np.asarray(self.ways_to_lines_m(line_points, owner, 1)[0])

    def ways_to_lines_m(
        self, points: FloatArray, owner: NDArray[np.int64], lines: int
    ) -> FloatArray:
        """Return the distance from every mown cell to each of several lines. Shape (lines, cells).

        Parameters
        ----------
        points : array of shape (n, 2)
            Places on the lines, about a cell apart.
        owner : array of shape (n,)
            The line that each of ``points`` lies on, from 0 up.
        lines : int
        """
        starts = self.grid.nearest(points, 4 * self.cell_m)
        near = starts >= 0
        # One more node for each line, no way from all its cells: one search then does for each.
        cells, network = self.grid.free.size, self.network
        line, cell = np.divmod(np.unique(owner[near] * cells + starts[near]), cells)
        leaves = np.searchsorted(line, np.arange(lines), side="right")
        table = (
            np.concatenate([network.data, np.zeros(len(cell))]),
            np.concatenate([network.indices, cell.astype(network.indices.dtype)]),
            np.concatenate([network.indptr, (network.nnz + leaves).astype(network.indptr.dtype)]),
        )
        joined = csr_array(table, shape=(cells + lines, cells + lines))
        ways = csgraph.dijkstra(joined, indices=np.arange(cells, cells + lines))
        return np.asarray(ways[:, self.nodes[self.mown]])


def driving_network(scene: Scene, piece: Polygon) -> DrivingNetwork:
    """Return the network over ``piece``, its cell chosen so that narrow passages still connect."""
    cell_m = max(float(np.sqrt(piece.area / _CELLS)), _FINEST_M)
    while True:
        grid = lay_grid(piece, cell_m)
        found = moves(grid, reach=2)
        network = graph(grid, found, found.length_m)
        nodes = grid.free_nodes()
        if cell_m <= scene.machine.smallest_passage_m / 3 or _connected(network, nodes):
            break
        cell_m /= 1.5
    strips = union(scene.ground.wire_ground.crossings)
    on_strip = np.asarray(shapely.contains_xy(strips, *grid.coordinates(nodes).T))
    return DrivingNetwork(grid, network, nodes, ~on_strip)


def _connected(network: csr_array, nodes: NDArray[np.int64]) -> bool:
    _, label = csgraph.connected_components(network, directed=False)
    sizes = np.bincount(label[nodes]) if len(nodes) else np.array([0])
    return bool(sizes.max(initial=0) >= (1 - _SPECKS) * len(nodes))


def mean_and_worst(ways_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return mean and largest finite distance of each row; infinity where nothing is reached."""
    reached = np.isfinite(ways_m)
    count = np.maximum(reached.sum(axis=1), 1)
    mean = np.where(reached, ways_m, 0.0).sum(axis=1) / count
    worst = np.where(reached, ways_m, -np.inf).max(axis=1)
    nothing = ~reached.any(axis=1)
    return np.where(nothing, np.inf, mean), np.where(nothing, np.inf, worst)
