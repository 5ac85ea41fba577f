"""Leads on gentle ground, against a search over every pair of places and the least tree.

The reference takes places every 5 cm along the rings, in plain loops, and the gradient from the
surface's own formula. The least tree is networkx's.
"""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, box

from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Site
from lawnplat.terrain.build import build_terrain, choose_grid
from lawnplat.terrain.types import ElevationWindow
from lawnplat.wire.gentle_leads import Gentleness, steepest_pct
from lawnplat.wire.leads import LeadGround, least_tree, rims_of

RULES = load_rule_book()
MEDIUM = load_machine("medium")
SHARE = RULES.wire.lead_longer_share
NOTHING = Polygon()


def terrain_of(surface, parcel):
    site = Site("1", "invented", "EPSG:25832", parcel)
    grid = choose_grid(site, MEDIUM, RULES)
    heights = surface(*np.meshgrid(*grid.centres()))
    return build_terrain(site, MEDIUM, RULES, ElevationWindow(grid, heights, grid.cell_m))


def ground(piece, terrain=None, share=SHARE, barred=NOTHING):
    gentle = None if terrain is None else Gentleness(terrain, share)
    return LeadGround((piece,), barred, NOTHING, NOTHING, 40.0, 0.15, gentle)


def ramp(x, y):
    """A hump whose flank toward the north edge is steep in the west and level in the east."""
    return 0.35 * np.clip(1 - (x - 5) / 10, 0, 1) * np.clip(y - 8, 0, 4)


def steepest_by_formula(line, surface):
    ends = np.array(line.coords)
    share = np.linspace(0, 1, 9)[:, None]
    x, y = (ends[0] * (1 - share) + ends[1] * share).T
    return 100 * np.abs(np.diff(surface(x, y)) / (line.length / 8)).max()


def test_the_gentlest_of_equally_short_leads_is_taken():
    """From a long house to the edge all leads have 4 m: the gentlest is at its east end."""
    lawn = shapely.difference(box(0, 0, 20, 12), box(5, 4, 15, 8))
    terrain = terrain_of(ramp, box(0, 0, 20, 12))
    shortest = least_tree(ground(lawn)).leads[0].line
    lead = least_tree(ground(lawn, terrain)).leads[0].line
    assert lead.length <= (1 + SHARE) * shortest.length
    best = min(
        steepest_by_formula(LineString([one, other]), ramp)
        for one in [(x, y) for x in np.arange(5, 15.01, 0.05) for y in (4.0, 8.0)]
        for other in [(one[0], 0.0 if one[1] == 4 else 12.0)]
    )
    # Smoothing and the samples' 0.25 m: a percent of gradient.
    assert steepest_by_formula(lead, ramp) <= best + 1.0
    assert best < 1.0


def test_without_a_gentler_way_the_shortest_stays():
    lawn = shapely.difference(box(0, 0, 20, 12), box(5, 5, 15, 8))
    plain = least_tree(ground(lawn)).leads[0].line
    slope = terrain_of(lambda x, y: 0.2 * y + 0 * x, box(0, 0, 20, 12))
    level = terrain_of(lambda x, y: 0 * (x + y), box(0, 0, 20, 12))
    for terrain in (slope, level):
        assert least_tree(ground(lawn, terrain)).leads[0].line.equals_exact(plain, 0.0)


def test_a_gentler_lead_never_runs_where_it_is_barred():
    lawn = shapely.difference(box(0, 0, 20, 12), box(5, 4, 15, 8))
    terrain = terrain_of(ramp, box(0, 0, 20, 12))
    barred = shapely.union(box(12, 7.9, 20, 12), box(0, 0, 20, 4.05))
    lead = least_tree(ground(lawn, terrain, barred=barred)).leads[0].line
    assert not lead.intersects(barred)
    assert lead.bounds[0] > 11  # as far east as it may


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 8))
def test_the_tree_stays_within_a_percent_of_the_least(seed, count):
    rng = np.random.default_rng(seed)
    discs: list[Polygon] = []
    while len(discs) < count:
        new = Point(*rng.uniform([2, 2], [28, 18])).buffer(rng.uniform(0.4, 1.2), quad_segs=8)
        if all(new.distance(disc) > 0.8 for disc in discs):
            discs.append(new)
    lawn = shapely.difference(box(0, 0, 30, 20), shapely.union_all(discs))
    phase = rng.uniform(0, 6, 4)

    def rough(x, y):
        return 0.4 * np.sin(x / 1.5 + phase[0]) * np.cos(y / 1.3 + phase[1]) + 0.1 * y

    terrain = terrain_of(rough, box(0, 0, 30, 20))
    tree = least_tree(ground(lawn, terrain))
    rings = np.array([rim.ring for rim in rims_of([lawn])], dtype=object)
    apart = shapely.distance(rings[:, None], rings[None])
    least = nx.minimum_spanning_tree(nx.from_numpy_array(apart)).size(weight="weight")
    total = sum(lead.line.length for lead in tree.leads)
    plain = sum(lead.line.length for lead in least_tree(ground(lawn)).leads)
    # A lead kept apart from another at a shared place may cost both trees alike: 0.25 m samples.
    assert total <= (1 + SHARE) * max(least, plain) + 1e-9
    assert total >= least - 1e-9


@pytest.mark.parametrize("bearing", [0.0, 0.7, 2.0])
def test_gradients_along_leads_are_the_planes(bearing):
    east, north = 0.1, -0.2
    terrain = terrain_of(lambda x, y: east * x + north * y, box(0, 0, 20, 20))
    way = np.array([np.cos(bearing), np.sin(bearing)])
    lines = np.array([LineString([(10, 10), (10, 10) + 3 * way])], dtype=object)
    exact = 100 * abs(way @ [east, north])
    assert steepest_pct(terrain, lines, 6)[0] == pytest.approx(exact, abs=1e-6)
