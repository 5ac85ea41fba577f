"""What a written plan is held against."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.loop import Loop, loop_of
from lawnplat.proving.open_rim import open_rim_of
from lawnplat.proving.recorded import RecordedPlan, union
from lawnplat.proving.things import Thing, drawn, surveyed
from lawnplat.settings.types import MachineClass, PriceBook, RuleBook, Treatment
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

    @cached_property
    def things(self) -> tuple[Thing, ...]:
        """Return the surveyed things, from the survey where it is at hand, else from the plan."""
        if self.site is not None:
            return surveyed(self.site, self.rules)
        return drawn(self.plan, self.rules)

    @cached_property
    def loops(self) -> tuple[Loop, ...]:
        """Return the loops that are laid, in order; none where the plan lays no wire."""
        return tuple(loop_of(self.plan, number) for number in self.plan.loops)

    @cached_property
    def parcel(self) -> BaseGeometry:
        """Return the property, from the survey where it is at hand."""
        return self.site.parcel if self.site is not None else self.plan.union("parcel")

    @cached_property
    def lawn(self) -> BaseGeometry:
        """Return the lawn as the plan has it."""
        return self.plan.union("lawn")

    @cached_property
    def open_rim(self) -> BaseGeometry:
        """Return the edges of the lawn beyond which nothing is known."""
        return open_rim_of(self.lawn, self.things, self.rules)

    @cached_property
    def mowable(self) -> BaseGeometry:
        """Return all that is mown, of every loop."""
        return self.plan.union("mowable")

    @cached_property
    def firm(self) -> BaseGeometry:
        """Return the solid things that need no wire."""
        return union(each.geometry for each in self.things if each.treatment is Treatment.FIRM)

    def anywhere(self) -> shapely.Point:
        """Return a point on the property, for what has no place of its own."""
        for area in (self.parcel, self.lawn):
            if not area.is_empty:
                return shapely.point_on_surface(area)
        return shapely.Point(0.0, 0.0)
