"""Rules for what is done with a plan once it stands: the wire as laid, the simulated machine."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class TurningLaw(StrEnum):
    """In which direction a machine leaves a wire that it has met, from the wire's normal."""

    COSINE = "cosine"
    """Density cos(angle) / 2: in the long run every place is met as often as every other."""
    UNIFORM = "uniform"
    """Every angle alike: places near the wire are met more often."""


class Side(StrEnum):
    """A side of the machine, for one who looks the way that it drives."""

    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True)
class AsLaidRules:
    """Rules for the wire as it was laid, and for finding a break in it.

    ``accuracy_m`` is the standard deviation of a measured point in each of two axes. A wire strays
    where it lies more than ``stray_m`` and ``stray_sigmas`` standard deviations off its plan.
    """

    accuracy_m: float
    stray_m: float
    stray_sigmas: float
    reach_m: float
    largest_gap_m: float
    last_stretch_m: float
    joint_near_m: float


@dataclass(frozen=True)
class SimulationRules:
    """Rules for the simulated machine, and what its results are held against.

    ``cell_share`` is the side of a raster cell as a share of the cutting width, ``wire_turn_m``
    how far inside the wire the machine's centre is when it turns, ``new_ground_share`` the share
    of cutting width times speed that is new ground. ``reserve_share`` is the share of a run's time
    at which the machine turns for home; for ``lines_first_min`` it then takes return lines alone,
    after that the perimeter too, which it follows with the wire on its ``wire_side``.

    ``starve_share`` and ``seldom_share`` are shares of the lawn's mean number of passes, after
    smoothing over ``smoothing_m``. Equal departures stay unless others make the lawn less unevenly
    cut by ``departure_gain_share``. ``enough_share`` is how much of the lawn has to be cut for it
    to count as cut once. ``late_share`` of the journeys home may outlast the battery.
    """

    days: int
    runs: int
    seed: int
    cell_share: float
    largest_cells: int
    turning_law: TurningLaw
    wire_turn_m: float
    new_ground_share: float
    reserve_share: float
    lines_first_min: float
    wire_side: Side
    departure_spacing_m: float
    departure_step_share: float
    departure_journeys: int
    departure_gain_share: float
    smoothing_m: float
    starve_share: float
    seldom_share: float
    smallest_starved_m2: float
    enough_share: float
    late_share: float
    fit_runs: int
