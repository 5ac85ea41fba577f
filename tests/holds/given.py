"""What a plan is held against: the survey's features and the settings in force."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from holds.plan_file import PlanFile, union
from lawnplat.settings.types import MachineClass, RuleBook, Treatment
from lawnplat.survey.types import Site
from lawnplat.terrain.types import Terrain

MM = 1e-3
CM = 1e-2
ARC_M = 2 * MM
"""Arcs are drawn as chords: the wire may come this much nearer than the rule says. A chord over a
sixteenth of a quarter circle of 1 m leaves it by 1.2 mm, and the opening adds as much again at
0.35 m (0.4 mm)."""


@dataclass(frozen=True)
class Thing:
    """One surveyed feature, in the plan's CRS."""

    kind: str
    geometry: BaseGeometry
    setback_m: float | None = None


@dataclass(frozen=True)
class Given:
    """The rules that a plan is held against; ``things`` None takes the plan's feature layers.

    ``plane`` is the gradient (east, north) of the ground where it is one plane, so that gradients
    can be worked out by hand. ``derived_lawn`` says that the survey gave no lawns. ``site`` and
    ``terrain`` are what the program's own proof is given besides the file; nothing else reads them.
    """

    rules: RuleBook
    machine: MachineClass
    things: Sequence[Thing] | None = None
    status: str | None = None
    plane: tuple[float, float] | None = None
    derived_lawn: bool = False
    site: Site | None = None
    terrain: Terrain | None = None


@dataclass(frozen=True)
class Case:
    """A plan, its rules and its features, ready to be checked."""

    plan: PlanFile
    given: Given
    things: tuple[Thing, ...]

    @property
    def rules(self) -> RuleBook:
        return self.given.rules

    def treatment(self, thing: Thing) -> Treatment:
        return self.rules.kinds[thing.kind].treatment

    def setback_m(self, thing: Thing) -> float:
        own = thing.setback_m
        return self.rules.kinds[thing.kind].setback_m if own is None else own

    def of(self, *treatments: Treatment) -> list[Thing]:
        return [thing for thing in self.things if self.treatment(thing) in treatments]

    def grouped(
        self, *treatments: Treatment
    ) -> Iterator[tuple[str, float, list[Thing], BaseGeometry]]:
        """Yield kind, setback, things and their union for each kind and setback."""
        groups: dict[tuple[str, float], list[Thing]] = defaultdict(list)
        for thing in self.of(*treatments):
            groups[thing.kind, self.setback_m(thing)].append(thing)
        for (kind, setback_m), things in sorted(groups.items()):
            yield kind, setback_m, things, union(thing.geometry for thing in things)

    @property
    def crossings(self) -> list[Thing]:
        return [thing for thing in self.things if thing.kind == "crossing"]

    def bare(self) -> BaseGeometry:
        """Return all footprints that are no grass.

        A crossing over a surveyed lawn is a right of way. So it is where it sticks out of a path on
        one side: there its rim meets the path along one open line.
        """
        kinds = self.rules.kinds
        bare = [t for t in self.things if not kinds[t.kind].grass and t.kind != "crossing"]
        found = [t.geometry for t in bare]
        if not self.given.derived_lawn:
            return union(found)
        paths = [t for t in self.things if kinds[t.kind].crossed and t.kind != "crossing"]
        ways = union(t.geometry for t in paths)
        for crossing in self.crossings:
            for part in shapely.get_parts(shapely.difference(crossing.geometry, ways)):
                met = shapely.line_merge(shapely.intersection(part.exterior, ways.buffer(CM)))
                if met.geom_type != "LineString" or met.is_empty or met.is_closed:
                    found.append(part)
        return union(found)

    @property
    def firm(self) -> BaseGeometry:
        return union(thing.geometry for thing in self.of(Treatment.FIRM))

    def strips(self) -> BaseGeometry:
        """Return ground inside the wire by a crossing that is neither mown nor firm."""
        if not self.crossings or not self.plan.laid:
            return Polygon()
        reach = union(thing.geometry for thing in self.crossings).buffer(self.crossing_reach_m)
        mown = self.plan.all_of("mowable").buffer(2 * MM)
        left = shapely.intersection(shapely.difference(self.plan.enclosed, mown), reach)
        # A wire pair to a carried lawn may run there too: it is no strip.
        wide = left.buffer(-5 * CM, join_style="mitre").buffer(5 * CM, join_style="mitre")
        # Where a mouth's corner, rounded by 0.3 m, runs out tangentially into the rim it is thinner
        # than those 10 cm over the last sqrt(2 * 0.3 * 0.1) = 0.245 m, but hangs on the strip.
        return shapely.intersection(left, wide.buffer(25 * CM)) if not wide.is_empty else wide

    @property
    def crossing_reach_m(self) -> float:
        """A strip is prolonged over the setbacks of what it crosses: at most twice the widest."""
        return 2 * max(rule.setback_m for rule in self.rules.kinds.values()) + 0.3

    def carried_leads(self) -> BaseGeometry:
        """Return the wire pairs that run outside the lawn, to lawns the machine is carried to."""
        inside = shapely.union(self.plan.all_of("mowable"), self.firm).buffer(2 * MM)
        inside = shapely.union(inside, self.strips())
        return shapely.difference(union(self.plan.leads().geometry), inside)


def case_of(plan: PlanFile, given: Given) -> Case:
    if given.things is not None:
        return Case(plan, given, tuple(given.things))
    frame = plan.features
    own = [None if np.isnan(value) else float(value) for value in frame["setback_m"].astype(float)]
    rows = zip(frame["kind"], frame.geometry, own, strict=True)
    return Case(plan, given, tuple(Thing(*row) for row in rows))
