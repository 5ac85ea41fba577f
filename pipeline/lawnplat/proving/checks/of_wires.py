"""The checks of ground, perimeter and station, in the order in which they are told."""

from __future__ import annotations

from lawnplat.proving.check_types import Check
from lawnplat.proving.checks import (
    areas,
    conductor,
    cross_fall,
    enclosed,
    loops,
    pairs,
    record,
    sections,
    setbacks,
)

OF_WIRES: tuple[Check, ...] = (
    record.layers,
    record.validity,
    record.settings,
    record.survey,
    record.not_laid,
    conductor.conductor,
    sections.sections,
    pairs.pair_spacing,
    pairs.pair_sides,
    cross_fall.cross_fall,
    loops.wire_length,
    loops.capacity,
    loops.loops_apart,
    setbacks.setback,
    setbacks.neighbour_wire,
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
    record.not_measured,
)
