"""The charging station: every candidate place tested and ranked, the best one chosen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point, Polygon

from lawnplat.errors import NotPlannable
from lawnplat.geometry import FloatArray, bearing_deg, union
from lawnplat.ground.types import Ground
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Finding, Site
from lawnplat.terrain.sample import plane_tilts_pct
from lawnplat.terrain.types import Terrain
from lawnplat.wire.cable import outlet_distances
from lawnplat.wire.places import Places, places_on
from lawnplat.wire.types import Station, StationOption
from lawnplat.wire.ways_home import DrivingNetwork, mean_and_worst

BUILDING = "building"
_MOST_RANKED = 48
"""Places whose ways home are worked out; more are thinned evenly along the rims."""


@dataclass(frozen=True)
class _Measures:
    tilt_pct: FloatArray
    outlet_m: FloatArray
    mean_m: FloatArray
    worst_m: FloatArray
    open_m: FloatArray


@dataclass(frozen=True)
class Siting:
    """The station, the piece of ground it serves, and what has to be said about the place."""

    station: Station
    piece: Polygon
    network: DrivingNetwork
    findings: tuple[Finding, ...]


def site_station(
    site: Site, ground: Ground, terrain: Terrain, machine: MachineClass, rules: RuleBook
) -> Siting:
    """Choose the place for the station on the largest piece of ground that has room for one.

    Raises
    ------
    NotPlannable
        Where no piece has the clear ground that a station needs.
    """
    if not ground.wire_ground.pieces:
        raise NotPlannable(
            site.property_id,
            f"no lawn is wide enough to mow: what is left inside the setbacks is narrower than "
            f"{machine.smallest_passage_m:.2f} m or smaller than "
            f"{rules.ground.smallest_part_m2:.0f} m2",
            "choose a smaller machine class, or leave this lawn to hand",
        )
    houses = union(feature.geometry for feature in site.features if feature.kind == BUILDING)
    for piece in ground.wire_ground.pieces:
        places = places_on(piece, ground, houses, machine, rules)
        if places.stands().any():
            return _chosen(site, ground, terrain, piece, places, machine, rules)
    raise NotPlannable(
        site.property_id,
        f"no place along the wire has {rules.station.front_clear_m:.1f} m of clear ground in front "
        f"and {rules.station.straight_wire_m:.1f} m of straight wire to both sides",
        "clear or widen some lawn by an outlet, or choose a smaller machine class",
    )


def _chosen(
    site: Site,
    ground: Ground,
    terrain: Terrain,
    piece: Polygon,
    places: Places,
    machine: MachineClass,
    rules: RuleBook,
) -> Siting:
    network = DrivingNetwork(piece, ground, machine)
    measures = _measured(site, ground, terrain, places, network, machine, rules)
    level = measures.tilt_pct <= rules.station.largest_tilt_pct
    in_reach = measures.outlet_m <= rules.station.cable_reach_m
    ranked = places.stands() & np.isfinite(measures.mean_m)
    if not ranked.any():
        raise NotPlannable(site.property_id, "the lawn in front of every place is cut off")
    wanted = ranked & level if (ranked & level).any() else _least_tilted(ranked, measures.tilt_pct)
    wanted = wanted & in_reach if (wanted & in_reach).any() else wanted
    score = _scores(measures, rules)
    order = np.flatnonzero(wanted)[np.argsort(score[wanted], kind="stable")]
    options = _options(places, measures, score, order, rules)
    best = int(order[0])
    station = Station(
        point=Point(places.point[best]),
        bearing_deg=bearing_deg(*places.ahead[best]),
        tilt_pct=float(measures.tilt_pct[best]),
        outlet_distance_m=float(measures.outlet_m[best]),
        mean_return_m=float(measures.mean_m[best]),
        base=places.base[best],
        front=places.front[best],
        options=options,
    )
    return Siting(station, piece, network, _said(site, station, machine, rules))


def _measured(
    site: Site,
    ground: Ground,
    terrain: Terrain,
    places: Places,
    network: DrivingNetwork,
    machine: MachineClass,
    rules: RuleBook,
) -> _Measures:
    """Measure every place; ways home only for those that can stand, thinned if many."""
    standing = np.flatnonzero(places.stands())
    kept = standing[np.unique(np.linspace(0, len(standing) - 1, _MOST_RANKED).astype(int))]
    size = len(places.point)
    mean_m, worst_m = np.full(size, np.inf), np.full(size, np.inf)
    inward = places.point + places.ahead * machine.smallest_passage_m
    mean_m[kept], worst_m[kept] = mean_and_worst(network.ways_m(inward[kept]))
    ground_taken = shapely.union(places.base, places.front)
    tilt_pct = np.full(size, np.nan)
    tilt_pct[standing] = plane_tilts_pct(terrain, ground_taken[standing])
    return _Measures(
        tilt_pct=tilt_pct,
        outlet_m=outlet_distances(site, ground, places, machine, rules),
        mean_m=mean_m,
        worst_m=worst_m,
        open_m=_open_ground_m(network.grid, places, rules),
    )


def _open_ground_m(grid: object, places: Places, rules: RuleBook) -> FloatArray:
    """Return how far the machine can drive straight ahead, up to the rules' ``open_ground_m``."""
    from lawnplat.wire.route_grid import RouteGrid  # noqa: PLC0415

    assert isinstance(grid, RouteGrid)
    span = np.arange(0.5, rules.station.open_ground_m + 0.25, 0.5)
    xy = places.point[:, None] + places.ahead[:, None] * span[:, None]
    column = np.rint((xy[..., 0] - grid.west_m) / grid.cell_m).astype(int)
    row = np.rint((xy[..., 1] - grid.south_m) / grid.cell_m).astype(int)
    rows, columns = grid.free.shape
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    free = grid.free[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)] & inside
    return np.asarray(np.logical_and.accumulate(free, axis=1).sum(axis=1) * 0.5, float)


def _least_tilted(among: NDArray[np.bool_], tilt_pct: FloatArray) -> NDArray[np.bool_]:
    return among & (tilt_pct <= tilt_pct[among].min() + 1e-9)


def _scores(measures: _Measures, rules: RuleBook) -> FloatArray:
    """Return the score of each place in metres of mean way home; lower is better."""
    weights = rules.station
    open_m = np.minimum(measures.open_m, weights.open_ground_m)
    score = (
        measures.mean_m
        + weights.score_worst * measures.worst_m
        + weights.score_outlet * np.nan_to_num(measures.outlet_m, nan=0.0)
        + weights.score_tilt * np.nan_to_num(measures.tilt_pct, nan=0.0)
        - weights.score_openness * open_m
    )
    # A place that no cable reaches ranks behind every place that one does.
    unreached = np.isnan(measures.outlet_m) & ~np.isnan(measures.outlet_m).all()
    return np.asarray(np.where(unreached, score + 1e6, score))


def _options(
    places: Places, measures: _Measures, score: FloatArray, order: NDArray[np.int64], rules: RuleBook
) -> tuple[StationOption, ...]:
    rank = np.zeros(len(score), int)
    rank[order] = np.arange(1, len(order) + 1)
    found = [_option(places, measures, score, int(rank[i]), i, rules) for i in range(len(score))]
    return tuple(sorted(found, key=lambda option: option.rank or len(found) + 1))


def _option(
    places: Places, measures: _Measures, score: FloatArray, rank: int, i: int, rules: RuleBook
) -> StationOption:
    return StationOption(
        point=Point(places.point[i]),
        bearing_deg=bearing_deg(*places.ahead[i]),
        rank=rank,
        score=float(score[i]),
        tilt_pct=float(measures.tilt_pct[i]),
        outlet_distance_m=float(measures.outlet_m[i]),
        mean_return_m=float(measures.mean_m[i]),
        worst_return_m=float(measures.worst_m[i]),
        openness_m=float(measures.open_m[i]),
        front_clear=bool(places.front_clear[i]),
        straight_wire=bool(places.straight_wire[i]),
        rejected_because="" if rank else _why_not(places, measures, i, rules),
    )


def _why_not(places: Places, measures: _Measures, i: int, rules: RuleBook) -> str:
    """Return every reason that speaks against place ``i``."""
    limits = rules.station
    reasons = [
        (not places.front_clear[i], f"front not clear for {limits.front_clear_m:.1f} m"),
        (not places.base_on_lawn[i], "base not wholly on lawn"),
        (not places.straight_wire[i], f"wire not straight for {limits.straight_wire_m:.1f} m"),
        (places.in_passage[i], "in a narrow passage"),
        (
            measures.tilt_pct[i] > limits.largest_tilt_pct,
            f"tilted {measures.tilt_pct[i]:.1f} %, over {limits.largest_tilt_pct:.1f} %",
        ),
        (
            measures.outlet_m[i] > limits.cable_reach_m,
            f"outlet {measures.outlet_m[i]:.1f} m away, over {limits.cable_reach_m:.1f} m",
        ),
    ]
    said = [text for holds, text in reasons if holds]
    return "; ".join(said) if said else "a place beside it was ranked in its stead"


def _said(
    site: Site, station: Station, machine: MachineClass, rules: RuleBook
) -> tuple[Finding, ...]:
    """Return the advisories that go with the chosen place."""
    return tuple(
        finding
        for finding in (
            _tilt_finding(station, rules),
            _power_finding(site, station, machine, rules),
        )
        if finding is not None
    )


def _tilt_finding(station: Station, rules: RuleBook) -> Finding | None:
    limit = rules.station.largest_tilt_pct
    if station.tilt_pct <= limit:
        return None
    return Finding(
        rule="station_tilt",
        severity="warn",
        text=(
            f"no place is level enough: the least tilted has {station.tilt_pct:.1f} %, over "
            f"{limit:.1f} %; the base must be levelled before the station is set"
        ),
        place=station.point,
        measured=round(station.tilt_pct, 2),
        limit=limit,
    )


def _power_finding(
    site: Site, station: Station, machine: MachineClass, rules: RuleBook
) -> Finding | None:
    reach = rules.station.cable_reach_m
    known = any(feature.kind == "power_outlet" for feature in site.features)
    distance = station.outlet_distance_m
    if known and distance <= reach:
        return None
    if not known:
        text = (
            "the survey shows no outdoor outlet: one protected by a residual-current device is "
            f"needed within {reach:.0f} m of the station, fitted by a licensed electrician"
        )
    elif np.isnan(distance):
        text = (
            "no way round the lawn leads a cable from an outlet to the station: a new outlet near "
            "it, fitted by a licensed electrician, is needed"
        )
    else:
        text = (
            f"the nearest outlet is {distance:.1f} m away round the lawn, over {reach:.0f} m: "
            f"a longer cable than the {machine.cable_supplied_m:.0f} m supplied, sized for its "
            "voltage drop, or a new outlet fitted by a licensed electrician, is needed"
        )
    return Finding(
        rule="station_power",
        severity="warn",
        text=text,
        place=station.point,
        measured=None if np.isnan(distance) else round(distance, 1),
        limit=reach,
    )
