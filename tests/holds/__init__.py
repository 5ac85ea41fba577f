"""A second opinion on a finished plan: what the contract promises, checked on the written file.

Nothing here is shared with the planner but the rule book and the machine class, which are data.
`breaches` returns every promise that a plan breaks; `assert_plan_holds` raises with all of them.
"""

from holds.all_checks import (
    assert_plan_holds,
    breaches,
    breaches_seen_here,
    cheap_breaches,
)
from holds.given import Given, Thing
from holds.plan_file import PlanFile, read_plan
from holds.refusal import false_refusal, has_room_for_station

__all__ = [
    "Given",
    "PlanFile",
    "Thing",
    "assert_plan_holds",
    "breaches",
    "breaches_seen_here",
    "cheap_breaches",
    "false_refusal",
    "has_room_for_station",
    "read_plan",
]
