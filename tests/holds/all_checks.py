"""Every check in one list, and the function that the tests call."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from holds import ground, loops, route, setting_out, wire, works
from holds.given import Case, Given, case_of
from holds.plan_file import FEATURES, PlanFile, read_plan
from holds.proof import accusations

Check = Callable[[Case], Iterator[str]]

OF_EVERY_FILE: tuple[Check, ...] = (
    works.layers,
    works.run_info,
    works.status,
    ground.valid,
    ground.areas,
    ground.lawn_tiles,
    ground.zones_tile,
    ground.lawn_is_grass,
    ground.hand_trim,
    ground.mowable,
    ground.passages,
    loops.loops_apart,
    loops.loops_fit,
    works.peg_numbers,
    works.materials,
    setting_out.bare_marks,
)
OF_A_LAID_WIRE: tuple[Check, ...] = (
    wire.conductor,
    wire.setbacks,
    wire.open_edges,
    wire.on_the_property,
    wire.sections,
    wire.measured_setbacks,
    wire.pairs,
    wire.island_sections,
    wire.cross_fall_on_a_plane,
    ground.enclosure,
    ground.keep_off_not_mown,
    route.station,
    route.station_is_told,
    route.front_is_clear,
    route.options,
    route.return_lines,
    route.joints,
    route.parking_test,
    works.pegs,
    setting_out.setting_out,
)
CHEAP: tuple[Check, ...] = (
    wire.conductor,
    wire.setbacks,
    wire.sections,
    ground.enclosure,
    route.return_lines,
    route.front_is_clear,
    works.pegs,
)
"""Those that find most, for runs over hundreds of plans."""
CHEAP_LAYERS = (
    "parcel", *FEATURES, "mowable", "station", "perimeter_wire", "wire_sections", "return_lines",
    "pegs", "advisories", "keep_out", "passages",
)  # fmt: skip


def breaches(plan: PlanFile, given: Given) -> list[str]:
    """Return every promise that the plan breaks, each beginning with the name of its check.

    What the program's own proof accuses the file of counts too.
    """
    missing = list(works.layers(case_of(plan, given)))
    return missing or [*breaches_seen_here(plan, given), *accusations(plan, given)]


def breaches_seen_here(plan: PlanFile, given: Given) -> list[str]:
    """Return the same of a plan as it is in memory, without the program's own proof of its file."""
    case = case_of(plan, given)
    missing = list(works.layers(case))
    if missing:
        return missing
    of_file = [said for check in OF_EVERY_FILE for said in check(case)]
    return [*of_file, *_on_each_loop(case, OF_A_LAID_WIRE)]


def _on_each_loop(case: Case, checks: tuple[Check, ...]) -> list[str]:
    loops = [replace(case, plan=case.plan.of_loop(number)) for number in case.plan.loops]
    return [said for loop in loops for check in checks for said in check(loop)]


def cheap_breaches(path: Path, given: Given) -> list[str]:
    """Return what the cheap checks find, reading only the layers that they need."""
    case = case_of(read_plan(path, CHEAP_LAYERS), given)
    if not case.plan.laid:
        return [] if "stop" in set(case.plan["advisories"]["severity"]) else ["status: no wire"]
    return _on_each_loop(case, CHEAP)


def assert_plan_holds(path: Path, given: Given) -> None:
    """Raise with everything that the plan breaks."""
    found = breaches(read_plan(path), given)
    assert not found, f"{path.parent.name}:\n  " + "\n  ".join(found)
