"""Shortest ways round corners, against closed forms and a whole visibility graph in networkx."""

from __future__ import annotations

from itertools import combinations

import networkx as nx
import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, affinity, box

from lawnplat.wire.taut_ways import TautWays, taut_ways, without_repeats

FIELD = box(-10, -10, 10, 10)


def ways_from(ground: Polygon, *starts: tuple[float, float]) -> TautWays:
    return taut_ways(ground, np.array(starts, float), np.zeros(len(starts)))


def length(ground: Polygon, start: tuple[float, float], end: tuple[float, float]) -> float:
    return float(ways_from(ground, start).lengths_m(np.array([end], float))[0])


@pytest.mark.parametrize(
    ("start", "end", "expected"),
    [
        ((-2, 0), (2, 0), 2 + 2 * np.sqrt(2)),
        ((-2, 0.5), (2, 0.5), 2 + np.sqrt(5)),
        ((-2, 2), (2, 2), 4.0),
        ((-2, 1), (2, 1), 4.0),
        ((-1, 0), (1, 0), 4.0),
    ],
)
def test_past_a_square(start, end, expected: float) -> None:
    """Arithmetic: round [-1, 1]^2; along its edge; from one side's middle to the other's."""
    ground = FIELD.difference(box(-1, -1, 1, 1))
    assert length(ground, start, end) == pytest.approx(expected, abs=1e-6)


def test_past_a_circle() -> None:
    """2 sqrt(3) + pi / 3 past the unit circle (arithmetic); a polygon of 512 chords lies inside."""
    ground = FIELD.difference(Point(0, 0).buffer(1.0, quad_segs=128))
    assert length(ground, (-2, 0), (2, 0)) == pytest.approx(2 * np.sqrt(3) + np.pi / 3, abs=1e-4)


def test_through_a_gap_narrower_than_any_grid() -> None:
    wall = box(-0.1, -10, 0.1, 0).union(box(-0.1, 0.02, 0.1, 10))
    way = length(FIELD.difference(wall), (-3, 0.01), (3, 0.01))
    assert way == pytest.approx(6.0, abs=1e-6)


def test_no_way_is_no_number() -> None:
    ground = FIELD.difference(box(-0.1, -10, 0.1, 10))
    assert np.isnan(length(ground, (-3, 0), (3, 0)))
    assert ways_from(ground, (-3, 0)).way_to(np.array([3.0, 0.0])) is None


def test_the_nearer_of_two_starts_is_named_and_what_was_gone_before_counts() -> None:
    starts = np.array([[-5.0, 0.0], [4.0, 0.0]])
    place = np.array([0.0, 0.0])
    way, number = taut_ways(FIELD, starts, np.array([0.0, 0.0])).way_to(place)
    assert number == 1
    assert way.tolist() == [[4.0, 0.0], [0.0, 0.0]]
    late = taut_ways(FIELD, starts, np.array([0.0, 2.0]))
    assert late.way_to(place)[1] == 0
    assert late.lengths_m(place[None])[0] == 5.0


def drawn(seed: int) -> tuple[Polygon, np.ndarray]:
    """Return a field with turned boxes and blobs on it, and places that are free."""
    random = np.random.default_rng(seed)
    things = []
    for _ in range(9):
        x, y, wide, deep, turn = random.uniform([-8, -8, 0.3, 0.3, 0], [8, 8, 5, 2, 180])
        things.append(affinity.rotate(box(x, y, x + wide, y + deep), turn))
    blob = Point(random.uniform(-5, 5, 2)).buffer(random.uniform(0.5, 2), quad_segs=3)
    ground = FIELD.difference(shapely.union_all([*things, blob]))
    largest = max(shapely.get_parts(ground), key=shapely.area)
    spots = random.uniform(-10, 10, (60, 2))
    return largest, spots[shapely.contains_xy(largest, *spots.T)][:12]


def whole_graph(ground: Polygon, spots: np.ndarray) -> nx.Graph:
    """Join every two corners or spots that see each other; nothing left out."""
    rings = [ground.exterior, *ground.interiors]
    corners = [tuple(p) for ring in rings for p in shapely.get_coordinates(ring)[:-1]]
    nodes = [*corners, *map(tuple, spots)]
    wider = ground.buffer(1e-7, join_style="mitre")
    shapely.prepare(wider)
    graph = nx.Graph()
    graph.add_nodes_from(nodes)
    for one, two in combinations(nodes, 2):
        if shapely.covers(wider, LineString([one, two])):
            graph.add_edge(one, two, weight=float(np.hypot(*np.subtract(one, two))))
    return graph


@pytest.mark.parametrize("seed", range(8))
def test_as_long_as_in_the_whole_visibility_graph(seed: int) -> None:
    ground, spots = drawn(seed)
    ways = ways_from(ground, tuple(spots[0]))
    found = ways.lengths_m(spots[1:])
    expected = nx.single_source_dijkstra_path_length(
        whole_graph(ground, spots), tuple(spots[0]), weight="weight"
    )
    for spot, way_m in zip(spots[1:], found, strict=True):
        # A sight may leave the ground by 0.1 mm at each of some corners.
        assert way_m == pytest.approx(expected[tuple(spot)], abs=2e-3)
        line = LineString(without_repeats(ways.way_to(spot)[0]))
        assert line.length == pytest.approx(way_m)
        assert ground.buffer(2e-4, join_style="mitre").covers(line)
