"""The command that lets a machine work on a written plan, simulated."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from lawnplat.cli.common import (
    debug_option,
    echo_json,
    echo_table,
    json_option,
    machine_option,
    reports_errors,
    rules_option,
)
from lawnplat.errors import SurveyError
from lawnplat.settings.load import load_machine, load_rule_book, shipped_classes

if TYPE_CHECKING:
    from lawnplat.proving.simulation.types import LoopSimulation, MachineFit, Simulation


@click.command()
@click.argument("plan", metavar="PLAN.gpkg", type=click.Path(path_type=Path))
@click.option("--days", type=click.IntRange(1, 366), help="Days to simulate. Default: the rules'.")
@click.option("--runs", type=click.IntRange(1, 10_000), help="Runs. Default: the rules'.")
@click.option("--seed", type=click.IntRange(min=0), help="Same seed, same result.")
@rules_option
@machine_option
@click.option(
    "--out",
    metavar="FILE.gpkg",
    type=click.Path(path_type=Path),
    help="Write coverage, homing, departures and machine_fit as layers.",
)
@json_option
@debug_option
@reports_errors
def simulate(
    *,
    plan: Path,
    days: int | None,
    runs: int | None,
    seed: int | None,
    rules: Path | None,
    machine: str | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """Simulate the machine's work on a written plan: what is cut, and how it finds home.

    PLAN.gpkg is a plan that lawnplat plan wrote. The machine drives straight and turns at random
    at wires and firm things; parts to which it is carried are left out. Without --machine it is of
    the class that the plan names.

    Exit status: 0 done; 2 the call cannot be carried out.
    """
    from lawnplat.deliver.recorded import read_recorded  # noqa: PLC0415 - brings shapely
    from lawnplat.deliver.simulation_file import write_simulation  # noqa: PLC0415
    from lawnplat.proving.simulation.build import simulate as simulated  # noqa: PLC0415 - numba
    from lawnplat.proving.simulation.build import with_options  # noqa: PLC0415

    book = with_options(load_rule_book(rules), days=days, runs=runs, seed=seed)
    recorded = read_recorded(plan)
    if not recorded.rows("perimeter_wire"):
        raise SurveyError(recorded.property_id, "its plan lays no wire", "name a plan with a wire")
    chosen = load_machine(machine or recorded.facts.get("machine_class"))
    result = simulated(recorded, chosen, book, shipped_classes())
    if out is not None:
        write_simulation(result, recorded.property_id, recorded.crs, out)
    if as_json:
        echo_json({"plan": plan, "property_id": recorded.property_id, **_summary(result)})
    else:
        _show(result, out)


def _summary(result: Simulation) -> dict[str, object]:
    return {
        "record": dict(result.record),
        "loops": [_loop_summary(each) for each in result.loops],
        "machine_fit": result.fits,
        "findings": [
            {"rule": each.rule, "severity": each.severity, "text": each.text}
            for each in result.findings
        ],
    }


def _loop_summary(loop: LoopSimulation) -> dict[str, object]:
    return {
        "loop": loop.loop,
        "lawn_m2": loop.lawn_m2,
        "reached_m2": loop.reached_m2,
        "days": loop.days,
        "coverage": [
            {"cut": each.cut, "share": each.share, "area_m2": each.area.area}
            for each in loop.classes
        ],
        "homing": loop.homing,
        "departures": loop.departures,
    }


def _show(result: Simulation, out: Path | None) -> None:
    facts = dict(result.record)
    click.echo(
        f"{facts['simulation_runs']} runs of {facts['simulation_days']} days, seed "
        f"{facts['simulation_seed']}: class {facts['simulation_machine_class']} at "
        f"{facts['simulation_speed_m_h']} m an hour, {facts['simulation_programme']}"
    )
    for loop in result.loops:
        _show_loop(loop)
    if not result.loops:
        click.echo("the plan lays no wire: nothing to simulate")
        return
    click.echo("")
    echo_table(
        ("class", "fits", "hours a day", "reasons"), [_fit_row(each) for each in result.fits]
    )
    for each in result.findings:
        click.echo(f"\n{each.severity}: {each.rule}: {each.text}")
    if out is not None:
        click.echo(f"\nlayers in {out}")


def _show_loop(loop: LoopSimulation) -> None:
    click.echo(f"\nloop {loop.loop}: {loop.reached_m2:.0f} of {loop.lawn_m2:.0f} m2 in reach")
    if not loop.homing.journeys:
        click.echo("the machine does not work on any of these days: give more --days")
        return
    rows = [
        (
            str(day.day),
            f"{day.that_day.mean:.1%}",
            f"{day.so_far.mean:.1%}",
            f"{day.so_far.low:.1%} to {day.so_far.high:.1%}",
        )
        for day in loop.days
        if day.that_day.mean > 0 or day is loop.days[-1]
    ]
    echo_table(("day", "cut that day", "cut so far", "nine runs in ten"), rows)
    for each in loop.classes:
        click.echo(f"{each.cut}: {each.area.area:.0f} m2, {each.share:.2f} of the mean")
    home = loop.homing
    click.echo(
        f"home: half of {home.journeys} journeys in {home.median_min:.1f} min, 95 % in "
        f"{home.p95_min:.1f}, the longest {home.worst_min:.1f}; the reserve is "
        f"{home.reserve_min:.0f} min, {home.late_share:.1%} come too late; "
        f"{home.by_line_share:.0%} by a return line"
    )
    for leave in loop.departures.chosen:
        which = f"line {leave.line_number}" if leave.line_number else "station"
        click.echo(f"leave: {which} at {leave.start_distance_m:.1f} m, {leave.share:.0%}")
    uneven = loop.departures
    click.echo(
        f"unevenness {uneven.unevenness:.3f} (equal shares from mid-line: "
        f"{uneven.equal_unevenness:.3f})"
    )


def _fit_row(each: MachineFit) -> tuple[str, ...]:
    fits = {True: "yes", False: "no", None: "not known"}[each.fits]
    hours = f"{each.hours_per_day:.1f}" if each.hours_per_day == each.hours_per_day else "-"
    return (each.machine_class, fits, hours, each.reasons)
