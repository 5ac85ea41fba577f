"""Legs on ground: what the raster tells must be what GEOS tells, on ground drawn at random.

The reference is `shapely.covers` on each leg (GEOS), which no raster has part in.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, affinity, box
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray
from lawnplat.wire.leg_ground import LegGround, leg_ground

LEGS = 1500


def ground_of(seed: int) -> BaseGeometry:
    """Draw ground with ponds, slits thinner than a cell, and a second piece on every third."""
    random = np.random.default_rng(seed)
    wide, deep = random.uniform(4, 30, 2)
    ground: BaseGeometry = affinity.rotate(box(0, 0, wide, deep), random.uniform(0, 90))
    west, south, east, north = ground.bounds
    for _ in range(random.integers(0, 6)):
        place = Point(random.uniform(west, east), random.uniform(south, north))
        ground -= place.buffer(random.uniform(0.05, 2.5), quad_segs=int(random.integers(1, 8)))
    for _ in range(random.integers(0, 3)):
        ends = random.uniform((west, south), (east, north), (2, 2))
        ground -= LineString(ends).buffer(random.uniform(0.002, 0.2))
    return ground | box(east + 0.3, south, east + 4, north) if seed % 3 == 0 else ground


def legs_on(ground: BaseGeometry, seed: int, samples: int) -> tuple[FloatArray, ...]:
    """Draw legs, a third of them ending on the ground's rim, and even samples along each."""
    random = np.random.default_rng(seed)
    west, south, east, north = ground.bounds
    start = random.uniform((west - 1, south - 1), (east + 1, north + 1), (LEGS, 2))
    end = start + random.normal(size=(LEGS, 2)) * random.choice([0.1, 1.0, 6.0], (LEGS, 1))
    rim = shapely.get_coordinates(shapely.boundary(ground))
    end[::3] = random.choice(rim, len(end[::3]))
    share = np.linspace(0.0, 1.0, samples)
    run = end - start
    return start, end, start[:, :1] + run[:, :1] * share, start[:, 1:] + run[:, 1:] * share


@pytest.mark.parametrize("seed", range(24))
def test_legs_are_covered_as_geos_tells(seed: int) -> None:
    ground = ground_of(seed)
    start, end, x, y = legs_on(ground, 100 + seed, samples=5 + 4 * (seed % 4))
    by_geos = shapely.covers(ground, shapely.linestrings(np.stack([start, end], axis=1)))
    assert 0 < by_geos.sum() < LEGS, "the drawn legs must tell both answers apart"
    np.testing.assert_array_equal(leg_ground(ground).covers(start, end, x, y), by_geos)


@pytest.mark.parametrize("seed", range(24))
def test_no_leg_is_said_to_leave_that_geos_covers(seed: int) -> None:
    ground = ground_of(seed)
    start, end, x, y = legs_on(ground, 200 + seed, samples=5)
    by_geos = shapely.covers(ground, shapely.linestrings(np.stack([start, end], axis=1)))
    leaves = leg_ground(ground).leaves(x, y)
    assert leaves.any()
    assert not (leaves & by_geos).any()


@pytest.mark.parametrize("seed", range(12))
def test_the_raster_is_never_deeper_than_the_ground(seed: int) -> None:
    """Depth against GEOS's distance to the boundary, at places anywhere in the cells."""
    ground = ground_of(seed)
    raster = leg_ground(ground)
    _, _, x, y = legs_on(ground, 300 + seed, samples=5)
    rows, columns = raster.depth_m.shape
    row = np.clip(np.floor((y - raster.south_m) / raster.cell_m).astype(int), 0, rows - 1)
    column = np.clip(np.floor((x - raster.west_m) / raster.cell_m).astype(int), 0, columns - 1)
    depth_m = raster.depth_m[row, column]
    away_m = shapely.distance(shapely.boundary(ground), shapely.points(x, y))
    assert (np.abs(depth_m) <= away_m + 1e-9).all()  # rounding of coordinates alone
    assert (shapely.contains_xy(ground, x, y)[depth_m > 0]).all()
    assert not (shapely.contains_xy(ground, x, y)[depth_m < 0]).any()


def test_no_ground_covers_nothing() -> None:
    start, end = np.zeros((1, 2)), np.ones((1, 2))
    x = y = np.linspace(0, 1, 3)[None]
    nothing: LegGround = leg_ground(Polygon())
    assert not nothing.covers(start, end, x, y).any()
