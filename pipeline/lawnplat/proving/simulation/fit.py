"""Every machine class held against a plan, and the hours that it would need."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely

from lawnplat.proving.checks.slopes import clearly_steeper
from lawnplat.proving.recorded import RecordedPlan, union
from lawnplat.proving.simulation.departures import equal_departures
from lawnplat.proving.simulation.drive_kernel import ENOUGH_S
from lawnplat.proving.simulation.programme import Asked
from lawnplat.proving.simulation.runs import run_all
from lawnplat.proving.simulation.types import MachineFit
from lawnplat.proving.simulation.ways import marks_of, pace_of, ways_of
from lawnplat.proving.simulation.world import world_of
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.terrain.types import Terrain

_FIT = 3
"""A stream of its own."""
_LONGEST_S = 60 * 86_400.0
"""A machine that takes longer for one cut is no machine for the lawn."""
_LEAST_M2 = 1.0
"""Less steep ground than this is a bump in the raster, no reason."""
_NOT_KNOWN = "the plan does not tell"


def fit_of(
    plan: RecordedPlan,
    machine: MachineClass,
    rules: RuleBook,
    asked: Asked,
    *,
    seed: int,
    terrain: Terrain | None = None,
) -> MachineFit:
    """Return how a class fits a plan as it is; one of its own may suit it better.

    Slopes of the lawn are those of ``terrain``. Without it they are known by the plan's zones,
    which are drawn for one class: for another's limit the plan then may not tell.

    The hours are those of the loop that takes longest: until `enough_share` of its lawn is cut,
    charging included, times the cuts a week that the programme asks for, on its working days.
    """
    hours = _hours_a_day(plan, machine, rules, asked, seed)
    against = [*_against(plan, machine, rules), *_too_steep(plan, machine, terrain)]
    if hours > asked.allowed_h:
        against.append(f"needs {hours:.1f} h a day, {asked.allowed_h:.1f} h are allowed")
    if math.isnan(hours):
        against.append("cannot mow the lawn from its station")
    unknown = [*_not_told(plan, machine)] if terrain is None else []
    fits = None if unknown and not against else not against
    return MachineFit(machine.name, fits, "; ".join([*against, *unknown]), hours)


def _hours_a_day(
    plan: RecordedPlan, machine: MachineClass, rules: RuleBook, asked: Asked, seed: int
) -> float:
    hours = [
        _hours_a_cut(plan.of_loop(loop), machine, rules, (seed, _FIT, loop)) for loop in plan.loops
    ]
    return max(hours, default=math.nan) * asked.cuts_a_week / asked.working_days


def _hours_a_cut(
    plan: RecordedPlan, machine: MachineClass, rules: RuleBook, seed: tuple[int, ...]
) -> float:
    world = world_of(plan, machine, rules)
    if world is None or world.lawn.is_empty:
        return math.nan
    departures = equal_departures(world)
    points = marks_of(world, machine, rules)
    runs = run_all(
        ways_of(world, departures, rules),
        pace_of(machine, rules),
        np.array([each.share for each in departures]),
        np.array([_LONGEST_S]),
        points,
        seed=seed,
        runs=rules.simulation.fit_runs,
        enough=math.ceil(rules.simulation.enough_share * int(points.mown.sum())),
    )
    taken_s = runs.sums[:, ENOUGH_S]
    return float(taken_s.mean()) / 3600.0 if (taken_s >= 0).all() else math.nan


def _against(plan: RecordedPlan, machine: MachineClass, rules: RuleBook) -> Iterator[str]:
    """Yield what in the plan's layers speaks against a class."""
    mown_m2 = max((_mown_m2(plan.of_loop(loop)) for loop in plan.loops), default=0.0)
    if mown_m2 > machine.capacity_m2:
        yield f"mows {machine.capacity_m2:.0f} m2 a day, {mown_m2:.0f} m2 are to be mown"
    longest_m = max((wire.length for wire in plan.shapes("perimeter_wire")), default=0.0)
    if longest_m > machine.longest_wire_m:
        yield f"takes {machine.longest_wire_m:.0f} m of wire, {longest_m:.0f} m are planned"
    lines = max((len(plan.of_loop(loop).rows("return_lines")) for loop in plan.loops), default=0)
    if lines > machine.return_lines:
        yield f"takes {machine.return_lines} return line(s), {lines} are planned"
    narrow = [
        row.number("width_m")
        for row in plan.rows("passages")
        if row.text("verdict") != "closed" and row.number("width_m") < machine.smallest_passage_m
    ]
    if narrow:
        needs = f"it needs {machine.smallest_passage_m:.2f} m"
        yield f"a passage is {min(narrow):.2f} m wide, {needs}"
    steepest = _largest(plan, "return_lines", "steepest_pct")
    if steepest > machine.slope_return_pct + rules.return_line.over_limit_pct:
        yield f"comes home on {machine.slope_return_pct:.0f} %, a return line has {steepest:.0f} %"
    fall = _largest(plan, "wire_sections", "cross_fall_pct")
    if fall > machine.slope_edge_pct:
        yield f"holds {machine.slope_edge_pct:.0f} % across an edge, the wire has {fall:.0f} %"


def _too_steep(
    plan: RecordedPlan, machine: MachineClass, terrain: Terrain | None
) -> Iterator[str]:
    """Yield mown ground that is steeper than a class climbs, by heights or by the plan's zones."""
    limit_pct = machine.slope_lawn_pct
    if terrain is None:
        steep_m2 = _zone_m2(plan, lambda low, _high: low >= limit_pct)
    else:
        steep, _ = clearly_steeper(terrain, union(plan.shapes("mowable")), limit_pct)
        steep_m2 = float(steep.sum()) * terrain.grid.cell_m**2
    if steep_m2 > _LEAST_M2:
        yield f"climbs {machine.slope_lawn_pct:.0f} %, {steep_m2:.0f} m2 of the ground are steeper"


def _not_told(plan: RecordedPlan, machine: MachineClass) -> Iterator[str]:
    """Yield what would have to be known besides: slopes within a zone are not told apart."""
    limit = machine.slope_lawn_pct
    within_m2 = _zone_m2(plan, lambda low, high: low < limit < high)
    if within_m2 > _LEAST_M2:
        yield f"{_NOT_KNOWN} how much of {within_m2:.0f} m2 of sloping ground is over {limit:.0f} %"


def _zone_m2(plan: RecordedPlan, wanted: object) -> float:
    mown = union(plan.shapes("mowable"))
    total = 0.0
    for row in plan.rows("slope_zones"):
        low, high = row.number("from_pct"), row.number("to_pct")
        high = math.inf if math.isnan(high) else high
        if row.geometry is not None and callable(wanted) and wanted(low, high):
            total += shapely.intersection(row.geometry, mown).area
    return total


def _mown_m2(plan: RecordedPlan) -> float:
    return sum(row.number("area_m2") for row in plan.rows("mowable"))


def _largest(plan: RecordedPlan, layer: str, column: str) -> float:
    values = [row.number(column) for row in plan.rows(layer)]
    return max((value for value in values if math.isfinite(value)), default=0.0)
