"""What the simulation says to set on the machine, and how it finds home."""

from __future__ import annotations

from collections.abc import Iterator

from lawnplat.deliver.site_sheet.markup import Html, element, section, table
from lawnplat.proving.simulation.types import LoopSimulation, Simulation


def simulation_section(simulation: Simulation) -> Html:
    """Return departures and the journey home of each loop as tables."""
    leave = table(
        "Leave for the lawn",
        ("Loop", "Return line", "Start distance", "Share"),
        (row for loop in simulation.loops for row in _departures(loop)),
        right=(2, 3),
    )
    home = table(
        "Home and coverage, simulated",
        ("Loop", "Home in, half", "95 %", "Battery reserve", "Too late", "Lawn cut in the time"),
        map(_home, simulation.loops),
        right=(1, 2, 3, 4, 5),
    )
    facts = dict(simulation.record)
    words = (
        f"{facts['simulation_runs']} simulated runs of {facts['simulation_days']} days "
        f"({facts['simulation_programme']}), seed {facts['simulation_seed']}; the machine drives "
        "straight and turns at random. Set what the machine offers, and watch its first journeys "
        "home: grass, slopes and the machine itself differ from the simulation."
    )
    return section("Simulated work", leave, home, element("p", words))


def _departures(loop: LoopSimulation) -> Iterator[tuple[str, ...]]:
    for each in loop.departures.chosen:
        line = f"{each.line_number}" if each.line_number else "none: from the station"
        yield f"{loop.loop}", line, f"{each.start_distance_m:.1f} m", f"{each.share:.0%}"


def _home(loop: LoopSimulation) -> tuple[str, ...]:
    home = loop.homing
    return (
        f"{loop.loop}",
        f"{home.median_min:.1f} min",
        f"{home.p95_min:.1f} min",
        f"{home.reserve_min:.0f} min",
        f"{home.late_share:.1%}",
        f"{loop.days[-1].so_far.mean:.1%}",
    )
