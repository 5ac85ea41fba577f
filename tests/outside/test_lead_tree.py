"""The least tree of leads against networkx, every spanning tree there is, and brute force.

Least networks: the unit square's least tree is 3, with extra junctions 1 + sqrt(3); the equilateral
triangle of side 1 has 2 and sqrt(3) (table of check values, seen in open texts). Leads have no
junctions away from a rim, so ours are the first of each pair.
"""

from __future__ import annotations

import itertools
import math

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, box

from lawnplat.wire.conductor import slit_ground
from lawnplat.wire.leads import LeadGround, UnjoinedIsland, least_tree, rims_of

NOTHING = Polygon()
SAMPLE_M = 0.25  # the spacing at which leads past a barrier are looked for


def ground(*pieces, barred=NOTHING, forbidden=NOTHING, outside=NOTHING, apart_m=0.0):
    return LeadGround(
        pieces=pieces,
        barred=shapely.union(barred, forbidden),
        forbidden=forbidden,
        outside=outside,
        longest_outside_m=40.0,
        apart_m=apart_m,
    )


def with_holes(lawn, holes):
    return shapely.difference(lawn, shapely.union_all(list(holes)))


def discs(centres, radius_m):
    return [Point(centre).buffer(radius_m, quad_segs=8) for centre in centres]


def total_m(tree):
    return sum(lead.line.length for lead in tree.leads)


def distances(pieces):
    rings = np.array([rim.ring for rim in rims_of(pieces)], dtype=object)
    return shapely.distance(rings[:, None], rings[None])


def least_by_networkx(apart):
    tree = nx.minimum_spanning_tree(nx.from_numpy_array(apart))
    return tree.size(weight="weight")


def trees(size):
    """Yield the edges of every labelled tree: one for each Pruefer code (Cayley: n^(n-2))."""
    for code in itertools.product(range(size), repeat=size - 2):
        yield nx.from_prufer_sequence(list(code)).edges


@pytest.mark.parametrize(
    ("corners", "least"),
    [
        ([(0, 0), (1, 0), (1, 1), (0, 1)], 3.0),
        ([(0, 0), (1, 0), (0.5, math.sqrt(3) / 2)], 2.0),
    ],
    ids=["unit square", "equilateral triangle"],
)
def test_tiny_islands_on_a_textbook_network(corners, least):
    # Islands of 1 mm, the ring 20 m to the west of the westmost: one lead more, of 20 m. Each lead
    # between islands is short of the textbook's by two radii, the one from the ring by one.
    radius = 0.001
    lawn = with_holes(box(-20, -30, 40, 30), discs(corners, radius))
    tree = least_tree(ground(lawn))
    assert len(tree.leads) == len(corners)
    exact = least - (len(corners) - 1) * 2 * radius + 20 - radius
    # A disc of 32 corners is short of its circle by 0.5 % of the radius at most.
    assert total_m(tree) == pytest.approx(exact, abs=2 * len(corners) * 0.005 * radius)


def islands_apart(seed, count, radius_m, gap_m):
    """Draw round islands in 30 x 20 m, none within ``gap_m`` of another or of the edge."""
    random = np.random.default_rng(seed)
    centres: list[np.ndarray] = []
    while len(centres) < count:
        place = random.uniform([2, 2], [28, 18])
        if all(np.hypot(*(place - other)) > 2 * radius_m + gap_m for other in centres):
            centres.append(place)
    return discs(centres, radius_m)


@pytest.mark.parametrize("seed", range(12))
def test_total_length_is_networkx_minimum_spanning_tree(seed):
    lawn = with_holes(box(0, 0, 30, 20), islands_apart(seed, 4 + seed, 0.5, 0.2))
    tree = least_tree(ground(lawn))
    apart = distances([lawn])
    assert len(tree.leads) == len(apart) - 1
    # Same shortest distances: nothing but rounding may differ.
    assert total_m(tree) == pytest.approx(least_by_networkx(apart), abs=1e-9)


@pytest.mark.parametrize(("seed", "count"), [(1, 2), (2, 3), (3, 4), (4, 5), (5, 5)])
def test_no_tree_of_all_is_shorter(seed, count):
    lawn = with_holes(box(0, 0, 30, 20), islands_apart(seed, count, 0.7, 0.2))
    apart = distances([lawn])
    size = len(apart)
    sums = [sum(apart[edge] for edge in edges) for edges in trees(size)]
    assert len(sums) == size ** (size - 2)
    assert total_m(least_tree(ground(lawn))) == pytest.approx(min(sums), abs=1e-9)


@given(
    st.lists(
        st.tuples(st.integers(1, 28), st.integers(1, 18), st.integers(2, 9), st.integers(2, 9)),
        min_size=1,
        max_size=7,
    ),
    st.sampled_from([0.0, 0.15]),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_any_islands_are_joined_into_ground_without_holes(beds, apart_m):
    # What the leads are for: slit along them, the lawn is one polygon with one rim. With leads to
    # be kept apart the total may grow, but never falls below the least tree.
    boxes = [box(x, y, x + w / 10, y + h / 10) for x, y, w, h in set(beds)]
    lawn = with_holes(box(0, 0, 30, 20), boxes)
    tree = least_tree(ground(lawn, apart_m=apart_m))
    apart = distances([lawn])
    assert len(tree.leads) == len(lawn.interiors)
    assert slit_ground([lawn], tree.leads, 0.01).interiors[:] == []
    assert total_m(tree) >= least_by_networkx(apart) - 1e-9
    gaps = [
        shapely.distance(one.line, other.line)
        for one, other in itertools.combinations(tree.leads, 2)
    ]
    assert all(gap > apart_m - 1e-9 for gap in gaps)


def sampled(ring, spacing_m):
    count = math.ceil(ring.length / spacing_m)
    return shapely.line_interpolate_point(ring, np.arange(count) * ring.length / count)


def shortest_open(one, other, barred, spacing_m=0.04):
    """Return the length of the shortest straight line between two rings clear of ``barred``."""
    starts, ends = (shapely.get_coordinates(sampled(ring, spacing_m)) for ring in (one, other))
    pairs = np.stack(np.broadcast_arrays(starts[:, None], ends[None]), axis=2).reshape(-1, 2, 2)
    length = np.hypot(*(pairs[:, 1] - pairs[:, 0]).T)
    shapely.prepare(barred)
    for batch in np.array_split(np.argsort(length), 200):
        open_ones = ~shapely.intersects(barred, shapely.linestrings(pairs[batch]))
        if open_ones.any():
            return float(length[batch][open_ones].min())
    return math.inf


BARRIERS = {
    "a line past the near side": LineString([(4, 4), (4, 8.5)]),
    "a line slantwise": LineString([(3, 3), (5.5, 8)]),
    "a line all the way, west to east": LineString([(0, 3.5), (12, 3.5)]),
    "an angle round two sides": LineString([(4.2, 9), (4.2, 4.2), (9, 4.2)]),
}


@pytest.mark.parametrize("barrier", BARRIERS.values(), ids=BARRIERS.keys())
def test_a_return_line_in_the_way(barrier):
    # Bed 2 x 2 in 16 x 10 m, nearest edge 5 m to the west. Brute force over points 4 cm apart on
    # both rings.
    lawn = with_holes(box(0, 0, 16, 10), [box(5, 5, 7, 7)])
    barred = barrier.buffer(0.3)
    tree = least_tree(ground(lawn, forbidden=barred))
    (lead,) = tree.leads
    assert not shapely.intersects(lead.line, barred)
    best = shortest_open(*(rim.ring for rim in rims_of([lawn])), barred)
    # Ours may end between the points of the brute force, at most 2 cm off at each end. It tries
    # points every 25 cm: the best end is at most half of that away along the rim, which costs that
    # much only where the lead runs along the rim (measured: 0.08 m at most).
    assert best - 0.04 <= lead.line.length <= best + SAMPLE_M / 2


@pytest.mark.parametrize("seed", range(8))
def test_any_line_in_the_way(seed):
    random = np.random.default_rng(100 + seed)
    lawn = with_holes(box(0, 0, 16, 10), [Point(7, 5).buffer(1, quad_segs=4)])
    # The nearest edges are 4 m to the north and south: a line across each.
    barred = shapely.union_all(
        [
            LineString([(7 + random.uniform(-3, -0.2), y), (7 + random.uniform(0.2, 3), y + tilt)])
            for y, tilt in ((2.5, random.uniform(-0.5, 0.5)), (7.5, random.uniform(-0.5, 0.5)))
        ]
    ).buffer(0.3)
    (lead,) = least_tree(ground(lawn, forbidden=barred)).leads
    best = shortest_open(*(rim.ring for rim in rims_of([lawn])), barred)
    assert best - 0.04 <= lead.line.length <= best + SAMPLE_M / 2


def test_what_is_barred_is_crossed_only_where_no_tree_keeps_off_it():
    # The bed stands in a ring of narrow passage, all of it barred but none forbidden: the lead
    # crosses it, and is the shortest there is, 5 m.
    lawn = with_holes(box(0, 0, 16, 14), [box(5, 6, 7, 8)])
    moat = Point(6, 7).buffer(3) - Point(6, 7).buffer(2)
    (lead,) = least_tree(ground(lawn, barred=moat)).leads
    assert lead.line.length == pytest.approx(5.0, abs=1e-9)
    # Forbidden, it cannot be joined at all.
    with pytest.raises(UnjoinedIsland):
        least_tree(ground(lawn, forbidden=moat))


def test_a_barred_island_is_strung_on_its_neighbour():
    # West bed 2 m from the edge, east bed 3 m from the west bed and 3.5 m from the east edge; the
    # barrier between the beds leaves it the 3.5 m (by hand: no other way is under 4 m).
    lawn = with_holes(box(0, 0, 12.5, 20), [box(2, 9, 4, 11), box(7, 9, 9, 11)])
    free = least_tree(ground(lawn))
    assert total_m(free) == pytest.approx(2 + 3, abs=1e-9)
    # Once a thin barrier fell between the cells of the way round: 1 cm is that of a return line.
    for half_width_m in (0.1, 0.01):
        wall = LineString([(5.5, 4), (5.5, 16)]).buffer(half_width_m)
        assert total_m(least_tree(ground(lawn, forbidden=wall))) == pytest.approx(5.5, abs=1e-9)


@pytest.mark.parametrize("tail", [(8, 4.8), (9, 4.3), (10, 4.9)])
def test_no_bent_lead_crosses_a_return_line(tail):
    # A line of 2 cm winds round the bed once and a half: only a bent lead gets out.
    bed = box(6, 6, 6.4, 6.4)
    spiral = [(5.6, 5.5), (7, 5.5), (7, 7), (5, 7), (5, 4.8), tail]
    fence = LineString(spiral).buffer(0.01)
    lawn = with_holes(box(0, 0, 14, 14), [bed])
    (lead,) = least_tree(ground(lawn, forbidden=fence)).leads
    # Ways round may touch what is forbidden by a millimetre of rounding.
    assert not shapely.intersects(lead.line, fence.buffer(-2e-3))
    assert len(lead.line.coords) > 2


def test_a_carried_lawn_hangs_on_the_nearest_rim_outside():
    # Two lawns 4 m apart: one carried lead of 4 m.
    home, away = box(0, 0, 10, 10), box(14, 2, 20, 8)
    yard = box(-1, -1, 21, 11) - home.buffer(-1e-4) - away.buffer(-1e-4)
    (lead,) = least_tree(ground(home, away, outside=yard)).leads
    assert lead.carried
    assert lead.line.length == pytest.approx(4.0, abs=1e-9)


def test_a_carried_lawn_behind_a_house_is_reached_round_it():
    # From x = 10 to x = 16 past the house [12, 14] x [-1, 7] and the lawns' own ends at y = 8:
    # over the corners (12, 7) and (14, 7), starting and ending level with them: 6 m; the house
    # reaches y = 9 in the second case, over (12, 9), (14, 9) from the lawns' corners at y = 8:
    # sqrt(5) + 2 + sqrt(5) = 6.4721 m.
    home, away = box(0, 0, 10, 8), box(16, 0, 24, 8)
    for top, least in ((7, 6.0), (9, 2 + 2 * math.sqrt(5))):
        house = box(12, -1, 14, top)
        yard = box(-1, -1, 25, 15) - home.buffer(-1e-4) - away.buffer(-1e-4) - house
        (lead,) = least_tree(ground(home, away, outside=yard)).leads
        # A way round is found on cells of 25 cm: it passes each corner at up to one cell.
        assert least - 1e-3 <= lead.line.length <= least + 2 * 0.25
        # Once it cut 11 cm through the corners; rims and rounding may touch by a millimetre.
        assert not shapely.intersects(lead.line, house.buffer(-2e-3))


def test_a_lawn_out_of_reach_is_named():
    home, away, far = box(0, 0, 10, 10), box(14, 2, 20, 8), box(70, 0, 80, 10)
    yard = box(-1, -1, 81, 11) - shapely.union_all([home, away, far]).buffer(-1e-4)
    tree = least_tree(ground(home, away, far, outside=yard))
    assert tree.unreached == (2,)
    assert [lead.line.length for lead in tree.leads] == pytest.approx([4.0])


def test_a_lead_that_ends_a_hair_inside_the_distance_kept_does_not_hang():
    # Once endless: the second lead starts 0.1499 m from the first one's end, nearer than the 0.15 m
    # kept, but outside the chords by which that distance was drawn: it was found again and again.
    turn = math.pi / 64
    start = (2 + 0.1499 * math.cos(turn), 5 + 0.1499 * math.sin(turn))
    one = Polygon([(2, 5), (2.07, 4.97), start, (2.07, 5.03)])
    two = Polygon([(start[0] + 1, start[1]), (start[0] + 1.3, 4.9), (start[0] + 1.3, 5.1)])
    tree = least_tree(ground(with_holes(box(0, 0, 20, 10), [one, two]), apart_m=0.15))
    assert total_m(tree) == pytest.approx(2 + 1, abs=1e-6)
