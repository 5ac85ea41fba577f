"""Ground as a return line should see it: steep a little before it is.

Heights are smoothed to the machine's wheelbase, so that a sharp foot or brow of a bank turns into a
gentle strip some decimetres broad. A line that turned straight uphill there would keep the limit on
the smoothed ground and pass it on the real one.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np

from lawnplat.terrain.types import Terrain


def wary(terrain: Terrain, limit: float) -> Terrain:
    """Return the terrain with every cell beside ground over ``limit`` (m/m) taken as steep as that.

    Beside means one of the eight cells round it; the steepest of them counts, and its direction.
    Heights stay as they are. Ground that is nowhere over the limit comes back as it is.
    """
    steep = np.hypot(terrain.dz_dx, terrain.dz_dy)
    if not (steep > limit).any():
        return terrain
    rows, columns = steep.shape
    wide = [
        np.pad(field, 1, mode="edge") for field in (steep, terrain.dz_dx, terrain.dz_dy)
    ]
    most, east, north = steep.copy(), terrain.dz_dx.copy(), terrain.dz_dy.copy()
    for down, right in product(range(3), repeat=2):
        beside = (slice(down, down + rows), slice(right, right + columns))
        size = wide[0][beside]
        taken = (size > limit) & (size > most)
        for field, other in zip((most, east, north), wide, strict=True):
            field[taken] = other[beside][taken]
    return replace(terrain, dz_dx=east, dz_dy=north)
