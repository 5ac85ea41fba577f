"""Which places for the station are held against each other by score.

Rules come before scores: a place that keeps them is never passed over for a better score. Each rule
holds as far as any place keeps it; where none does, the places that come nearest stay.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lawnplat.geometry import FloatArray
from lawnplat.settings.types import RuleBook, StationRules
from lawnplat.wire.places import Places
from lawnplat.wire.station_measures import Measures

BoolArray = NDArray[np.bool_]
_SAME_M2 = 1e-9


@dataclass(frozen=True)
class Tier:
    """The places to be scored, and which of the rules they keep."""

    places: BoolArray
    level: bool
    near: bool
    off_water: bool
    dry: bool

    @property
    def kept(self) -> tuple[bool, bool, bool, bool]:
        """Return which rules are kept, the one that comes first in the lead."""
        return self.level, self.near, self.off_water, self.dry


def best_tier(places: Places, measures: Measures, rules: RuleBook) -> Tier:
    """Return the places that keep the most: level, in a cable's reach, off open water, then dry.

    Where none is level, those within ``tilt_margin_pct`` of the least tilted stay; where no cable
    reaches far enough, those that one leads to at all, else all; where none is far enough from open
    water, all of these; where none is dry, the driest.
    """
    limits = rules.station
    stands = places.stands()
    level = stands & (measures.tilt_pct <= limits.largest_tilt_pct)
    wanted = level if level.any() else _least_tilted(stands, measures.tilt_pct, limits)
    near = wanted & (measures.outlet_m <= limits.cable_reach_m)
    wanted = _first_of(near, wanted & np.isfinite(measures.outlet_m), wanted)
    off_water = wanted & ~(measures.water_m < limits.water_clear_m)
    wanted = _first_of(off_water, wanted)
    dry = wanted & (measures.upslope_m2 <= limits.largest_upslope_m2)
    driest = wanted & (measures.upslope_m2 <= _least(measures.upslope_m2, wanted) + _SAME_M2)
    kept = (bool(rule.any()) for rule in (level, near, off_water, dry))
    return Tier(_first_of(dry, driest), *kept)


def _least_tilted(stands: BoolArray, tilt_pct: FloatArray, limits: StationRules) -> BoolArray:
    return stands & (tilt_pct <= _least(tilt_pct, stands) + limits.tilt_margin_pct)


def _least(values: FloatArray, among: BoolArray) -> float:
    return float(np.min(values[among], initial=np.inf))


def _first_of(*choices: BoolArray) -> BoolArray:
    """Return the first choice that holds any place, else the last."""
    return next((choice for choice in choices if choice.any()), choices[-1])
