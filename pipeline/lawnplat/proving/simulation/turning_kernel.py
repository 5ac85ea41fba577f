"""The direction in which a machine leaves a wire."""

from __future__ import annotations

import math

from numba import njit

COSINE, UNIFORM = 0, 1
"""Laws of turning: see `lawnplat.settings.proving_rules.TurningLaw`."""


@njit(cache=True, nogil=True)
def turned(law: int, normal_x: float, normal_y: float, unit: float) -> tuple[float, float]:
    """Return the unit direction for one random number.

    Parameters
    ----------
    law : int
        `COSINE` or `UNIFORM`.
    normal_x, normal_y : float
        Unit normal of the wire, into the lawn.
    unit : float
        Random number in [0, 1).

    Notes
    -----
    Under the cosine law the sine of the angle from the normal is uniform on [-1, 1).
    """
    if law == COSINE:
        across = 2.0 * unit - 1.0
        ahead = math.sqrt(max(1.0 - across * across, 0.0))
    else:
        angle = math.pi * (unit - 0.5)
        across = math.sin(angle)
        ahead = math.cos(angle)
    return (
        ahead * normal_x - across * normal_y,
        ahead * normal_y + across * normal_x,
    )
