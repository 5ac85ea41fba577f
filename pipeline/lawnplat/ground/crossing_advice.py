"""What is said of a crossing that is not wired, and what stands in its way."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow
from lawnplat.ground.setbacks import setback_of
from lawnplat.settings.types import MachineClass, RuleBook, Treatment
from lawnplat.survey.types import Feature, Finding

_KEPT_CLEAR = (Treatment.KEEP_OFF, Treatment.FLUSH, Treatment.FIRM)


@dataclass(frozen=True)
class Obstacle:
    """A thing that a crossing keeps clear of, with the setback that it takes."""

    feature: Feature
    setback_m: float
    reach: BaseGeometry


def kept_clear(features: Iterable[Feature], rules: RuleBook) -> list[Obstacle]:
    """Return the things that wire, or the machine by a firm obstacle, keeps off."""
    found = []
    for feature in features:
        if rules.kinds[feature.kind].treatment in _KEPT_CLEAR:
            setback_m = setback_of(feature, rules)
            found.append(Obstacle(feature, setback_m, grow(feature.geometry, setback_m)))
    return found


def blocked(
    crossing: Feature, way: BaseGeometry, obstacles: Sequence[Obstacle], machine: MachineClass
) -> Finding:
    """Return the advisory of a crossing whose ``way`` is not left clear by ``obstacles``."""
    taken = [shapely.intersection(each.reach, way).area for each in obstacles]
    order = sorted(range(len(taken)), key=lambda number: (-taken[number], number))
    first = obstacles[order[0]]
    kind = first.feature.kind.replace("_", " ")
    others = sum(share > 0 for share in taken) - 1
    also = f" and {others} more" if others > 0 else ""
    return Finding(
        rule="crossing",
        severity="warn",
        text=(
            f"the {kind} ({first.feature.source}){also} blocks this crossing: kept "
            f"{first.setback_m:.2f} m off, less than {machine.smallest_passage_m:.2f} m are clear "
            "from lawn to lawn. The crossing is left out: survey it elsewhere, or clear the way"
        ),
        where=crossing.source,
        place=shapely.point_on_surface(shapely.intersection(first.reach, way)),
        limit=machine.smallest_passage_m,
    )


def useless(crossing: Feature, machine: MachineClass) -> Finding:
    """Return the advisory of a crossing that would lead nowhere with nothing in its way too."""
    return Finding(
        rule="crossing",
        severity="warn",
        text=(
            "this crossing joins no two lawns that the machine can mow, or is narrower than "
            f"{machine.smallest_passage_m:.2f} m; it is left out"
        ),
        where=crossing.source,
        place=shapely.point_on_surface(crossing.geometry),
        limit=machine.smallest_passage_m,
    )
