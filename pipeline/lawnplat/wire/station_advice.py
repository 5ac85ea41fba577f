"""What has to be done before the station can stand where it was put."""

from __future__ import annotations

import numpy as np

from lawnplat.settings.types import RuleBook
from lawnplat.survey.types import Finding
from lawnplat.wire.cable import OUTLET
from lawnplat.wire.scene import Scene
from lawnplat.wire.types import Station


def advice_on(scene: Scene, station: Station) -> tuple[Finding, ...]:
    """Return the advisories that go with the chosen place."""
    found = (
        _tilt_finding(station, scene.rules),
        _power_finding(scene, station),
        _water_finding(station, scene.rules),
        _beside_water_finding(station, scene.rules),
        _straight_finding(station, scene.rules),
    )
    return tuple(finding for finding in found if finding is not None)


def _tilt_finding(station: Station, rules: RuleBook) -> Finding | None:
    limit = rules.station.largest_tilt_pct
    if station.tilt_pct <= limit:
        return None
    return Finding(
        rule="station_tilt",
        severity="warn",
        text=(
            f"no place is level enough: the station's has {station.tilt_pct:.1f} %, over "
            f"{limit:.1f} %; the base must be levelled before the station is set"
        ),
        place=station.point,
        measured=round(station.tilt_pct, 2),
        limit=limit,
    )


def _straight_finding(station: Station, rules: RuleBook) -> Finding | None:
    if station.drawn_in_m == 0:
        return None
    return Finding(
        rule="station_straight_wire",
        severity="note",
        text=(
            f"the edge bows past the station: the perimeter is laid straight there, up to "
            f"{100 * station.drawn_in_m:.0f} cm inside it, and the sliver is trimmed by hand"
        ),
        place=station.point,
        measured=round(station.drawn_in_m, 3),
        limit=rules.station.straightening_m,
    )


def _water_finding(station: Station, rules: RuleBook) -> Finding | None:
    limit = rules.station.largest_upslope_m2
    if station.upslope_m2 <= limit:
        return None
    return Finding(
        rule="station_water",
        severity="warn",
        text=(
            f"{station.upslope_m2:.0f} m2 of slope drain over the station, over {limit:.0f} m2, "
            "and no place that suits is drier: cut a shallow drain above it that leads the water "
            "past, or raise the base"
        ),
        place=station.point,
        measured=round(station.upslope_m2, 1),
        limit=limit,
    )


def _beside_water_finding(station: Station, rules: RuleBook) -> Finding | None:
    limit = rules.station.water_clear_m
    if not station.water_m < limit:
        return None
    return Finding(
        rule="station_by_water",
        severity="warn",
        text=(
            f"the station stands {station.water_m:.1f} m from open water, under {limit:.1f} m, and "
            "no place that suits is farther off: have place and supply agreed by a licensed "
            "electrician; local codes prevail"
        ),
        place=station.point,
        measured=round(station.water_m, 2),
        limit=limit,
    )


def _power_finding(scene: Scene, station: Station) -> Finding | None:
    reach = scene.rules.station.cable_reach_m
    known = any(feature.kind == OUTLET for feature in scene.site.features)
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
            f"a longer cable than the {scene.machine.cable_supplied_m:.0f} m supplied, sized for "
            "its voltage drop, or a new outlet fitted by a licensed electrician, is needed"
        )
    return Finding(
        rule="station_power",
        severity="warn",
        text=text,
        place=station.point,
        measured=None if np.isnan(distance) else round(distance, 1),
        limit=reach,
    )
