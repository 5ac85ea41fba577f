"""The ground's gradient by Horn's 3x3 window, exact on planes up to the border."""

from __future__ import annotations

import numpy as np

from lawnplat.survey.types import FloatArray


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
        The heights hold NaN or have fewer than two rows or columns.
    """
    require_whole(elevation_m)
    z = padded(elevation_m, 1)
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


def require_whole(elevation_m: FloatArray) -> None:
    """Raise ValueError unless the heights are at least 2 x 2 and without gaps."""
    if elevation_m.ndim != 2 or min(elevation_m.shape) < 2:  # noqa: PLR2004
        raise ValueError(f"heights of shape {elevation_m.shape}: at least 2 x 2 are needed")
    if not np.isfinite(elevation_m).all():
        raise ValueError("heights hold NaN or infinity: fill them first")


def padded(values: FloatArray, width: int) -> FloatArray:
    """Return the heights with a rim, turned about the border cells so that planes go on."""
    return np.pad(values, width, mode="reflect", reflect_type="odd")
