"""Lots drawn on a real elevation raster, each with a house and a pond, and their plans."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import rasterio
from shapely import Point, affinity, box

from kept import kept
from lawnplat.plan import plan_site
from lawnplat.planned import Plan
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.reader import ElevationRaster


def raster_path() -> Path:
    """Return the 1 m lidar raster in the package lidar (EPSG:26915), which is never imported."""
    return Path(importlib.util.find_spec("lidar").origin).parent / "data" / "dem.tif"


def real_lots(count: int) -> Iterator[Site]:
    draw = np.random.default_rng(17)
    with rasterio.open(raster_path()) as source:
        west, south, east, north = source.bounds
    for number in range(count):
        wide, deep = draw.uniform(18, 40, 2)
        x, y = draw.uniform(west + 50, east - 90), draw.uniform(south + 50, north - 90)
        parcel = affinity.rotate(box(x, y, x + wide, y + deep), draw.uniform(0, 90))
        middle = parcel.centroid
        house = affinity.rotate(box(middle.x - 5, middle.y - 4, middle.x + 5, middle.y + 4), 20)
        pond = Point(middle.x + draw.uniform(-8, 8), middle.y + 8).buffer(1.2)
        things = (Feature("building", house, "h"), Feature("water", pond, "p"))
        yield Site(f"lot {number}", "invented", "EPSG:26915", parcel, features=things)


def lot_plans(count: int) -> Iterator[Plan]:
    """Yield the plans of the first lots, for the medium class."""
    return (
        kept(f"{site.property_id} of lidar", lambda s=site: _plan(s)) for site in real_lots(count)
    )


def _plan(site: Site) -> Plan:
    with ElevationRaster(raster_path()) as elevation:
        return plan_site(
            site, machine=load_machine("medium"), rules=load_rule_book(), elevation=elevation
        )
