"""The ground's heights at places, by another library than the planner's."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import map_coordinates

from lawnplat.survey.types import FloatArray
from lawnplat.terrain.types import Terrain


def heights_m(terrain: Terrain, places: FloatArray) -> FloatArray:
    """Return the ground's heights between cell centres, by scipy; the border goes on level."""
    grid = terrain.grid
    row = (grid.north_m - places[:, 1]) / grid.cell_m - 0.5
    column = (places[:, 0] - grid.west_m) / grid.cell_m - 0.5
    found = map_coordinates(terrain.elevation_m, [row, column], order=1, mode="nearest")
    return np.asarray(found, dtype=float)
