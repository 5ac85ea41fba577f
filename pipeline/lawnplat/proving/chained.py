"""A wire by its chainage: places, directions and what of it is nearest to a point."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from lawnplat.geometry import FloatArray

_DIRECTION_REACH_M = 0.2
"""Directions are those of chords this far to both sides, so that a corner turns gradually."""


@dataclass(frozen=True)
class ChainedWire:
    """One wire.

    Attributes
    ----------
    on : str
        ``perimeter``, ``perimeter_2``, ``return_1`` ...
    loop : int
    xy : array of shape (n, 2)
        Corners in laying order, metres, none of them twice in a row.
    """

    on: str
    loop: int
    xy: FloatArray

    @cached_property
    def at_m(self) -> FloatArray:
        """Return the chainage of each corner, shape (n,)."""
        return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(self.xy, axis=0).T))])

    @property
    def length_m(self) -> float:
        """Return the wire's length."""
        return float(self.at_m[-1])

    @property
    def line(self) -> LineString:
        """Return the wire as a line."""
        return LineString(self.xy)

    @property
    def is_perimeter(self) -> bool:
        """Return whether it runs round a lawn, from one terminal of the station to the other."""
        return self.on.startswith("perimeter")

    def places(self, chainage_m: FloatArray) -> FloatArray:
        """Return coordinates at chainages, shape (m, 2); beyond an end, the end."""
        columns = [np.interp(chainage_m, self.at_m, column) for column in self.xy.T]
        return np.stack(columns, axis=-1)

    def places_between(self, from_m: float, to_m: float) -> LineString:
        """Return the stretch between two chainages; two equal ones give a line without length."""
        inner = self.at_m[(self.at_m > from_m) & (self.at_m < to_m)]
        return LineString(self.places(np.concatenate([[from_m], inner, [to_m]])))

    def lefts(self, chainage_m: FloatArray) -> FloatArray:
        """Return unit vectors to the left of the wire at chainages, shape (m, 2)."""
        ahead = self.places(chainage_m + _DIRECTION_REACH_M)
        ahead -= self.places(chainage_m - _DIRECTION_REACH_M)
        length = np.hypot(ahead[..., 0], ahead[..., 1])
        ahead /= np.maximum(length, np.finfo(float).tiny)[..., None]
        return np.stack([-ahead[..., 1], ahead[..., 0]], axis=-1)

    def nearest_within(self, point: FloatArray, from_m: float, to_m: float) -> float:
        """Return the chainage of what of a stretch is nearest to a point."""
        from_m, to_m = max(from_m, 0.0), min(to_m, self.length_m)
        inner: NDArray[np.bool_] = (self.at_m > from_m) & (self.at_m < to_m)
        at = np.concatenate([[from_m], self.at_m[inner], [to_m]])
        corners = self.places(at)
        start, run = corners[:-1], np.diff(corners, axis=0)
        square = np.maximum((run**2).sum(axis=1), np.finfo(float).tiny)
        share = np.clip(((point - start) * run).sum(axis=1) / square, 0.0, 1.0)
        off = start + run * share[:, None] - point
        best = int(np.argmin((off**2).sum(axis=1)))
        return float(at[best] + share[best] * (at[best + 1] - at[best]))


def chained(on: str, loop: int, xy: FloatArray) -> ChainedWire:
    """Return a wire without corners that stand twice in a row."""
    kept = np.concatenate([[True], (np.diff(xy, axis=0) != 0.0).any(axis=1)])
    return ChainedWire(on, loop, xy[kept])
