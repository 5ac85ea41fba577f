"""Plan one drawn property, write it, and hold the written file against the contract."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from holds import Given, PlanFile, Thing, breaches, false_refusal, read_plan
from lawnplat.deliver.gpkg import write_plan
from lawnplat.plan import plan_site
from lawnplat.planned import Plan
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.reader import ElevationRaster

RULES = load_rule_book()
E, N = 500_000.0, 5_400_000.0
CRS = "EPSG:25832"


def moved(shape: BaseGeometry) -> BaseGeometry:
    """Return a shape drawn about (0, 0) where maps are."""
    return shapely.affinity.translate(shape, E, N)


def thing(kind: str, shape: BaseGeometry, setback_m: float | None = None) -> Thing:
    return Thing(kind, moved(shape), setback_m)


def site_of(
    parcel: Polygon,
    things: Sequence[Thing],
    *,
    lawns: Sequence[Polygon] = (),
    spot_heights: np.ndarray | None = None,
    crs: str = CRS,
    name: str = "drawn",
) -> Site:
    features = tuple(
        Feature(each.kind, each.geometry, f"feature {place}", setback_m=each.setback_m)
        for place, each in enumerate(things)
    )
    heights = np.empty((0, 3)) if spot_heights is None else spot_heights
    return Site(name, "", crs, parcel, lawns=tuple(lawns), features=features, spot_heights=heights)


def planned(
    site: Site,
    folder: Path,
    *,
    machine: str = "medium",
    elevation: ElevationRaster | None = None,
    plane: tuple[float, float] | None = None,
) -> tuple[Plan, PlanFile, list[str]]:
    """Return the plan, the file as read back, and what it breaks."""
    klass = load_machine(machine)
    plan = plan_site(
        site,
        machine=klass,
        rules=RULES,
        elevation=elevation,
        inputs=(("input drawn", "by a test"),),
    )
    write_plan(plan, folder)
    file = read_plan(folder / "plan.gpkg")
    given = Given(
        RULES,
        klass,
        tuple(Thing(each.kind, each.geometry, each.setback_m) for each in site.features),
        str(plan.status),
        plane,
        derived_lawn=not site.lawns,
        site=plan.site,
        terrain=plan.terrain,
    )
    found = breaches(file, given)
    if not file.laid:
        wrong = false_refusal(file, given)
        found += [f"refusal: {wrong}"] if wrong else []
    return plan, file, found
