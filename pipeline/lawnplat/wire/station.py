"""The charging station: every candidate place tested and ranked, the best one chosen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.errors import NotPlannable
from lawnplat.geometry import bearing_deg, union
from lawnplat.survey.types import Finding
from lawnplat.wire.places import Places, places_on
from lawnplat.wire.scene import Scene
from lawnplat.wire.station_advice import advice_on
from lawnplat.wire.station_measures import Measures, measured, scores
from lawnplat.wire.station_options import options_of
from lawnplat.wire.types import Station
from lawnplat.wire.ways_home import DrivingNetwork, driving_network

BUILDING = "building"


@dataclass(frozen=True)
class Siting:
    """The station, the piece of ground it serves, and what has to be said about the place."""

    station: Station
    piece: Polygon
    network: DrivingNetwork
    findings: tuple[Finding, ...]


def site_station(scene: Scene) -> Siting:
    """Choose the place for the station.

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
    candidates = [_candidate(scene, piece, houses) for piece in pieces]
    with_room = [candidate for candidate in candidates if candidate is not None]
    if with_room:
        powered = (candidate for candidate in with_room if candidate.suits)
        return _chosen(scene, next(powered, with_room[0]))
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
    """A piece with room for a station; ``suits`` tells whether a place is level and powered."""

    piece: Polygon
    network: DrivingNetwork
    places: Places
    measures: Measures
    suits: bool


def _candidate(scene: Scene, piece: Polygon, houses: BaseGeometry) -> _Candidate | None:
    places = places_on(scene, piece, houses)
    if not places.stands().any():
        return None
    network = driving_network(scene, piece)
    measures = measured(scene, places, network)
    rules = scene.rules.station
    level = measures.tilt_pct <= rules.largest_tilt_pct
    suits = places.stands() & level & (measures.outlet_m <= rules.cable_reach_m)
    return _Candidate(piece, network, places, measures, bool(suits.any()))


def _chosen(scene: Scene, candidate: _Candidate) -> Siting:
    places, measures = candidate.places, candidate.measures
    score = scores(measures, scene.rules)
    wanted = _wanted(scene, places, measures)
    order = np.flatnonzero(wanted)[np.argsort(score[wanted], kind="stable")]
    best = int(order[0])
    station = Station(
        point=Point(places.point[best]),
        bearing_deg=bearing_deg(*places.ahead[best]),
        tilt_pct=float(measures.tilt_pct[best]),
        outlet_distance_m=float(measures.outlet_m[best]),
        mean_return_m=float(measures.mean_m[best]),
        base=places.base[best],
        front=places.front[best],
        options=options_of(places, measures, score, order, scene.rules),
    )
    return Siting(station, candidate.piece, candidate.network, advice_on(scene, station))


def _wanted(scene: Scene, places: Places, measures: Measures) -> NDArray[np.bool_]:
    """Return the places to rank: level and within a cable's reach, as far as there are such."""
    rules = scene.rules.station
    ranked = places.stands() & np.isfinite(measures.mean_m)
    if not ranked.any():
        raise NotPlannable(
            scene.site.property_id, "the ground in front of every station place is cut off"
        )
    level = ranked & (measures.tilt_pct <= rules.largest_tilt_pct)
    if not level.any():
        level = ranked & (measures.tilt_pct <= measures.tilt_pct[ranked].min() + 1e-9)
    near = level & (measures.outlet_m <= rules.cable_reach_m)
    return near if near.any() else level
