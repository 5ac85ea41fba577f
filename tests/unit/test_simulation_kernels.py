"""Each kernel of the simulation equals its plain, slow twin; the machine stays on its ground."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, box

import slow_machine
from lawnplat.proving.simulation.coverage_kernel import Marks, cut
from lawnplat.proving.simulation.drive_kernel import SLIPS
from lawnplat.proving.simulation.pieces import pieces_of
from lawnplat.proving.simulation.random_kernel import next_unit, next_word, stream
from lawnplat.proving.simulation.ray_kernel import first_met
from lawnplat.proving.simulation.runs import run_all
from lawnplat.proving.simulation.turning_kernel import turned
from lawnplat.proving.simulation.types import Departure
from simulated import arrays, flights, world

L_SHAPE = Polygon([(0, 0), (14, 0), (14, 5), (6, 5), (6, 11), (0, 11)])
POND = box(0, 0, 14, 9).difference(Point(6, 4).buffer(2))


def test_splitmix64_gives_its_published_numbers():
    # Rosetta Code, 'Pseudo-random numbers/Splitmix64', seed 1234567 (from memory).
    state = np.array([1234567], dtype=np.uint64)
    assert [int(next_word(state)) for _ in range(5)] == [
        6457827717110365317,
        3203168211198807973,
        9817491932198370423,
        4593380528125082431,
        16408922859458223821,
    ]


@pytest.mark.parametrize("seed", [0, 1, 2**63, 2**64 - 1])
def test_random_numbers_equal_those_of_whole_numbers(seed):
    state, plain = np.array([seed], dtype=np.uint64), slow_machine.words(seed)
    assert [int(next_word(state)) for _ in range(100)] == list(itertools.islice(plain, 100))
    state = np.array([seed], dtype=np.uint64)
    plain = slow_machine.units(seed)
    assert [next_unit(state) for _ in range(100)] == list(itertools.islice(plain, 100))


def test_streams_of_neighbouring_runs_are_unlike():
    first = np.array(
        [[next_unit(s) for _ in range(50)] for s in (stream(1, n) for n in range(400))]
    )
    # Uniform and independent: mean 1/2, correlation 0; 4.5 standard errors of 20 000 numbers.
    assert abs(first.mean() - 0.5) < 4.5 / math.sqrt(12 * first.size)
    across = np.corrcoef(first[:-1].ravel(), first[1:].ravel())[0, 1]
    assert abs(across) < 4.5 / math.sqrt(first.size)


@given(
    law=st.sampled_from([0, 1]),
    angle=st.floats(0, 2 * math.pi),
    unit=st.floats(0, 1, exclude_max=True),
)
@settings(deadline=None)
def test_turning_equals_its_twin_and_leads_inward(law, angle, unit):
    normal = math.cos(angle), math.sin(angle)
    way = turned(law, *normal, unit)
    assert way == pytest.approx(slow_machine.turned(law, *normal, unit), abs=1e-15)
    assert math.hypot(*way) == pytest.approx(1, abs=1e-14)
    assert np.dot(way, normal) >= -1e-15


@pytest.mark.parametrize("ground", [L_SHAPE, POND, Point(0, 0).buffer(7)])
def test_the_first_piece_met_is_the_one_that_a_search_through_all_finds(ground):
    bounds = shapely.bounds(ground.buffer(1))
    rims = [shapely.get_coordinates(rim) for rim in (ground.exterior, *ground.interiors)]
    pieces = pieces_of(rims, tuple(bounds))
    random = np.random.default_rng(7)
    for _ in range(800):
        x, y = random.uniform(bounds[:2], bounds[2:])
        angle = random.choice([random.uniform(0, 2 * math.pi), 0, math.pi / 2, math.pi])
        way = math.cos(angle), math.sin(angle)
        farthest = random.choice([math.inf, 3.0])
        skip = int(random.integers(-1, len(pieces.lines)))
        found = first_met(pieces, x, y, *way, skip, farthest)
        assert found == slow_machine.first_met(pieces.lines.tolist(), x, y, *way, skip, farthest)


@given(
    x=st.floats(-1, 6),
    y=st.floats(-1, 5),
    angle=st.one_of(st.floats(0, 2 * math.pi), st.sampled_from([0, math.pi / 2, math.pi])),
    way=st.floats(0, 6),
    radius=st.floats(0.05, 1),
)
@settings(max_examples=300, deadline=None)  # the first call compiles
def test_points_cut_equal_those_near_the_way(x, y, angle, way, radius):
    frame, shape = np.array([0.05, 0.05, 0.1]), (40, 50)
    # Off the rounding of points that lie just on the rim.
    x, y, radius = x + 1e-4 * math.pi, y + 1e-4 * math.e, radius + 1e-5 * math.sqrt(2)
    direction = math.cos(angle), math.sin(angle)
    expected = slow_machine.cut(frame, shape, x, y, *direction, way, radius)
    mown = (np.arange(50) % 7 > 0).astype(np.uint8) * np.ones((40, 1), dtype=np.uint8)
    last = np.full(shape, -1, dtype=np.int32)
    last[:20] = 2
    marks = Marks(mown, np.zeros(shape, dtype=np.int64), last, frame)
    counted = cut(marks, x, y, *direction, way, radius, 3)
    expected &= mown.astype(bool)
    assert np.array_equal(marks.passes > 0, expected)
    assert np.array_equal(marks.last_day == 3, expected)
    assert counted == (expected.sum(), expected[20:].sum())


@pytest.mark.parametrize("side", ["right", "left"])
def test_a_run_equals_its_twin(side):
    a_world = world(POND, [(0, 0), (3, 2), (12, 8)], [(0, 0), (1, 8)])
    departures = (Departure(1, 3.0, 0.7), Departure(2, 3.0, 0.3))
    ways, pace, points = arrays(a_world, departures, wire_side=side, lines_first_min=0.2)
    windows = np.array([1500.0, 0.0, 2500.0])
    pace = pace._replace(run_s=900.0, reserve_s=200.0, charge_s=300.0)
    runs = run_all(ways, pace, np.array([0.7, 0.3]), windows, points, seed=(5,), runs=1)
    legs, journeys = slow_machine.drive(ways, pace, [0.7, 0.3], windows, int(stream(5, 0)[0]))
    assert len(legs) > 60
    assert {journey[3] for journey in journeys} == {1, 2}
    assert runs.sums[0, :4] == pytest.approx(
        [len(journeys), len(legs), sum(leg[-1] for leg in legs), 0]
    )
    # Both do the same sums; a corner magnifies the rounding of some by thousands.
    logged = np.column_stack([runs.searches_s, runs.homes_s, runs.left_s, runs.ends])
    assert logged == pytest.approx(np.array(journeys), abs=1e-6)
    passes = np.zeros(points.mown.shape, dtype=np.int64)
    cut_on = np.zeros((3, *points.mown.shape), dtype=bool)
    for day, *leg in legs:
        under = slow_machine.cut(points.frame, passes.shape, *leg, pace.radius_m)
        passes += under
        cut_on[day] |= under
    mown = points.mown.astype(bool)
    assert np.array_equal(runs.passes, passes * mown)
    assert runs.today[0].tolist() == (cut_on & mown).sum(axis=(1, 2)).tolist()
    so_far = np.logical_or.accumulate(cut_on) & mown
    assert runs.ever[0].cumsum().tolist() == so_far.sum(axis=(1, 2)).tolist()


def test_runs_depend_on_the_seed_and_their_number_alone(monkeypatch):
    ways, pace, points = arrays(world(L_SHAPE, [(0, 0), (10, 3)]))
    windows = np.full(2, 7000.0)

    def runs(count, seed=3):
        return run_all(ways, pace, np.ones(1), windows, points, seed=(seed,), runs=count)

    many, few = runs(20), runs(3)
    assert np.array_equal(many.ever[:3], few.ever)
    assert np.array_equal(many.sums[:3], few.sums)
    assert not np.array_equal(many.ever, runs(20, seed=4).ever)
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    alone = runs(20)
    assert np.array_equal(many.passes, alone.passes)
    assert np.array_equal(many.homes_s, alone.homes_s)


@st.composite
def grounds(draw):
    """Stars with notches and sharp corners, some with a hole."""
    count = draw(st.integers(3, 14))
    radii = draw(st.lists(st.floats(1.0, 12.0), min_size=count, max_size=count))
    angles = 2 * math.pi * (np.arange(count) + 0.5) / count
    star = Polygon(np.column_stack([radii * np.cos(angles), radii * np.sin(angles)]))
    hole = Point(0, 0).buffer(draw(st.floats(0.0, 0.3)), quad_segs=draw(st.integers(1, 8)))
    return max(shapely.get_parts(star.difference(hole)), key=lambda part: part.area)


@given(ground=grounds(), seed=st.integers(0, 2**32))
@settings(max_examples=60, deadline=None)
def test_the_machine_never_leaves_its_ground(ground, seed):
    starts, ways, lengths = flights(ground, 0, 300, seed)
    ends = starts + ways * lengths[:, np.newaxis]
    legs = shapely.linestrings(np.stack([starts, ends], axis=1))
    # Coordinates of tens of metres are rounded by 1e-15 of them; corners magnify that.
    assert shapely.covers(ground.buffer(1e-7), legs).all()


def test_a_machine_set_down_off_its_ground_does_not_hang():
    a_world = world(POND, [(0, 0), (6, 4)])
    ways, pace, points = arrays(a_world, (Departure(1, 7.0, 1.0),))
    runs = run_all(ways, pace, np.ones(1), np.array([60.0]), points, seed=(1,), runs=1)
    assert set(runs.ends) == {0}
    assert runs.passes.sum() == 0


@pytest.mark.parametrize("shift", [0.0, 0.3])
def test_slips_are_rare_and_the_run_goes_on(shift):
    comb = box(shift, 0, 20 + shift, 1)
    for i in range(20):
        comb = comb.union(Polygon([(i, 1), (i + 0.9, 1), (i + 0.4 + shift, 4)]))
    ways, pace, points = arrays(world(comb.buffer(0)))
    runs = run_all(ways, pace, np.ones(1), np.full(3, 30000.0), points, seed=(1,), runs=4)
    legs = runs.sums[:, 1].sum()
    assert legs > 50_000
    assert runs.sums[:, SLIPS].sum() <= 1e-4 * legs
    assert (runs.ends > 0).mean() > 0.9
