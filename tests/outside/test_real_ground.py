"""Lots drawn on real ground: the 1 m lidar raster of the PyPI package lidar (EPSG:26915).

The package is found, never imported: importing it wants the network. The lots, houses, beds, ponds
and trees on it are invented, their seeds fixed.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from shapely import Point, affinity, box

from holds import Given, PlanFile, Thing, breaches, false_refusal, read_plan
from lawnplat.deliver.gpkg import write_plan
from lawnplat.plan import plan_site
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.reader import ElevationRaster

CRS = "EPSG:26915"
COUNT = 40
MACHINES = ("medium", "steep", "large", "small")
RULES = load_rule_book()


def raster_path() -> Path:
    found = importlib.util.find_spec("lidar")
    assert found is not None
    assert found.origin is not None
    return Path(found.origin).parent / "data" / "dem.tif"


def lot(seed: int) -> tuple[shapely.Polygon, list[Thing]]:
    """Draw one lot with a house near its middle, an outlet on the wall, and things about it."""
    random = np.random.default_rng(seed)
    with rasterio.open(raster_path()) as raster:
        west, south, east, north = raster.bounds
    wide, deep = random.uniform(18, 45, 2)
    x, y = random.uniform(west + 60, east - 100), random.uniform(south + 60, north - 100)
    parcel = affinity.rotate(box(x, y, x + wide, y + deep), random.uniform(0, 90))
    centre = parcel.centroid
    house = box(centre.x - 5, centre.y - 4, centre.x + 5, centre.y + 4)
    house = affinity.rotate(house, random.uniform(0, 90))
    house = affinity.translate(house, *(random.uniform(-1, 1, 2) * (wide / 6, deep / 6)))
    wall = np.array(house.exterior.coords)[:2].mean(axis=0)
    things = [Thing("building", house), Thing("power_outlet", Point(wall))]
    for kinds, sizes in (
        (["flower_bed", "water", "planter", "rock", "no_mow"], (0.5, 2.0)),
        (["tree"], (0.1, 0.4)),
    ):
        for _ in range(3):
            offset = random.uniform(-0.5, 0.5, 2) * (wide, deep)
            shape = Point(centre.x + offset[0], centre.y + offset[1]).buffer(random.uniform(*sizes))
            if shape.within(parcel) and not shape.intersects(house):
                things.append(Thing(str(random.choice(kinds)), shape))
    return parcel, things


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[str, PlanFile, Given]]:
    return list(_planned(tmp_path_factory.mktemp("ground")))


def _planned(folder: Path) -> Iterator[tuple[str, PlanFile, Given]]:
    with ElevationRaster(raster_path()) as elevation:
        for seed in range(COUNT):
            parcel, things = lot(seed)
            features = tuple(Feature(t.kind, t.geometry, "drawn") for t in things)
            site = Site(f"lot-{seed:02}", "", CRS, parcel, features=features)
            machine = load_machine(MACHINES[seed % len(MACHINES)])
            plan = plan_site(
                site, machine=machine, rules=RULES, elevation=elevation,
                inputs=(("input dem.tif", "lidar"),),
            )  # fmt: skip
            write_plan(plan, folder / site.property_id)
            given = Given(RULES, machine, tuple(things), str(plan.status), derived_lawn=True)
            yield site.property_id, read_plan(folder / site.property_id / "plan.gpkg"), given


def test_every_lot_holds(plans: list[tuple[str, PlanFile, Given]]) -> None:
    wrong = {name: found for name, plan, given in plans if (found := breaches(plan, given))}
    assert wrong == {}


def test_a_refusal_is_true(plans: list[tuple[str, PlanFile, Given]]) -> None:
    refused = [(name, plan, given) for name, plan, given in plans if not plan.laid]
    assert len(refused) <= 0.2 * COUNT, "lots of 18 m and more mostly have room"
    wrong = {name: said for name, plan, given in refused if (said := false_refusal(plan, given))}
    assert wrong == {}


def test_the_ground_is_not_level(plans: list[tuple[str, PlanFile, Given]]) -> None:
    """The raster was read: slopes differ, and somewhere the machine's limit is passed."""
    steep = [plan for _, plan, _ in plans if "too_steep" in set(plan["slope_zones"]["zone"])]
    assert 1 <= len(steep) < COUNT
