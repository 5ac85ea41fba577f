"""The program's own proof of a written plan: sound plans are not accused by it."""

from __future__ import annotations

from collections.abc import Iterator

from holds.given import Given
from holds.plan_file import PlanFile
from lawnplat.deliver.recorded import read_recorded
from lawnplat.proving.check import check_plan
from lawnplat.proving.evidence import Evidence


def accusations(plan: PlanFile, given: Given) -> Iterator[str]:
    """Yield what `lawnplat check` finds broken in the plan's file."""
    if not plan.path.is_file():
        return
    recorded = read_recorded(plan.path)
    evidence = Evidence(
        recorded, given.rules, given.machine, site=given.site, terrain=given.terrain
    )
    for each in check_plan(evidence):
        if each.severity != "note":
            spot = "" if each.place is None else f" at {each.place.x:.2f} {each.place.y:.2f}"
            yield f"proof: {each.rule} ({each.severity}){spot}: {each.text}"
