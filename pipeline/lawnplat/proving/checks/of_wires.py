"""The checks of ground, perimeter and station, in the order in which they are told."""

from __future__ import annotations

from lawnplat.proving.check_types import Check
from lawnplat.proving.checks import (
    areas,
    conductor,
    enclosed,
    passages,
    record,
    setbacks,
    slopes,
    station,
    station_cable,
)

OF_WIRES: tuple[Check, ...] = (
    record.layers,
    record.validity,
    record.settings,
    record.survey,
    record.not_laid,
    conductor.conductor,
    setbacks.setback,
    setbacks.open_edge,
    setbacks.outside,
    enclosed.island,
    enclosed.mown_outside,
    enclosed.unmown_inside,
    enclosed.mown_setback,
    areas.area_sum,
    areas.area_column,
    areas.hand_trim,
    areas.lawn_is_grass,
    areas.mown_on_lawn,
    passages.passage,
    passages.passage_verdict,
    slopes.slope_limit,
    station.station_base,
    station.station_front,
    station.station_tilt,
    station.straight_wire,
    station_cable.outlet,
    station_cable.cable_route,
    station.station_told,
    record.not_measured,
)
