"""The charging station: every candidate place tested and ranked, the best one chosen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.errors import NotPlannable
from lawnplat.geometry import bearing_deg, union
from lawnplat.ground.straightened import cut_off, straightened
from lawnplat.ground.types import Ground
from lawnplat.survey.types import Finding
from lawnplat.wire.cable import CableWays
from lawnplat.wire.places import Places, places_on, rim_of
from lawnplat.wire.scene import Scene
from lawnplat.wire.station_advice import advice_on
from lawnplat.wire.station_measures import (
    Measures,
    Supply,
    measured,
    measured_closely,
    scores,
    supply_of,
)
from lawnplat.wire.station_options import options_of
from lawnplat.wire.station_tiers import Tier, best_tier
from lawnplat.wire.types import Station
from lawnplat.wire.ways_home import DrivingNetwork, driving_network

BUILDING = "building"
_MOST_RANKED = 48
"""Places whose ways home are worked out; more are thinned evenly along the rims."""


@dataclass(frozen=True)
class Siting:
    """The station, the piece of ground it serves, and what has to be said about the place."""

    station: Station
    piece: Polygon
    network: DrivingNetwork
    findings: tuple[Finding, ...]
    ground: Ground
    """The scene's, its rim drawn straight past the station where it bowed."""


def site_station(scene: Scene, *, roomy: bool = False) -> Siting:
    """Choose the place for the station; with ``roomy`` one with room to turn beyond its front.

    The largest piece of ground with a level place in reach of an outlet takes it; where none has
    one, the largest piece with room for a station.

    Raises
    ------
    NotPlannable
        Where nothing can be mown, or no piece has the clear ground that a station needs.
    """
    pieces = scene.ground.wire_ground.pieces
    if not pieces:
        raise _nothing_to_mow(scene)
    features = scene.site.features
    houses = union(feature.geometry for feature in features if feature.kind == BUILDING)
    supply = supply_of(scene)
    first: _Candidate | None = None
    for piece in pieces:
        found = _candidate(scene, piece, houses, supply, roomy=roomy)
        first = first or found
        if found is not None and found.suits:
            return _chosen(scene, found, supply.cable)
    if first is not None:
        return _chosen(scene, first, supply.cable)
    rules = scene.rules.station
    raise NotPlannable(
        scene.site.property_id,
        f"no place along the wire has {rules.front_clear_m:.1f} m of clear ground in front and "
        f"{rules.straight_wire_m:.1f} m of straight wire to both sides",
        "clear or widen some lawn by an outlet, or choose a smaller machine class",
    )


def _nothing_to_mow(scene: Scene) -> NotPlannable:
    return NotPlannable(
        scene.site.property_id,
        "no lawn is wide enough to mow: what is left inside the setbacks is narrower than "
        f"{scene.machine.smallest_passage_m:.2f} m or smaller than "
        f"{scene.rules.ground.smallest_part_m2:.0f} m2",
        "choose a smaller machine class, or leave this lawn to hand",
    )


@dataclass(frozen=True)
class _Candidate:
    """A piece with room for a station, its places, and those of them that are held together."""

    piece: Polygon
    network: DrivingNetwork
    places: Places
    measures: Measures
    tier: Tier

    @property
    def suits(self) -> bool:
        """Return whether some place is level and within a cable's reach."""
        return self.tier.level and self.tier.near


def _candidate(
    scene: Scene, piece: Polygon, houses: BaseGeometry, supply: Supply, *, roomy: bool
) -> _Candidate | None:
    """Return the piece's places as they are; with its rim drawn in where that keeps more rules."""
    network: DrivingNetwork | None = None
    best: _Candidate | None = None
    for drawn_in in (False, True):
        places = places_on(scene, piece, houses, drawn_in=drawn_in, roomy=roomy)
        if not places.stands().any() or (drawn_in and not places.drawn_in_m.any()):
            continue
        network = network or driving_network(scene, piece)
        measures = measured(scene, places, supply, network.grid)
        tier = best_tier(places, measures, scene.rules)
        if best is None or tier.kept > best.tier.kept:
            best = _Candidate(piece, network, places, measures, tier)
        if all(tier.kept):
            break
    return best


def _chosen(scene: Scene, candidate: _Candidate, cable: CableWays) -> Siting:
    places = candidate.places
    measures, ranked = _ranked(scene, candidate, cable)
    score = scores(measures, scene.rules)
    order = ranked[np.argsort(score[ranked], kind="stable")]
    best = int(order[0])
    route = cable.route_to(places.point[best], places.ahead[best])
    station = Station(
        point=Point(places.point[best]),
        bearing_deg=bearing_deg(*places.ahead[best]),
        tilt_pct=float(measures.tilt_pct[best]),
        outlet_distance_m=route.line.length if route is not None else float("nan"),
        mean_return_m=float(measures.mean_m[best]),
        base=places.base[best],
        front=places.front[best],
        options=options_of(places, measures, score, order, scene.rules),
        upslope_m2=float(measures.upslope_m2[best]),
        water_m=float(measures.water_m[best]),
        cable_route=route.line if route is not None else None,
        cable_paved_m=float(measures.paved_m[best]),
        outlet_source=route.outlet.source if route is not None else "",
        drawn_in_m=float(places.drawn_in_m[best]),
    )
    piece, ground = _drawn_in(scene, candidate, best)
    return Siting(station, piece, candidate.network, advice_on(scene, station), ground)


def _drawn_in(scene: Scene, candidate: _Candidate, place: int) -> tuple[Polygon, Ground]:
    """Return the piece and the ground with the rim straight past the chosen place."""
    piece, places = candidate.piece, candidate.places
    if places.drawn_in_m[place] == 0:
        return piece, scene.ground
    at_m, half_m = float(places.chainage_m[place]), scene.rules.station.straight_wire_m
    left, sliver = cut_off(piece, rim_of(piece), at_m - half_m, at_m + half_m)
    return left, straightened(scene.ground, piece, left, sliver, scene.rules)


def _ranked(
    scene: Scene, candidate: _Candidate, cable: CableWays
) -> tuple[Measures, NDArray[np.int64]]:
    """Return all measures, and the places to rank: of the best tier, thinned."""
    places = candidate.places
    for choice in (candidate.tier.places, places.stands()):
        wanted = np.flatnonzero(choice)
        thinned = np.unique(np.linspace(0, len(wanted) - 1, _MOST_RANKED).astype(int))
        kept = wanted[thinned]
        measures = measured_closely(
            candidate.measures, scene, places, kept, cable=cable, network=candidate.network
        )
        reached = kept[np.isfinite(measures.mean_m[kept])]
        if len(reached):
            return measures, reached
    raise NotPlannable(
        scene.site.property_id, "the ground in front of every station place is cut off"
    )
