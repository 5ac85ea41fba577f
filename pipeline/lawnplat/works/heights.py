"""The cutting height from the first day on: down to the target, a share of the leaf at a time."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from lawnplat.settings.types import MachineClass, ProgrammeRules
from lawnplat.works.types import HeightStep

_ROUNDING = 1e-9


@dataclass(frozen=True)
class Pace:
    """What the stepping down is reckoned with: for each the worst of the months with mowing.

    ``pass_days`` is how long the machine takes to cut the whole lawn once when it works all hours
    allowed, ``pass_growth_mm`` how much the leaf grows meanwhile; ``slowest_mm_day`` is leaf growth
    in the slowest month.
    """

    pass_days: int
    pass_growth_mm: float
    slowest_mm_day: float


def target_height_mm(machine: MachineClass, rules: ProgrammeRules) -> float:
    """Return the rules' target height, or the nearest that the machine cuts at."""
    highest = max(rules.target_height_mm, machine.cutting_lowest_mm)
    return min(highest, machine.cutting_highest_mm)


def share_words(rules: ProgrammeRules) -> str:
    """Return the largest share of the leaf that a cut takes, in words."""
    share = rules.largest_cut_share
    return "a third" if round(3 * share, 3) == 1 else f"{100 * share:.0f} %"


def height_steps(
    machine: MachineClass, rules: ProgrammeRules, pace: Pace
) -> tuple[HeightStep, ...]:
    """Return the cutting heights by day, from the first day on.

    Before a step the tallest leaf is the old height and what grew in one pass over the lawn; a step
    takes at most ``largest_cut_share`` of it. The next step waits until the
    leaf has put on again what the last one took, in the slowest month.

    Returns
    -------
    tuple of HeightStep
        From high to low, days from 1; the last is the target, or the lowest that the growth lets
        the machine reach.
    """
    target = target_height_mm(machine, rules)
    present = rules.present_height_mm
    height = _first_height(target, machine, rules)
    steps = [HeightStep(1, height, _first_note(height, present, machine, rules))]
    day = 1 + max(rules.highest_for_days, pace.pass_days)
    while (lower := _lower(height, target, rules, pace)) < height - _ROUNDING:
        taken_mm = height + pace.pass_growth_mm - lower
        note = _step_note(taken_mm, height - lower, lower, target)
        steps.append(HeightStep(day, lower, note))
        day += max(pace.pass_days, ceil((height - lower) / pace.slowest_mm_day - _ROUNDING))
        height = lower
    if height > target + _ROUNDING:
        share = share_words(rules)
        told = f"the target of {target:g} mm would take more than {share} of the leaf at each cut"
        steps[-1] = HeightStep(steps[-1].day, height, f"{steps[-1].note}; {told}")
    return tuple(steps)


def _first_height(target: float, machine: MachineClass, rules: ProgrammeRules) -> float:
    """Return the height to begin at: the highest; where the grass was measured, the nearest to it.

    Grass shorter than the target is left to grow up to it.
    """
    if rules.present_height_mm <= 0.0:
        return machine.cutting_highest_mm
    return min(max(rules.present_height_mm, target), machine.cutting_highest_mm)


def _first_note(height: float, present: float, machine: MachineClass, rules: ProgrammeRules) -> str:
    longest_mm = height / (1.0 - rules.largest_cut_share)
    by_hand = (
        "cut it first with a mower led by hand, never more than "
        f"{share_words(rules)} of the leaf at a time"
    )
    if present <= 0.0:
        return f"the highest; where the grass stands over {longest_mm:.0f} mm, {by_hand}"
    if present > longest_mm + _ROUNDING:
        return f"the grass stands at {present:g} mm, over {longest_mm:.0f} mm: {by_hand}"
    if height < machine.cutting_highest_mm:
        return f"nearest to the {max(present, height):g} mm that the grass stands at"
    return "the highest"


def _lower(height: float, target: float, rules: ProgrammeRules, pace: Pace) -> float:
    """Return the next height, whole millimetres where it is not the target."""
    leaf_mm = height + pace.pass_growth_mm
    least_mm = (1.0 - rules.largest_cut_share) * leaf_mm
    wanted = max(height - rules.height_step_mm, target)
    return wanted if wanted >= least_mm - _ROUNDING else min(height, float(ceil(least_mm)))


def _step_note(taken_mm: float, step_mm: float, lower: float, target: float) -> str:
    leaf_mm = lower + taken_mm
    told = f"{step_mm:g} mm lower; at most {taken_mm:.0f} of {leaf_mm:.0f} mm of leaf"
    return f"{told}; the target" if lower <= target + _ROUNDING else told
