"""Where measured points stray from the plan, which of them are slips, and what was not measured."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from lawnplat.geometry import FloatArray
from lawnplat.proving.as_laid.measured import Measured
from lawnplat.proving.as_laid.types import Gap, Stray
from lawnplat.settings.types import RuleBook


def limits_m(points: Measured, rules: RuleBook) -> FloatArray:
    """Return how far off its plan each point may lie: accuracy, and the laying's own tolerance."""
    return rules.as_laid.stray_sigmas * points.sigma_m + rules.as_laid.stray_m


def slips(points: Measured, rules: RuleBook) -> NDArray[np.bool_]:
    """Return which points are slips of the measurement and not the wire.

    A wire does not leap out and back: a lone point off the plan between two that are on it, farther
    out than half of the wire between those, so that the wire would have to turn by more than 45
    degrees on both sides.
    """
    off, limit = np.abs(points.offset_m), limits_m(points, rules)
    slip = np.zeros(len(off), dtype=bool)
    if len(off) < 3:  # noqa: PLR2004 - a point between two
        return slip
    half = (points.chainage_m[2:] - points.chainage_m[:-2]) / 2
    near = np.maximum(off[:-2], off[2:])
    calm = (off[:-2] <= limit[:-2]) & (off[2:] <= limit[2:])
    slip[1:-1] = calm & (off[1:-1] > limit[1:-1]) & (off[1:-1] - near > half)
    return slip


def strays(points: Measured, rules: RuleBook) -> tuple[Stray, ...]:
    """Return the stretches whose points lie off the plan; slips are to be left out before.

    Two stretches with less than a peg's spacing of wire in place between them are one.
    """
    limit = limits_m(points, rules)
    off = np.flatnonzero(np.abs(points.offset_m) > limit)
    if not len(off):
        return ()
    at = points.chainage_m[off]
    apart = (np.diff(at) > rules.pegs.spacing_m) & (np.diff(off) > 1)
    parts = np.split(off, np.flatnonzero(apart) + 1)
    return tuple(_stray(points, part, limit) for part in parts)


def _stray(points: Measured, part: NDArray[np.intp], limit: FloatArray) -> Stray:
    worst = part[np.argmax(np.abs(points.offset_m[part]))]
    return Stray(
        on=points.wire.on,
        from_m=float(points.chainage_m[part[0]]),
        to_m=float(points.chainage_m[part[-1]]),
        worst_m=float(points.offset_m[worst]),
        at_m=float(points.chainage_m[worst]),
        place=Point(points.xy[worst]),
        limit_m=float(limit[worst]),
        points=len(part),
    )


def gaps(points: Measured, largest_gap_m: float) -> tuple[Gap, ...]:
    """Return the stretches of a wire that its points leave open.

    A point stands for half of ``largest_gap_m`` to both sides, at a wire's ends too.
    """
    return tuple(_gaps(points, largest_gap_m))


def _gaps(points: Measured, largest_gap_m: float) -> Iterator[Gap]:
    wire, at, end_m = points.wire, points.chainage_m, largest_gap_m / 2
    if at[0] > end_m:
        yield Gap(wire.on, 0.0, float(at[0]))
    for k in np.flatnonzero(np.diff(at) > largest_gap_m):
        yield Gap(wire.on, float(at[k]), float(at[k + 1]))
    if at[-1] < wire.length_m - end_m:
        yield Gap(wire.on, float(at[-1]), wire.length_m)


def is_coarse(points: Measured, rules: RuleBook) -> bool:
    """Return whether a track is too coarse to tell that a setback is kept: then the plan is better.

    It is where the accuracy alone, as many times as a stray asks for, is more than an open edge's.
    """
    return bool(rules.as_laid.stray_sigmas * np.median(points.sigma_m) > rules.ground.open_edge_m)
