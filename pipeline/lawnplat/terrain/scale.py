"""The length that the ground is smoothed over: the machine's wheelbase or the source's cell."""

from __future__ import annotations

import math

_REACH_SIGMAS = 3.0
"""A Gaussian is cut off here: what lies beyond weighs 0.3 %."""

_FACET_SHARE = 1.0 / math.sqrt(6.0)
"""Standard deviation, in source cells, of the triangle that turns the facets of linear
interpolation into a cubic B-spline surface, whose gradient has no steps."""


def smoothing_sigma_m(
    wheelbase_m: float, smoothing_share: float, source_cell_m: float = 0.0
) -> float:
    """Return the standard deviation of the Gaussian that the ground is smoothed with, in metres.

    Two causes, the larger one rules. A machine does not feel what is much shorter than its
    wheelbase: a Gaussian of ``s`` metres leaves ``exp(-2 (pi s / w)**2)`` of a wave ``w`` long. And
    a raster coarser than the grid, drawn onto it by linear interpolation, is made of facets, whose
    gradient jumps from one source cell to the next; a Gaussian of 0.41 source cells melts them
    together and leaves 81 % of a wave four source cells long.

    Parameters
    ----------
    wheelbase_m : float
        Distance between the machine's axles.
    smoothing_share : float
        The rule book's ``terrain.smoothing_share``.
    source_cell_m : float
        Cell size of the raster on the ground; 0 where there is none.

    Examples
    --------
    >>> smoothing_sigma_m(0.4, 0.5)
    0.2
    """
    return max(wheelbase_m * smoothing_share, source_cell_m * _FACET_SHARE)


def smoothing_reach_m(sigma_m: float) -> float:
    """Return how far from a cell the smoothing looks, in metres."""
    return _REACH_SIGMAS * sigma_m
