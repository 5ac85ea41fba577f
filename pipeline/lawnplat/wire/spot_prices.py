"""What corners of a chain of legs would cost at other spots, found out no further than it matters.

A spot matters only where it is cheaper than something known. Most are dearer by their lengths and
bends alone, or by the gradient along their legs; whether a leg leaves the free ground, which takes
longest to find out, is asked for the few that are left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lawnplat.geometry import FloatArray
from lawnplat.wire.leg_cost import BARRED, LegCost

BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Spots:
    """Spots for corners, ``tries`` for each, every one between two corners that stay.

    ``start`` and ``end`` are those of the leg to each spot and of the leg from it, shape (2, n, 2);
    ``bends``, shape (n,), is what the three bends there cost.
    """

    cost: LegCost
    start: FloatArray
    end: FloatArray
    bends: FloatArray
    tries: int


@dataclass(frozen=True)
class _Legs:
    """What the legs of ``spots`` cost by their gradient; ``barred`` for it at their high price.

    Shapes (2, n).
    """

    spots: Spots
    price: FloatArray
    barred: BoolArray

    def likely(self) -> FloatArray:
        """Return the price of each spot if no leg leaves the free ground. Shape (n,)."""
        return np.asarray(self.price.sum(axis=0) + self.spots.bends)

    def on_ground(self, which: NDArray[np.int64]) -> FloatArray:
        """Return the price of some of the spots by gradient and ground."""
        spots, price = self.spots, self.price[:, which]
        asked = ~self.barred[:, which]
        start, end = spots.start[:, which], spots.end[:, which]
        off = asked.copy()
        off[asked] = ~spots.cost.on_ground(start[asked], end[asked])
        price[off] *= BARRED
        return np.asarray(price.sum(axis=0) + spots.bends[which])


def prices_under(spots: Spots, under: FloatArray) -> FloatArray:
    """Return the price of the spots that cost less than ``under``, infinity for the others.

    ``under`` has one entry a corner; the result has shape (corners, tries). A price that is over
    it by the ground alone comes out too.
    """
    most = np.repeat(under, spots.tries)
    least = spots.cost.least(spots.start, spots.end).sum(axis=0) + spots.bends
    asked = np.flatnonzero(least < most)
    some = Spots(
        spots.cost, spots.start[:, asked], spots.end[:, asked], spots.bends[asked], spots.tries
    )
    legs = _on_slopes(some)
    cheap = np.flatnonzero(legs.likely() < most[asked])
    price = np.full(len(most), np.inf)
    price[asked[cheap]] = legs.on_ground(cheap)
    return price.reshape(-1, spots.tries)


def prices_if_moved(spots: Spots, fit: BoolArray, worth_m: float) -> FloatArray:
    """Return the price of each corner's first spot, where it lies, and of those that save on it.

    Infinity for spots that do not save ``worth_m`` or are not ``fit``; these and the result have
    shape (corners, tries).
    """
    legs = _on_slopes(spots)
    first = np.arange(0, fit.size, spots.tries)
    price = np.full(fit.size, np.inf)
    price[first] = legs.on_ground(first)
    saves = fit.ravel() & (legs.likely() < np.repeat(price[first] - worth_m, spots.tries))
    saves[first] = False
    cheap = np.flatnonzero(saves)
    if len(cheap):
        price[cheap] = legs.on_ground(cheap)
    return price.reshape(fit.shape)


def _on_slopes(spots: Spots) -> _Legs:
    cost, steep = spots.cost.on_slopes(spots.start.reshape(-1, 2), spots.end.reshape(-1, 2))
    cost[steep] *= BARRED
    return _Legs(spots, cost.reshape(2, -1), steep.reshape(2, -1))
