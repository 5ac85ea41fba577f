"""Smooth the ground by a Gaussian that leaves planes as they are."""

from __future__ import annotations

import math

import numpy as np
from scipy.ndimage import gaussian_filter

from lawnplat.survey.types import FloatArray
from lawnplat.terrain.gradient import padded, require_whole
from lawnplat.terrain.scale import smoothing_reach_m


def smooth(elevation_m: FloatArray, sigma_m: float, cell_m: float) -> FloatArray:
    """Return the heights under a Gaussian that leaves every plane as it is, up to the border.

    Beyond the border the ground is taken as mirrored in the border cell, heights turned about it,
    which goes on with a plane exactly.

    Parameters
    ----------
    elevation_m : ndarray of shape (rows, columns)
        Metres, at least 2 x 2, no NaN (see `lawnplat.terrain.fill`).
    sigma_m, cell_m : float
        Standard deviation and cell size, metres. A sigma of 0 returns the heights unchanged.

    Raises
    ------
    ValueError
        The heights hold NaN or have fewer than two rows or columns.
    """
    require_whole(elevation_m)
    if sigma_m <= 0:
        return elevation_m
    sigma_cells = sigma_m / cell_m
    reach = max(1, math.ceil(smoothing_reach_m(sigma_m) / cell_m))
    wider = padded(elevation_m, reach)
    smoothed = gaussian_filter(wider, sigma_cells, radius=reach, mode="nearest")
    return np.asarray(smoothed[reach:-reach, reach:-reach], dtype=float)
