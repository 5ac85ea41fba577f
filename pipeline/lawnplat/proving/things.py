"""What stands on and round the property, with what the rule book says about each thing."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from shapely.geometry.base import BaseGeometry

from lawnplat.proving.recorded import RecordedPlan
from lawnplat.settings.types import RuleBook, Treatment
from lawnplat.survey.types import Site

FEATURE_LAYERS = ("feature_areas", "feature_lines", "feature_points")
OUTLET = "power_outlet"
CROSSING = "crossing"


@dataclass(frozen=True)
class Thing:
    """One surveyed thing under its rule. Geometry in the plan's CRS, metres."""

    kind: str
    geometry: BaseGeometry
    source: str
    setback_m: float
    """Its own setback where the survey gave one, else its kind's."""
    treatment: Treatment
    grass: bool
    barrier: bool
    crossed: bool
    """Whether the wires of a crossing run over it."""

    @property
    def is_wired(self) -> bool:
        """Return whether the wire keeps this thing outside."""
        return self.treatment in (Treatment.KEEP_OFF, Treatment.FLUSH)

    @property
    def words(self) -> str:
        """Return the kind in plain words: ``flower bed``."""
        return self.kind.replace("_", " ")


def surveyed(site: Site, rules: RuleBook) -> tuple[Thing, ...]:
    """Return the survey's things; kinds that the rule book does not know are left out."""
    rows = (
        (each.kind, each.geometry, each.source, each.setback_m) for each in site.features
    )
    return tuple(_under_rules(rows, rules))


def drawn(plan: RecordedPlan, rules: RuleBook) -> tuple[Thing, ...]:
    """Return the things of the plan's own layers; kinds unknown to the rule book are left out."""
    rows = (
        (row.text("kind"), row.geometry, row.text("source"), row.number("setback_m"))
        for layer in FEATURE_LAYERS
        for row in plan.rows(layer)
        if row.geometry is not None and not row.geometry.is_empty
    )
    return tuple(_under_rules(rows, rules))


def _under_rules(
    rows: Iterable[tuple[str, BaseGeometry, str, float | None]], rules: RuleBook
) -> Iterator[Thing]:
    for kind, geometry, source, own_m in rows:
        rule = rules.kinds.get(kind)
        if rule is None:
            continue
        setback_m = rule.setback_m if own_m is None or math.isnan(own_m) else own_m
        yield Thing(
            kind, geometry, source, setback_m, rule.treatment, rule.grass, rule.barrier,
            rule.crossed,
        )
