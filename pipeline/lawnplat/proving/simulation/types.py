"""What a simulation gives. Metres and square metres, geometry in the plan's CRS."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import MultiPolygon, Point

from lawnplat.survey.types import Finding


@dataclass(frozen=True)
class Spread:
    """A figure over several runs: its mean, and what nine runs in ten lie between."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class CoverageDay:
    """Lawn cut until the end of a day, counted from 1, and on that day alone, as shares of it."""

    day: int
    so_far: Spread
    that_day: Spread


@dataclass(frozen=True)
class CoverageClass:
    """Lawn that is cut about as often.

    ``cut`` is ``starves``, ``seldom`` or ``evenly``; ``share`` its mean number of passes as a
    share of the lawn's; ``largest`` the size of its largest piece and ``place`` a point in that.
    """

    cut: str
    area: MultiPolygon
    share: float
    largest_m2: float
    place: Point


@dataclass(frozen=True)
class Homing:
    """Journeys home of all runs together. Times in minutes from turning for home.

    ``late_share`` of them took longer than the battery lasted; ``by_line_share`` met a return line
    first.
    """

    journeys: int
    median_min: float
    p95_min: float
    worst_min: float
    reserve_min: float
    late_share: float
    by_line_share: float


@dataclass(frozen=True)
class Departure:
    """Where the machine leaves for the lawn, and how often.

    ``line_number`` is 0 where it starts right in front of the station.
    """

    line_number: int
    start_distance_m: float
    share: float


@dataclass(frozen=True)
class Departures:
    """The departures to set, and how unevenly the lawn is cut with them and with equal shares.

    ``unevenness`` and ``equal_unevenness`` are the relative standard deviation of passes over
    patches of the lawn, both from runs that had no part in the choice.
    """

    chosen: tuple[Departure, ...]
    unevenness: float
    equal_unevenness: float


@dataclass(frozen=True)
class LoopSimulation:
    """One loop, simulated.

    ``lawn_m2`` is what the machine is to mow, ``reached_m2`` what of it the blades can reach.
    """

    loop: int
    lawn_m2: float
    reached_m2: float
    days: tuple[CoverageDay, ...]
    classes: tuple[CoverageClass, ...]
    homing: Homing
    departures: Departures
    slips: int
    """Ways taken back because of rounding at a corner: of some hundred thousand, one or two."""


@dataclass(frozen=True)
class MachineFit:
    """A machine class held against the plan.

    ``fits`` is None where the plan does not tell. ``hours_per_day`` are those with charging on
    each day that it may work, so that the lawn is cut as often as the programme asks; NaN where
    that cannot be told.
    """

    machine_class: str
    fits: bool | None
    reasons: str
    hours_per_day: float


@dataclass(frozen=True)
class Simulation:
    """A plan, simulated. ``record`` are key and value for ``run_info``."""

    loops: tuple[LoopSimulation, ...]
    fits: tuple[MachineFit, ...]
    findings: tuple[Finding, ...]
    record: tuple[tuple[str, str], ...]
