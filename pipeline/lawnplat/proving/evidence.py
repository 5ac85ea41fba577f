"""What a written plan is held against."""

from __future__ import annotations

from dataclasses import dataclass

from lawnplat.proving.recorded import RecordedPlan
from lawnplat.settings.types import MachineClass, PriceBook, RuleBook
from lawnplat.survey.types import Site
from lawnplat.terrain.types import Terrain


@dataclass(frozen=True)
class Evidence:
    """A plan, the rules in force, and what is known of the ground from elsewhere than the plan.

    Attributes
    ----------
    plan : RecordedPlan
    rules : RuleBook
    machine : MachineClass
        The class that the plan says it is for.
    prices : PriceBook or None
        Without one, the quote is held to its own sums alone.
    site : Site or None
        The property as the survey has it, in the plan's CRS. Without one, the surveyed things are
        those of the plan's own layers ``parcel``, ``feature_areas``, ``feature_lines`` and
        ``feature_points``.
    terrain : Terrain or None
        The ground, in the plan's CRS. Without one, nothing that needs heights is measured, and a
        finding of severity ``note`` says so.
    """

    plan: RecordedPlan
    rules: RuleBook
    machine: MachineClass
    prices: PriceBook | None = None
    site: Site | None = None
    terrain: Terrain | None = None
