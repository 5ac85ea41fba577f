"""Checks of several loops on one property: apart from one another, each within its machine."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import shapely

from holds.given import CM, MM, Case


def loops_apart(case: Case) -> Iterator[str]:
    """No two loops lie nearer to each other than the rule book asks, and no wires cross."""
    plans = {number: case.plan.of_loop(number) for number in case.plan.loops}
    apart_m = case.rules.wire.loops_apart_m
    for one, other in combinations(plans, 2):
        # Chords of arcs (2 mm) and the drawing's tolerance (1 cm) may come nearer.
        near = shapely.distance(plans[one].enclosed, plans[other].enclosed)
        if near < apart_m - CM - 2 * MM:
            yield f"loops: {one} and {other} are {near:.3f} m apart, {apart_m} m wanted"
        lines = plans[other]["return_lines"].geometry
        if any(plans[one].wire.intersects(line) for line in [plans[other].wire, *lines]):
            yield f"loops: wires of {one} and {other} cross"


def loops_fit(case: Case) -> Iterator[str]:
    """Where the lawn is split, each area and its wire are within what one machine takes."""
    if len(case.plan.loops) < 2:
        return
    machine = case.given.machine
    for number in case.plan.loops:
        plan = case.plan.of_loop(number)
        mown_m2 = plan["mowable"]["area_m2"].sum()
        if mown_m2 > machine.capacity_m2:
            yield f"loops: {mown_m2:.0f} m2 in loop {number}, over {machine.capacity_m2:.0f} m2"
        if plan.wire.length > machine.longest_wire_m:
            yield f"loops: {plan.wire.length:.0f} m of wire in loop {number}"
    if "working_areas" not in set(case.plan["advisories"]["rule"]):
        yield "loops: the lawn is split, and no advisory says so"
    if case.plan["keep_out"].query("kind == 'loop_seam'").empty:
        seams = case.plan["wire_sections"]["against"].eq("loop_seam").any()
        if seams:
            yield "loops: wire runs along a seam, and no lawn is given up to it"
