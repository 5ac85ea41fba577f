"""Ways round obstacles on level ground against the exact shortest way, from a visibility graph.

The shortest way between two places among polygons is a chain of straight legs whose corners are
corners of the polygons (textbook: Lozano-Perez and Wesley 1979, from memory). The graph is built
here with shapely alone and searched by networkx.
"""

from __future__ import annotations

from functools import cache
from itertools import combinations

import networkx as nx
import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, affinity, box
from shapely.geometry.base import BaseGeometry

from lawnplat.settings.load import load_rule_book
from lawnplat.wire.leg_cost import LegCost
from lawnplat.wire.other_side import straightened_on_best_side
from lawnplat.wire.return_search import line_weights
from lawnplat.wire.route_grid import lay_grid, moves
from lawnplat.wire.search import Weights, cheapest_on_banks

RULES = load_rule_book()
CELL_M = 0.25  # as for a garden
REACH = 4
# Between obstacles: over two cells, and so narrow that cells of 25 cm miss most gaps.
GAPS_M = (0.6, 0.2, 0.05)
SIDE_M = 20.0
START, END = np.array([1.0, 2.0]), np.array([19.0, 18.0])
HAIR_M = 1e-3  # by which ground is let out so that a line on its very rim counts as on it
BESIDE_M = 0.005  # a move between two free cells may cut a rounded corner by some millimetres
LONGER = 1.01  # the figure that is asked for
SHORTER = 1 - 5e-4  # a few millimetres at each of some ten corners that turn by 20 degrees


def body_at(random: np.random.Generator, turned: bool) -> Polygon:
    """Return a long rectangle or a star with notches, about a random place."""
    x, y = random.uniform(2, SIDE_M - 2, 2)
    if turned:
        wide, deep = random.uniform(0.8, 4.2), random.uniform(0.1, 1.2)
        flat = box(x - wide, y - deep, x + wide, y + deep)
        return affinity.rotate(flat, random.uniform(0, 180))
    angle = np.sort(random.uniform(0, 2 * np.pi, 9))
    reach = random.uniform(0.3, 2.7, 9)
    return Polygon(np.stack([x + reach * np.cos(angle), y + reach * np.sin(angle)], 1)).buffer(0)


@cache
def field(seed: int, gap_m: float) -> Polygon:
    """Return a square of 20 m less random polygons that leave gaps of at least ``gap_m``."""
    random = np.random.default_rng(seed)
    square = box(0, 0, SIDE_M, SIDE_M)
    apart: list[BaseGeometry] = [square.exterior, Point(START), Point(END)]
    for number in range(120):
        # Routes keep a corridor from everything: no spike is thinner than twice its breadth.
        body = body_at(random, number % 2 == 0).buffer(RULES.return_line.corridor_m, quad_segs=3)
        alone = shapely.distance(body, apart).min() >= gap_m and body.within(square)
        if alone and isinstance(body, Polygon):
            apart.append(body)
    return Polygon(square.exterior, [hole.exterior for hole in apart[3:]])


@cache
def shortest_m(free: Polygon) -> float:
    """Return the length of the exact shortest way, infinity where there is none."""
    shapely.prepare(free)
    corners = np.unique(shapely.get_coordinates(free), axis=0)
    nodes = np.concatenate([START[None], END[None], corners])
    pairs = np.array(list(combinations(range(len(nodes)), 2)))
    legs = shapely.linestrings(nodes[pairs])
    seen = shapely.covers(shapely.buffer(free, 1e-6, join_style="mitre"), legs)
    network = nx.Graph()
    rows = zip(*pairs[seen].T.tolist(), shapely.length(legs[seen]).tolist(), strict=True)
    network.add_weighted_edges_from(rows)
    return float(nx.dijkstra_path_length(network, 0, 1))


def straight_way(free: Polygon) -> LineString:
    """Return the straightened way, found and priced as a return line but for wires and bends."""
    grid = lay_grid(free, CELL_M, anchor=START)
    level = np.zeros(grid.free.shape)
    start, end = (int(node) for node in grid.nearest(np.array([START, END]), CELL_M))
    priced = line_weights(RULES)
    weights = Weights(priced.per_gradient, 0.0, priced.comfortable_m, priced.per_switchback)
    ways = cheapest_on_banks(
        grid, moves(grid, REACH), (level, level), start, limit=0.2, weights=weights
    )
    rough = np.concatenate([START[None], ways.to(end)[1:-1], END[None]])
    cost = LegCost(
        gradient=lambda x, _: (np.zeros_like(x), np.zeros_like(x)),
        closeness=lambda x, _: np.zeros_like(x),
        free=free.buffer(HAIR_M),
        limit=0.2,
        per_gradient=weights.per_gradient,
        per_closeness=0.0,
        per_bend=0.0,
        largest_bend_deg=RULES.return_line.largest_bend_deg,
    )
    return LineString(straightened_on_best_side(rough, cost))


@pytest.mark.parametrize("gap_m", GAPS_M)
@pytest.mark.parametrize("seed", range(20))
def test_the_way_round_is_within_a_percent_of_the_shortest(seed: int, gap_m: float) -> None:
    free = field(seed, gap_m)
    way = straight_way(free)
    assert shapely.covers(free.buffer(BESIDE_M), way)
    assert SHORTER < way.length / shortest_m(free) < LONGER


def test_the_fields_are_no_open_ground() -> None:
    straight_m = float(np.hypot(*(END - START)))
    detours = [shortest_m(field(seed, GAPS_M[0])) / straight_m for seed in range(20)]
    # With fewer obstacles any straight line would do: here none is free, and most are far off.
    assert min(detours) > 1.005
    assert float(np.median(detours)) > 1.025


def test_the_visibility_graph_on_a_square() -> None:
    # Round a square of side 10 from (1, 2) to (19, 18) by its corner (15, 5), as by (5, 15): two
    # straight legs (Pythagoras).
    free = Polygon(box(0, 0, SIDE_M, SIDE_M).exterior, [box(5, 5, 15, 15).exterior])
    assert shortest_m(free) == pytest.approx(np.hypot(14, 3) + np.hypot(4, 13), abs=1e-6)
