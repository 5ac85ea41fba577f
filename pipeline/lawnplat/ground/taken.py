"""What takes lawn, cause by cause, and the ground that the machine reaches in what is left."""

from __future__ import annotations

from dataclasses import dataclass, replace

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, polygons, union
from lawnplat.ground.cross_fall import CROSS_FALL, Slopes, cut_for_fall, may_slide
from lawnplat.ground.crossings import strips
from lawnplat.ground.firm import split_firm
from lawnplat.ground.nearby import reshaped
from lawnplat.ground.setbacks import (
    feature_causes,
    is_wired,
    open_edge_cause,
    steep_cause,
    steep_ground,
)
from lawnplat.ground.shape import shaped
from lawnplat.ground.types import Cause
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.types import Terrain

_MOUTH_M = 0.05
_ROUNDS = 3
"""How often a tree that the drawn-in rim touches is wired and the rim drawn anew."""


@dataclass(frozen=True)
class Taken:
    """The causes in the order in which they take lawn, and what they leave.

    ``reach`` is what of ``left`` the machine can drive to; ``firm`` are the obstacles inside it
    that need no wire.
    """

    causes: tuple[Cause, ...]
    left: BaseGeometry
    reach: BaseGeometry
    firm: tuple[Feature, ...]


def taken_from(
    lawn: MultiPolygon, site: Site, terrain: Terrain, machine: MachineClass, rules: RuleBook
) -> Taken:
    """Return what setbacks, steep ground and falls over the rim take of ``lawn``."""
    wired = [feature for feature in site.features if is_wired(feature, rules)]
    edge = open_edge_cause(lawn, site.features, rules)
    others = [cause for cause in (edge, steep_cause(terrain)) if cause is not None]
    taken = _less(lawn, [*feature_causes(wired, rules), *others], machine, rules)
    firm = split_firm(taken.reach, site.features, rules)
    if firm.wired:
        wired = [*wired, *firm.wired]
        taken = _less(lawn, [*feature_causes(wired, rules), *others], machine, rules)
    taken = replace(taken, firm=firm.inside)
    if not may_slide(terrain, machine):
        return taken
    for _ in range(_ROUNDS):
        drawn = _drawn_in(taken, site, terrain, machine, rules)
        firm = split_firm(drawn.reach, taken.firm, rules)
        if not firm.wired:
            return replace(drawn, firm=firm.inside)
        # The new rim runs by a tree: it is wired like any obstacle, and the rim looked at again.
        wired = [*wired, *firm.wired]
        inside = tuple(feature for feature in taken.firm if feature not in firm.wired)
        causes = [*feature_causes(wired, rules), *others]
        taken = replace(_less(lawn, causes, machine, rules), firm=inside)
    return taken


def _less(
    lawn: MultiPolygon, causes: list[Cause], machine: MachineClass, rules: RuleBook
) -> Taken:
    left = shapely.difference(lawn, union(cause.reach for cause in causes))
    return Taken(tuple(causes), left, shaped(left, machine, rules), ())


def _drawn_in(
    taken: Taken, site: Site, terrain: Terrain, machine: MachineClass, rules: RuleBook
) -> Taken:
    """Return ``taken`` with the rim drawn in where the ground falls away outside it."""
    smallest_m2 = rules.ground.smallest_part_m2
    lawns = [part for part in polygons(taken.reach) if part.area >= smallest_m2]
    found, _ = strips(lawns, site, steep_ground(terrain), machine, rules)
    mouths = [grow(strip.area, _MOUTH_M) for strip in found]
    cut = cut_for_fall(MultiPolygon(lawns), Slopes(terrain, machine, rules, union(mouths)))
    if cut.is_empty:
        return taken
    cause = Cause(CROSS_FALL, 0.0, cut, cut)
    left = shapely.difference(taken.left, cut)
    reach = reshaped(
        taken.reach, cut, lambda window: shapely.intersection(left, window), machine, rules
    )
    return Taken((*taken.causes, cause), left, reach, taken.firm)
