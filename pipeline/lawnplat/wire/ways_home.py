"""How far the machine drives home: distances inside the lawn from places on its rim."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csgraph, csr_array
from shapely import Polygon

from lawnplat.geometry import FloatArray
from lawnplat.ground.types import Ground
from lawnplat.settings.types import MachineClass
from lawnplat.wire.route_grid import RouteGrid, graph, lay_grid, moves

_CELLS = 1500
_FINEST_M = 0.2


class DrivingNetwork:
    """The ground inside one wire as a coarse grid, for distances to within some percent.

    The cell is chosen so that narrow passages still connect.
    """

    def __init__(self, piece: Polygon, ground: Ground, machine: MachineClass) -> None:
        cell_m = max(float(np.sqrt(piece.area / _CELLS)), _FINEST_M)
        while True:
            self.grid: RouteGrid = lay_grid(piece, cell_m)
            found = moves(self.grid, reach=2)
            self.network: csr_array = graph(self.grid, found, found.length_m)
            self.nodes = self.grid.free_nodes()
            if cell_m <= machine.smallest_passage_m / 3 or self._connected():
                break
            cell_m /= 1.5
        self.cell_m = cell_m
        strips = shapely.union_all(np.array(ground.wire_ground.crossings, dtype=object))
        xy = self.grid.coordinates(self.nodes)
        on_strip = shapely.contains_xy(strips, xy) if not strips.is_empty else False
        self.mown: NDArray[np.bool_] = np.broadcast_to(~np.asarray(on_strip), len(xy))

    def _connected(self) -> bool:
        _, label = csgraph.connected_components(self.network, directed=False)
        sizes = np.bincount(label[self.nodes]) if len(self.nodes) else np.array([0])
        return bool(sizes.max(initial=0) >= 0.99 * len(self.nodes))  # noqa: PLR2004 - specks apart

    def ways_m(self, points: FloatArray) -> FloatArray:
        """Return distances from each of ``points`` to every mown cell. Shape (points, cells)."""
        starts = self.grid.nearest(points, 4 * self.cell_m)
        ways = csgraph.dijkstra(self.network, indices=np.maximum(starts, 0))
        ways = ways[:, self.nodes[self.mown]]
        ways[starts < 0] = np.inf
        return np.asarray(ways)

    def ways_to_line_m(self, line_points: FloatArray) -> FloatArray:
        """Return the distance from every mown cell to the nearest of ``line_points``."""
        starts = self.grid.nearest(line_points, 4 * self.cell_m)
        starts = np.unique(starts[starts >= 0])
        if len(starts) == 0:
            return np.full(int(self.mown.sum()), np.inf)
        ways = csgraph.dijkstra(self.network, indices=starts, min_only=True)
        return np.asarray(ways[self.nodes[self.mown]])


def mean_and_worst(ways_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return mean and largest finite distance of each row; infinity where nothing is reached."""
    reached = np.isfinite(ways_m)
    count = np.maximum(reached.sum(axis=1), 1)
    mean = np.where(reached, ways_m, 0.0).sum(axis=1) / count
    worst = np.where(reached, ways_m, -np.inf).max(axis=1)
    nothing = ~reached.any(axis=1)
    return np.where(nothing, np.inf, mean), np.where(nothing, np.inf, worst)
