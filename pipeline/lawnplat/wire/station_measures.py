"""Measure candidate places for the station and score them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from lawnplat.geometry import FloatArray, union
from lawnplat.settings.types import RuleBook
from lawnplat.terrain.drainage import Drainage, drainage, upslope_m2
from lawnplat.terrain.sample import plane_tilts_pct
from lawnplat.wire.cable import CableWays, cable_ways
from lawnplat.wire.places import Places
from lawnplat.wire.route_grid import RouteGrid
from lawnplat.wire.scene import Scene
from lawnplat.wire.ways_home import DrivingNetwork, mean_and_worst

_AHEAD_STEP_M = 0.5
_ABREAST = 5
"""Places looked at across the way ahead."""
_DRAINED = ("building", "water")
_WATER = "water"
_PAVED = ("path", "paving_flush")
_LEVEL = "level"


@dataclass(frozen=True)
class Measures:
    """What was measured at each place; arrays of length n.

    ``tilt_pct`` and ``upslope_m2`` are NaN where a station cannot stand; ``outlet_m`` is NaN where
    no cable leads, ``water_m``, from the base to open water, where there is none. The ways home and
    the cable under paving are NaN where they were not worked out, ways home infinite where there
    are none.
    """

    tilt_pct: FloatArray
    upslope_m2: FloatArray
    water_m: FloatArray
    outlet_m: FloatArray
    open_m: FloatArray
    mean_m: FloatArray
    worst_m: FloatArray
    paved_m: FloatArray


@dataclass(frozen=True)
class Supply:
    """What is worked out once a site: the cable's ways, and where rain drains (None: nowhere)."""

    cable: CableWays
    drained: Drainage | None


def supply_of(scene: Scene) -> Supply:
    """Return the cable's ways and the drainage. Houses are drained at their foot, as ponds."""
    if scene.terrain.source == _LEVEL:
        return Supply(cable_ways(scene), None)
    drains = union(each.geometry for each in scene.site.features if each.kind in _DRAINED)
    runoff_pct = scene.rules.station.runoff_slope_pct
    return Supply(cable_ways(scene), drainage(scene.terrain, drains, runoff_pct))


def measured(scene: Scene, places: Places, supply: Supply, grid: RouteGrid) -> Measures:
    """Measure all but the ways home at every place."""
    size = len(places.point)
    standing = np.flatnonzero(places.stands())
    tilt_pct, drains_m2 = np.full(size, np.nan), np.full(size, np.nan)
    taken = np.asarray(shapely.union(places.base[standing], places.front[standing]), dtype=object)
    tilt_pct[standing] = plane_tilts_pct(scene.terrain, list(taken))
    drains_m2[standing] = 0.0 if supply.drained is None else upslope_m2(supply.drained, taken)
    unknown = np.full(size, np.nan)
    return Measures(
        tilt_pct=tilt_pct,
        upslope_m2=drains_m2,
        water_m=_water_m(scene, places),
        outlet_m=supply.cable.lengths_m(places),
        open_m=_open_ground_m(grid, places, scene.rules),
        mean_m=unknown,
        worst_m=unknown,
        paved_m=unknown,
    )


def measured_closely(
    measures: Measures,
    scene: Scene,
    places: Places,
    which: NDArray[np.int64],
    *,
    cable: CableWays,
    network: DrivingNetwork,
) -> Measures:
    """Return the measures with ways home and cable under paving of the places ``which``."""
    mean_m, worst_m = measures.mean_m.copy(), measures.worst_m.copy()
    paved_m = measures.paved_m.copy()
    inward = places.point + places.ahead * scene.machine.smallest_passage_m
    mean_m[which], worst_m[which] = mean_and_worst(network.ways_m(inward[which]))
    paved_m[which] = _paved_m(scene, places, cable, which)
    return replace(measures, mean_m=mean_m, worst_m=worst_m, paved_m=paved_m)


def _water_m(scene: Scene, places: Places) -> FloatArray:
    """Return how far each base is from open water; NaN where the survey shows none."""
    water = union(each.geometry for each in scene.site.features if each.kind == _WATER)
    return np.asarray(shapely.distance(places.base, water))


def _paved_m(
    scene: Scene, places: Places, cable: CableWays, which: NDArray[np.int64]
) -> FloatArray:
    """Return how much of the cable to each place lies under a path or paving; 0 for no cable."""
    paved = union(each.geometry for each in scene.site.features if each.kind in _PAVED)
    routes = cable.routes_to(places.point[which], places.ahead[which])
    lines = np.array([None if route is None else route.line for route in routes], dtype=object)
    return np.nan_to_num(shapely.length(shapely.intersection(lines, paved)))


def _open_ground_m(grid: RouteGrid, places: Places, rules: RuleBook) -> FloatArray:
    """Return how far ahead the ground is free, up to the rules' ``open_ground_m``.

    Free means as wide as a route likes to be: ``comfortable_m`` to each side.
    """
    span = np.arange(1, round(rules.station.open_ground_m / _AHEAD_STEP_M) + 1) * _AHEAD_STEP_M
    aside = np.linspace(-1.0, 1.0, _ABREAST) * rules.return_line.comfortable_m
    across = np.stack([places.ahead[:, 1], -places.ahead[:, 0]], axis=1)
    xy = (
        places.point[:, None, None]
        + places.ahead[:, None, None] * span[:, None, None]
        + across[:, None, None] * aside[:, None]
    )
    free = grid.free_at(xy[..., 0], xy[..., 1]).all(axis=2)
    return np.asarray(np.logical_and.accumulate(free, axis=1).sum(axis=1) * _AHEAD_STEP_M, float)


def scores(measures: Measures, rules: RuleBook) -> FloatArray:
    """Return the score of each place in metres of mean way home; lower is better.

    A sum of what the columns of ``station_options`` hold, times the rule book's weights; a cable
    or tilt that is not known counts 0.
    """
    weights = rules.station
    return np.asarray(
        measures.mean_m
        + weights.score_worst * measures.worst_m
        + weights.score_outlet * np.nan_to_num(measures.outlet_m, nan=0.0)
        + weights.score_paved * np.nan_to_num(measures.paved_m, nan=0.0)
        + weights.score_tilt * np.nan_to_num(measures.tilt_pct, nan=0.0)
        - weights.score_openness * np.minimum(measures.open_m, weights.open_ground_m)
    )
