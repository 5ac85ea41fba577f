"""Simulate a written plan."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lawnplat.proving.recorded import RecordedPlan
from lawnplat.proving.simulation.departures import chosen_departures
from lawnplat.proving.simulation.drive_kernel import BY_LINE, BY_NONE, SLIPS, Pace
from lawnplat.proving.simulation.findings import findings_of
from lawnplat.proving.simulation.fit import fit_of
from lawnplat.proving.simulation.patches import classes_of
from lawnplat.proving.simulation.programme import Asked, asked_of
from lawnplat.proving.simulation.runs import Runs, run_all
from lawnplat.proving.simulation.types import (
    CoverageDay,
    Homing,
    LoopSimulation,
    Simulation,
    Spread,
)
from lawnplat.proving.simulation.ways import marks_of, pace_of, ways_of
from lawnplat.proving.simulation.world import world_of
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Finding
from lawnplat.terrain.types import Terrain

FloatArray = NDArray[np.float64]

_DAYS = 4
"""A stream of its own for the runs that are reported."""
_LOW, _HIGH = 5.0, 95.0
_MIN_S = 60.0


def simulate(
    plan: RecordedPlan,
    machine: MachineClass,
    rules: RuleBook,
    classes: Iterable[MachineClass],
    terrain: Terrain | None = None,
) -> Simulation:
    """Return what a machine would do on a plan as written.

    Parameters
    ----------
    plan : RecordedPlan
    machine : MachineClass
        The class that is simulated on every loop.
    rules : RuleBook
        ``rules.simulation`` holds days, runs and seed.
    classes : iterable of MachineClass
        Those to hold against the plan.
    terrain : Terrain, optional
        The ground in the plan's CRS, for slopes that the plan's zones do not tell apart.

    Notes
    -----
    Each loop has a machine of its own; parts to which one is carried are left out. The machine is
    a point that drives straight, turns at random at wires and firm things, and cuts a disc as wide
    as its cutting width. Slope, wet grass, and the time that turning takes are in the class's rate.
    """
    seed = rules.simulation.seed
    asked = asked_of(plan, machine, rules)
    loops: list[LoopSimulation] = []
    findings: list[Finding] = []
    for number in plan.loops:
        found = _loop(plan.of_loop(number), number, machine, rules, asked)
        if found is not None:
            loops.append(found[0])
            findings += found[1]
    held = classes if loops else ()
    fits = tuple(fit_of(plan, each, rules, asked, seed=seed, terrain=terrain) for each in held)
    return Simulation(tuple(loops), fits, tuple(findings), _record(rules, asked, machine))


def with_options(
    rules: RuleBook, *, days: int | None = None, runs: int | None = None, seed: int | None = None
) -> RuleBook:
    """Return the rules with days, runs and seed of the simulation changed where they are given."""
    there = rules.simulation
    changed = replace(
        there,
        days=there.days if days is None else days,
        runs=there.runs if runs is None else runs,
        seed=there.seed if seed is None else seed,
    )
    return replace(rules, simulation=changed)


def _loop(
    plan: RecordedPlan, number: int, machine: MachineClass, rules: RuleBook, asked: Asked
) -> tuple[LoopSimulation, tuple[Finding, ...]] | None:
    world = world_of(plan, machine, rules)
    if world is None or world.lawn.is_empty:
        return None
    simulation, pace = rules.simulation, pace_of(machine, rules)
    points = marks_of(world, machine, rules)
    departures = chosen_departures(world, pace, points, rules, simulation.seed)
    runs = run_all(
        ways_of(world, departures.chosen, rules),
        pace,
        np.array([each.share for each in departures.chosen]),
        asked.windows_s(simulation.days),
        points,
        seed=(simulation.seed, _DAYS, number),
        runs=simulation.runs,
    )
    classes = classes_of(runs.passes, points, world, simulation)
    homing = _homing(runs, pace)
    simulated = LoopSimulation(
        loop=number,
        lawn_m2=world.wanted_m2,
        reached_m2=world.lawn.area,
        days=_days(runs, int(points.mown.sum())),
        classes=classes,
        homing=homing,
        departures=departures,
        slips=int(runs.sums[:, SLIPS].sum()),
    )
    return simulated, tuple(findings_of(world, classes, homing, simulation))


def _days(runs: Runs, count: int) -> tuple[CoverageDay, ...]:
    so_far, that_day = np.cumsum(runs.ever, axis=1) / count, runs.today / count
    return tuple(
        CoverageDay(day + 1, _spread(so_far[:, day]), _spread(that_day[:, day]))
        for day in range(runs.ever.shape[1])
    )


def _spread(values: FloatArray) -> Spread:
    low, high = np.percentile(values, [_LOW, _HIGH])
    return Spread(float(values.mean()), float(low), float(high))


def _homing(runs: Runs, pace: Pace) -> Homing:
    if not len(runs.ends):
        return Homing(0, np.nan, np.nan, np.nan, pace.reserve_s / _MIN_S, 0.0, 0.0)
    median, p95, worst = np.percentile(runs.homes_s / _MIN_S, [50.0, 95.0, 100.0])
    late = (runs.homes_s > runs.left_s) | (runs.ends == BY_NONE)
    return Homing(
        journeys=len(runs.ends),
        median_min=float(median),
        p95_min=float(p95),
        worst_min=float(worst),
        reserve_min=pace.reserve_s / _MIN_S,
        late_share=float(late.mean()),
        by_line_share=float((runs.ends == BY_LINE).mean()),
    )


def _record(rules: RuleBook, asked: Asked, machine: MachineClass) -> tuple[tuple[str, str], ...]:
    simulation = rules.simulation
    return (
        ("simulation_seed", str(simulation.seed)),
        ("simulation_runs", str(simulation.runs)),
        ("simulation_days", str(simulation.days)),
        ("simulation_machine_class", machine.name),
        ("simulation_speed_m_h", f"{pace_of(machine, rules).speed_m_s * 3600:.0f}"),
        ("simulation_programme", f"{asked.hours_a_day:.2f} h on {asked.days_a_week} days a week"),
    )
