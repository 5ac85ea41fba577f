"""The low-voltage cable: from an outlet to the station, round the lawn and not across it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.sparse import csgraph
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray, grow, union
from lawnplat.wire.places import Places
from lawnplat.wire.route_grid import IntArray, RouteGrid, graph, lay_grid, moves
from lawnplat.wire.scene import Scene
from lawnplat.wire.taut import BESIDE_M, taut_way

_CELL_M = 0.25
_MOST_CELLS = 150_000
_SNAP_M = 1.0
_NOTHING_BEFORE = -9999
OUTLET = "power_outlet"


@dataclass(frozen=True)
class CableWays:
    """Cables from the nearest outlet to each of n places.

    ``length_m`` is measured on a grid of 16 neighbours, so up to 1.4 % longer than the shortest
    way, and NaN where no cable reaches. ``ground`` is what a cable may lie in.
    """

    length_m: FloatArray
    behind: FloatArray
    outlets: FloatArray
    ground: BaseGeometry
    grid: RouteGrid
    starts: IntArray
    ends: IntArray
    before: IntArray

    def way(self, place: int) -> LineString | None:
        """Return the taut way of the cable from an outlet to the back of the base at ``place``.

        None where the ground beside the wire is too narrow for a cable, or no outlet is near it.
        """
        if not np.isfinite(self.length_m[place]):
            return None
        chain = [int(self.ends[place])]
        while self.before[chain[-1]] != _NOTHING_BEFORE:
            chain.append(int(self.before[chain[-1]]))
        rough = self.grid.coordinates(np.array(chain[::-1]))
        outlet = self.outlets[int(np.flatnonzero(self.starts == chain[-1])[0])]
        first, last = (self._on_ground(each) for each in (outlet, self.behind[place]))
        return taut_way(np.concatenate([[first], rough, [last]]), self.ground)

    def _on_ground(self, place: FloatArray) -> FloatArray:
        """Return the nearest place in the cable's ground: an outlet is drawn within its wall."""
        nearest = shapely.shortest_line(self.ground, shapely.points(place))
        return np.asarray(shapely.get_coordinates(nearest)[0], float)


def cable_ways(scene: Scene, places: Places) -> CableWays | None:
    """Return the cables to all places; None where the survey has no outlet or no ground for one.

    The cable keeps to ground that is neither mown nor a barrier (a house, water, a fall).
    """
    outlets = [feature.geometry for feature in scene.site.features if feature.kind == OUTLET]
    if not outlets:
        return None
    solid = union(
        feature.geometry
        for feature in scene.site.features
        if scene.rules.kinds[feature.kind].barrier and feature.geometry.area > 0
    )
    wired = scene.ground.wire_ground
    mown = union([*wired.pieces, wired.others])
    parcel = scene.site.parcel
    ground = shapely.difference(parcel, grow(union([mown, solid]), BESIDE_M))
    grid = _grid(parcel, mown, solid)
    if ground.is_empty or not grid.free.any():
        return None
    outlet_points = shapely.get_coordinates(shapely.centroid(np.array(outlets, dtype=object)))
    behind = places.point - places.ahead * scene.machine.base_behind_wire_m
    starts = grid.nearest(outlet_points, _SNAP_M)
    ends = grid.nearest(behind, _SNAP_M)
    if not (starts >= 0).any():
        return None
    found = moves(grid, reach=2)
    way_m, before, _ = csgraph.dijkstra(
        graph(grid, found, found.length_m),
        indices=np.unique(starts[starts >= 0]),
        min_only=True,
        return_predecessors=True,
    )
    reached = np.where(ends >= 0, way_m[np.maximum(ends, 0)], np.inf)
    length_m = np.where(np.isfinite(reached), reached, np.nan)
    chained = np.asarray(before, np.int64)
    return CableWays(length_m, behind, outlet_points, ground, grid, starts, ends, chained)


def _grid(parcel: BaseGeometry, mown: BaseGeometry, solid: BaseGeometry) -> RouteGrid:
    cell_m = max(_CELL_M, float(np.sqrt(shapely.envelope(parcel).area / _MOST_CELLS)))
    # Cells whose centre lies less than a cell inside the wire still belong to the strip outside.
    inside = grow(mown, -0.75 * cell_m)
    return lay_grid(shapely.difference(grow(parcel, cell_m), union([inside, solid])), cell_m)
