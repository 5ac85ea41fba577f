"""Measure candidate places for the station and rank them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lawnplat.geometry import FloatArray
from lawnplat.settings.types import RuleBook
from lawnplat.terrain.sample import plane_tilts_pct
from lawnplat.wire.cable import outlet_distances
from lawnplat.wire.places import Places
from lawnplat.wire.route_grid import RouteGrid
from lawnplat.wire.scene import Scene
from lawnplat.wire.ways_home import DrivingNetwork, mean_and_worst

_MOST_RANKED = 48
"""Places whose ways home are worked out; more are thinned evenly along the rims."""
_AHEAD_STEP_M = 0.5


@dataclass(frozen=True)
class Measures:
    """What was measured at each place; arrays of length n.

    ``tilt_pct`` is NaN and the ways home are infinite where a place cannot stand or was thinned
    out; ``outlet_m`` is NaN where no cable reaches.
    """

    tilt_pct: FloatArray
    outlet_m: FloatArray
    mean_m: FloatArray
    worst_m: FloatArray
    open_m: FloatArray


def measured(scene: Scene, places: Places, network: DrivingNetwork) -> Measures:
    """Measure every place; tilt and ways home only where a station can stand."""
    standing = np.flatnonzero(places.stands())
    kept = standing[np.unique(np.linspace(0, len(standing) - 1, _MOST_RANKED).astype(int))]
    size = len(places.point)
    mean_m, worst_m = np.full(size, np.inf), np.full(size, np.inf)
    inward = places.point + places.ahead * scene.machine.smallest_passage_m
    mean_m[kept], worst_m[kept] = mean_and_worst(network.ways_m(inward[kept]))
    tilt_pct = np.full(size, np.nan)
    taken = [places.base[i].union(places.front[i]) for i in standing]
    tilt_pct[standing] = plane_tilts_pct(scene.terrain, taken)
    return Measures(
        tilt_pct=tilt_pct,
        outlet_m=outlet_distances(scene, places),
        mean_m=mean_m,
        worst_m=worst_m,
        open_m=_open_ground_m(network.grid, places, scene.rules),
    )


def _open_ground_m(grid: RouteGrid, places: Places, rules: RuleBook) -> FloatArray:
    """Return how far the machine can drive straight ahead, up to the rules' ``open_ground_m``."""
    span = np.arange(1, round(rules.station.open_ground_m / _AHEAD_STEP_M) + 1) * _AHEAD_STEP_M
    xy = places.point[:, None] + places.ahead[:, None] * span[:, None]
    free = grid.free_at(xy[..., 0], xy[..., 1])
    return np.asarray(np.logical_and.accumulate(free, axis=1).sum(axis=1) * _AHEAD_STEP_M, float)


def scores(measures: Measures, rules: RuleBook) -> FloatArray:
    """Return the score of each place in metres of mean way home; lower is better.

    A place that no cable reaches ranks behind every place that one does.
    """
    weights = rules.station
    score = (
        measures.mean_m
        + weights.score_worst * measures.worst_m
        + weights.score_outlet * np.nan_to_num(measures.outlet_m, nan=0.0)
        + weights.score_tilt * np.nan_to_num(measures.tilt_pct, nan=0.0)
        - weights.score_openness * np.minimum(measures.open_m, weights.open_ground_m)
    )
    reached = ~np.isnan(measures.outlet_m)
    behind = np.nanmax(np.where(np.isfinite(score), score, 0.0)) if len(score) else 0.0
    return np.asarray(np.where(~reached & reached.any(), score + abs(behind), score))
