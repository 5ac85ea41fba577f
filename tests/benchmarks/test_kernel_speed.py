"""How long the wire room's kernels take, each beside a reference that does the same work.

Run by its own command: ``pytest tests/benchmarks --benchmark-enable``. Nothing is asserted about
time. All ground is invented.
"""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
import shapely
from scipy import ndimage
from scipy.sparse import csgraph
from shapely import Point, box

from lawnplat.geometry import grow
from lawnplat.terrain.sample import bilinear
from lawnplat.wire.leads import LeadGround, least_tree, rims_of
from lawnplat.wire.leg_cost import LegCost
from lawnplat.wire.shortcut import straightened

ISLANDS = [10, 40, 120]
SAMPLES = 65


def island_ground(islands):
    side = int(np.ceil(np.sqrt(islands)))
    places = [divmod(number, side) for number in range(islands)]
    beds = [Point(3 + 5 * x + 0.3 * y, 3 + 5 * y).buffer(0.8, quad_segs=4) for x, y in places]
    lawn = box(0, 0, 5 * side + 8, 5 * side + 8) - shapely.union_all(beds)
    nothing = shapely.Polygon()
    return LeadGround((lawn,), nothing, nothing, nothing, 40.0, 0.15)


def distances(ground):
    """Return the distance of every two rims: what the references need before their search."""
    rings = np.array([rim.ring for rim in rims_of(ground.pieces)])
    return shapely.distance(rings[:, None], rings[None])


@pytest.mark.parametrize("islands", ISLANDS)
def test_lead_tree(benchmark, islands):
    benchmark.group = f"least tree, {islands} islands"
    ground = island_ground(islands)
    assert len(benchmark.pedantic(least_tree, (ground,), rounds=3).leads) == islands


@pytest.mark.parametrize("islands", ISLANDS)
def test_lead_tree_by_networkx(benchmark, islands):
    benchmark.group = f"least tree, {islands} islands"
    ground = island_ground(islands)

    def tree():
        return nx.minimum_spanning_tree(nx.from_numpy_array(distances(ground)))

    assert benchmark.pedantic(tree, rounds=3).number_of_edges() == islands


@pytest.mark.parametrize("islands", ISLANDS)
def test_lead_tree_by_scipy(benchmark, islands):
    benchmark.group = f"least tree, {islands} islands"
    ground = island_ground(islands)

    def tree():
        return csgraph.minimum_spanning_tree(distances(ground))

    assert benchmark.pedantic(tree, rounds=3).nnz == islands


@pytest.fixture(scope="module")
def legs():
    """Return ground with two ponds and 3000 straight legs, most of them on it."""
    random = np.random.default_rng(5)
    free = box(0, 0, 40, 30) - Point(12, 12).buffer(3) - Point(28, 18).buffer(4)
    start = random.uniform((0.5, 0.5), (39.5, 29.5), (3000, 2))
    end = np.clip(start + random.uniform(-8, 8, start.shape), (0.2, 0.2), (39.8, 29.8))
    return free, start, end


def sampled(start, end):
    share = np.linspace(0.0, 1.0, SAMPLES)
    run = end - start
    return start[:, :1] + run[:, :1] * share, start[:, 1:] + run[:, 1:] * share


@pytest.mark.benchmark(group="195 000 heights between cells")
def test_bilinear(benchmark, legs):
    rows, columns = sampled(*legs[1:])
    field = np.random.default_rng(6).normal(size=(64, 64))
    assert benchmark(bilinear, field, rows, columns).shape == rows.shape


@pytest.mark.benchmark(group="195 000 heights between cells")
def test_bilinear_by_scipy(benchmark, legs):
    rows, columns = sampled(*legs[1:])
    field = np.random.default_rng(6).normal(size=(64, 64))
    found = benchmark(ndimage.map_coordinates, field, (rows, columns), order=1, mode="nearest")
    assert found.shape == rows.shape


@pytest.mark.benchmark(group="straightening a way of 58 m")
@pytest.mark.parametrize("relax", [False, True], ids=["chain", "chain_and_relaxing"])
def test_straightened(benchmark, legs, relax):
    way = np.array([(1, 1), (9, 17), (20, 17), (31, 12), (38, 28)], float)
    way = shapely.get_coordinates(shapely.segmentize(shapely.LineString(way), 0.5))

    def slope(x, y):
        return 0.05 + 0.0 * x, 0.02 * np.sin(y / 5)

    def in_the_open(x, _):
        return 0.0 * x

    cost = LegCost(slope, in_the_open, legs[0], 0.2, 1.0, 0.0)
    assert len(benchmark(straightened, way, cost, relax=relax)) >= 2


@pytest.fixture(scope="module")
def lawn():
    return box(0, 0, 40, 30) - shapely.union_all(
        [Point(x, y).buffer(0.8) for x in range(4, 40, 5) for y in range(4, 30, 5)]
    )


@pytest.mark.benchmark(group="a lawn of 1100 m2, drawn in by 0.3 m")
def test_parallel_body(benchmark, lawn):
    assert benchmark(grow, lawn, -0.3).area < lawn.area


@pytest.mark.benchmark(group="a lawn of 1100 m2, drawn in by 0.3 m")
def test_parallel_body_by_distance_transform(benchmark, lawn):
    """The raster's way at 0.1 m: its rim is a staircase still to be drawn round."""
    shapely.prepare(lawn)
    x, y = np.meshgrid(np.arange(-0.5, 40.5, 0.1), np.arange(-0.5, 30.5, 0.1))

    def inside():
        return ndimage.distance_transform_edt(shapely.contains_xy(lawn, x, y)) * 0.1 > 0.3

    assert benchmark(inside).any()
