"""Rows of the layers that a simulation fills."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType

from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.values import Value
from lawnplat.proving.simulation.types import Simulation

_Raw = tuple[BaseGeometry | None, *tuple[Value, ...]]


def _coverage(simulation: Simulation) -> Iterator[_Raw]:
    for loop in simulation.loops:
        for each in loop.classes:
            yield each.area, each.cut, each.share, each.area.area, loop.loop


def _coverage_days(simulation: Simulation) -> Iterator[_Raw]:
    for loop in simulation.loops:
        for each in loop.days:
            so_far, that_day = each.so_far, each.that_day
            spans = (so_far.mean, so_far.low, so_far.high)
            yield None, each.day, that_day.mean, that_day.low, that_day.high, *spans, loop.loop


def _homing(simulation: Simulation) -> Iterator[_Raw]:
    for loop in simulation.loops:
        home = loop.homing
        times = (home.median_min, home.p95_min, home.worst_min, home.reserve_min)
        yield None, home.journeys, *times, home.late_share, home.by_line_share, loop.loop


def _departures(simulation: Simulation) -> Iterator[_Raw]:
    for loop in simulation.loops:
        for each in loop.departures.chosen:
            yield None, each.line_number, each.share, each.start_distance_m, loop.loop


def _machine_fit(simulation: Simulation) -> Iterator[_Raw]:
    for each in simulation.fits:
        yield None, each.machine_class, each.fits, each.reasons, each.hours_per_day


SIMULATION_ROWS: Mapping[str, Callable[[Simulation], Iterator[_Raw]]] = MappingProxyType(
    {
        "coverage": _coverage,
        "coverage_days": _coverage_days,
        "homing": _homing,
        "departures": _departures,
        "machine_fit": _machine_fit,
    }
)
"""By layer, in the contract's order; each yields geometry and the layer's own columns."""
