"""The line of a wire as laid: its plan, moved by what was measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lawnplat.geometry import FloatArray
from lawnplat.proving.as_laid.measured import Measured
from lawnplat.proving.as_laid.types import Gap, Stray
from lawnplat.proving.chained import ChainedWire, chained

_KERNEL_REACH = 3.0


@dataclass(frozen=True)
class Moves:
    """By how much a wire was moved, at chainages of its plan; linear between them.

    ``at_m``: shape (n,), ascending; ``by_m``: shape (n, 2).
    """

    at_m: FloatArray
    by_m: FloatArray

    def along(self, chainage_m: FloatArray) -> FloatArray:
        """Return the moves at chainages."""
        if not len(self.at_m):
            return np.zeros((len(chainage_m), 2))
        return np.stack([np.interp(chainage_m, self.at_m, by) for by in self.by_m.T], axis=1)


def moves(
    points: Measured,
    strays: Sequence[Stray],
    gaps: Sequence[Gap],
    peg_spacing_m: float,
    *,
    only_strays: bool,
) -> Moves:
    """Return by how much the wire was moved.

    Where it strays, to the points measured. Elsewhere by the offset averaged over a peg's spacing,
    since a wire is straight from peg to peg and what changes faster is noise, which would make
    the wire longer than it is; or not at all, with ``only_strays``. Where nothing was measured the
    plan stands.
    """
    at, middle = _bins(points.chainage_m, peg_spacing_m / 2)
    chainage = _mean(points.chainage_m, at, middle)
    strayed = _within(points.chainage_m, strays)
    astray = np.bincount(at[strayed], minlength=middle) > 0
    raw = points.xy - points.wire.places(points.chainage_m)
    by = np.stack([_mean(column, at, middle) for column in raw.T], axis=1)
    if only_strays:
        by[~astray] = 0.0
    else:
        calm_m = _smooth(chainage, points.where(~strayed), peg_spacing_m)
        calm = calm_m[:, None] * points.wire.lefts(chainage)
        by[~astray] = calm[~astray]
    bare = [end for gap in gaps for end in _bare(gap, peg_spacing_m, points.wire.length_m)]
    all_at = np.concatenate([chainage, bare])
    order = np.argsort(all_at, kind="stable")
    return Moves(all_at[order], np.concatenate([by, np.zeros((len(bare), 2))])[order])


def _within(chainage_m: FloatArray, strays: Sequence[Stray]) -> NDArray[np.bool_]:
    inside = [(chainage_m >= each.from_m) & (chainage_m <= each.to_m) for each in strays]
    none = np.zeros(len(chainage_m), dtype=bool)
    return np.asarray(np.logical_or.reduce([none, *inside]), dtype=np.bool_)


def _bins(chainage_m: FloatArray, width_m: float) -> tuple[NDArray[np.intp], int]:
    """Return for each point the number of its bin, empty ones not counted, and their count."""
    _, which = np.unique(np.floor(chainage_m / width_m), return_inverse=True)
    return which, int(which.max()) + 1


def _mean(values: FloatArray, which: NDArray[np.intp], count: int) -> FloatArray:
    sums = np.bincount(which, weights=values, minlength=count)
    return np.asarray(sums / np.bincount(which, minlength=count))


def _smooth(at_m: FloatArray, points: Measured, spacing_m: float) -> FloatArray:
    """Return offsets averaged by a Gaussian of a peg's spacing, points by their accuracy."""
    chainage, weight = points.chainage_m, 1.0 / points.sigma_m**2
    reach = _KERNEL_REACH * spacing_m
    first = np.searchsorted(chainage, at_m - reach)
    last = np.searchsorted(chainage, at_m + reach, side="right")
    found = np.empty(len(at_m))
    for k, (place, start, stop) in enumerate(zip(at_m, first, last, strict=True)):
        near = slice(start, stop)
        bell = weight[near] * np.exp(-((chainage[near] - place) ** 2) / (2 * spacing_m**2))
        # Within a stray there may be none: what is found there is not used.
        found[k] = (bell * points.offset_m[near]).sum() / bell.sum() if stop > start else 0.0
    return found


def _bare(gap: Gap, spacing_m: float, length_m: float) -> list[float]:
    """Return chainages between which the plan stands, within a stretch that was not measured."""
    start = gap.from_m + spacing_m if gap.from_m > 0 else 0.0
    end = gap.to_m - spacing_m if gap.to_m < length_m else length_m
    return [start, end] if start < end else []


def moved_wire(wire: ChainedWire, by: Moves) -> tuple[ChainedWire, FloatArray, FloatArray]:
    """Return a wire as moved, and chainages by plan and as moved of the same places."""
    inside = by.at_m[(by.at_m > 0) & (by.at_m < wire.length_m)]
    plan_m = np.unique(np.concatenate([wire.at_m, inside]))
    xy = wire.places(plan_m) + by.along(plan_m)
    laid = chained(wire.on, wire.loop, xy)
    steps = np.hypot(*np.diff(xy, axis=0).T)
    return laid, plan_m, np.concatenate([[0.0], np.cumsum(steps)])
