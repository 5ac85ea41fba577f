"""Smooth the ground to the machine's wheelbase and take its gradient by Horn's 3x3 window."""

from __future__ import annotations

import math

import numpy as np
from scipy.ndimage import gaussian_filter

from lawnplat.survey.types import FloatArray
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
    _require_whole(elevation_m)
    if sigma_m <= 0:
        return elevation_m
    sigma_cells = sigma_m / cell_m
    reach = max(1, math.ceil(smoothing_reach_m(sigma_m) / cell_m))
    padded = _padded(elevation_m, reach)
    smoothed = gaussian_filter(padded, sigma_cells, radius=reach, mode="nearest")
    return np.asarray(smoothed[reach:-reach, reach:-reach], dtype=float)


def horn(elevation_m: FloatArray, cell_m: float) -> tuple[FloatArray, FloatArray]:
    """Return the gradient by Horn's weighted 3x3 window.

    B. K. P. Horn, "Hill shading and the reflectance map", Proc. IEEE 69(1):14-47, 1981. A border
    cell's missing neighbours go on in a straight line, so that a plane's gradient is exact there.

    Parameters
    ----------
    elevation_m : ndarray of shape (rows, columns)
        Metres, row 0 in the north, at least 2 x 2, no NaN.
    cell_m : float
        Cell size, metres.

    Returns
    -------
    dz_dx, dz_dy : ndarray of shape (rows, columns)
        Metres of rise a metre eastward and northward.

    Raises
    ------
    ValueError
        As for `smooth`.
    """
    _require_whole(elevation_m)
    z = _padded(elevation_m, 1)
    across = z[:, 2:] - z[:, :-2]
    down = z[2:, :] - z[:-2, :]
    dz_dx = (across[:-2] + 2 * across[1:-1] + across[2:]) / (8 * cell_m)
    southward = (down[:, :-2] + 2 * down[:, 1:-1] + down[:, 2:]) / (8 * cell_m)
    return dz_dx, -southward


def slope_pct(dz_dx: FloatArray, dz_dy: FloatArray) -> FloatArray:
    """Return the slope of the steepest descent in percent, 100 x rise / run.

    Examples
    --------
    >>> float(slope_pct(np.array(0.3), np.array(0.4)))
    50.0
    """
    return np.asarray(100.0 * np.hypot(dz_dx, dz_dy))


def _require_whole(elevation_m: FloatArray) -> None:
    if elevation_m.ndim != 2 or min(elevation_m.shape) < 2:  # noqa: PLR2004
        raise ValueError(f"heights of shape {elevation_m.shape}: at least 2 x 2 are needed")
    if not np.isfinite(elevation_m).all():
        raise ValueError("heights hold NaN or infinity: fill them first")


def _padded(values: FloatArray, width: int) -> FloatArray:
    """Return the heights with a rim, turned about the border cells so that planes go on."""
    return np.pad(values, width, mode="reflect", reflect_type="odd")
