"""How much ground drains over a place: surfaces with known answers, and plain twins."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from shapely import Polygon, affinity, box
from skimage.morphology import reconstruction

from lawnplat.terrain import drainage as room
from lawnplat.terrain.drainage import STEPS, drainage, flow_of, upslope_m2
from lawnplat.terrain.gradient import horn
from lawnplat.terrain.types import Grid, Terrain

SIZE, CELL = 40.0, 0.25
MIDDLE = SIZE / 2
NOTHING = Polygon()
Surface = Callable[[np.ndarray, np.ndarray], np.ndarray]


def ground(surface: Surface, cell: float = CELL) -> Terrain:
    count = round(SIZE / cell)
    grid = Grid(0.0, SIZE, cell, count, count)
    heights = surface(*np.meshgrid(*grid.centres())).astype(float)
    return Terrain(grid, heights, *horn(heights, cell), np.isfinite(heights), (), "raster", cell)


def over(terrain: Terrain, *areas: Polygon, drains: Polygon = NOTHING) -> list[float]:
    return upslope_m2(drainage(terrain, drains, 2.0), np.array(areas, dtype=object)).tolist()


def square(x: float, y: float, side: float = 1.5, turned_deg: float = 0.0) -> Polygon:
    half = side / 2
    return affinity.rotate(box(x - half, y - half, x + half, y + half), turned_deg)


@pytest.mark.parametrize("bearing_deg", [0, 10, 22.5, 30, 45, 60, 75, 90])
def test_a_plane_sends_a_lane_as_wide_as_the_place(bearing_deg: float) -> None:
    """Arithmetic: width across the fall times the way up the fall to the grid's border."""
    fall = np.array([np.cos(np.radians(bearing_deg)), np.sin(np.radians(bearing_deg))])
    terrain = ground(lambda x, y: -0.1 * (x * fall[0] + y * fall[1]))
    (found,) = over(terrain, square(MIDDLE, MIDDLE, turned_deg=bearing_deg))
    up_m = MIDDLE / fall.max() - 0.75
    # Half a cell of length at each end, and the border's corner seen from 45 degrees.
    assert found == pytest.approx(1.5 * up_m, rel=0.015)


@pytest.mark.parametrize("turned_deg", [0, 17, 30, 45, 80])
def test_a_cone_sends_a_sector(turned_deg: float) -> None:
    """A hill falls away on all sides: at distance r a width w is reached by w r / 2."""
    terrain = ground(lambda x, y: -0.1 * np.hypot(x - MIDDLE, y - MIDDLE))
    there = affinity.rotate(square(MIDDLE + 10, MIDDLE), turned_deg, origin=(MIDDLE, MIDDLE))
    (found,) = over(terrain, there)
    # The near side is a chord, 9.25 m away; its ends lie 0.03 m farther. A cell of 0.25 m blurs the
    # ends of a side of 1.5 m, which catches more the farther down the square they are.
    assert found == pytest.approx(1.5 * 9.25 / 2, rel=0.05)


def test_a_valley_gathers_both_its_sides() -> None:
    """Two planes against each other: what reaches the bottom above the place, in closed form.

    Sides of 10 % and a bottom of 5 %: a metre towards the bottom goes with half a metre down it.
    """
    terrain = ground(lambda x, y: 0.1 * abs(x - MIDDLE) - 0.05 * y)
    (found,) = over(terrain, box(MIDDLE - 1, 35, MIDDLE + 1, 36))
    # One side: over the place's own side from 1 to 20 m off, and its half of the upper end.
    aside = (36.5 * 19 - 0.25 * (20**2 - 1)) + 35
    assert found == pytest.approx(2 * aside, rel=0.01)


def test_a_hollow_keeps_what_it_gathers() -> None:
    """A funnel of 10 %: everything inside its brim comes to the middle, then runs over."""
    terrain = ground(lambda x, y: 0.1 * np.hypot(x - MIDDLE, y - MIDDLE))
    (found,) = over(terrain, square(MIDDLE, MIDDLE, 2.0))
    # Beyond the circle that touches the border, water leaves there; how much is a cell's matter.
    assert np.pi * 19.5**2 - 4 < found <= SIZE**2


def test_level_and_gentle_ground_send_nothing() -> None:
    assert over(ground(lambda x, _: 0.0 * x), square(20, 20)) == [0.0]
    assert over(ground(lambda x, _: -0.019 * x), square(20, 20)) == [0.0]
    assert over(ground(lambda x, _: -0.021 * x), square(20, 20))[0] > 25.0


def test_only_ground_over_the_runoff_slope_counts() -> None:
    """A bank of 30 % between 10 and 15 m, level above and below: its own 5 m of lane."""
    terrain = ground(lambda x, _: -0.3 * np.clip(x - 10, 0, 5) - 0.001 * x)
    (found,) = over(terrain, square(20, 20))
    # The gradient's window of three cells sees the bank's edges one cell early and late.
    assert 1.5 * 5.0 <= found <= 1.5 * (5.0 + 2 * CELL) + 0.05


def test_a_pond_above_takes_the_water() -> None:
    terrain = ground(lambda x, _: -0.1 * x)
    behind_it, beside_it = square(30, 20), square(30, 8)
    pond = box(10, 15, 20, 25)
    shaded, free = over(terrain, behind_it, beside_it, drains=pond)
    # 10 m from the pond's lower edge to the place's upper one, less its half.
    assert shaded == pytest.approx(1.5 * 9.25, rel=0.03)
    assert free == pytest.approx(1.5 * 29.25, rel=0.03)


def test_two_places_one_below_the_other_both_count_the_slope_above() -> None:
    terrain = ground(lambda x, _: -0.1 * x)
    upper, lower = over(terrain, square(10, 20), square(30, 20))
    assert lower - upper == pytest.approx(1.5 * 20, rel=0.01)


def rough(seed: int, rows: int = 23, columns: int = 31) -> np.ndarray:
    """Return noise on a gentle plane: full of pits, no two heights alike."""
    random = np.random.default_rng(seed)
    return random.random((rows, columns)) - 0.01 * np.arange(columns)


def cells(shape: tuple[int, int]) -> list[tuple[int, int]]:
    return [(row, column) for row in range(shape[0]) for column in range(shape[1])]


def steepest_way_down(heights: np.ndarray, row: int, column: int) -> dict[int, float]:
    """Return the shares of one cell by trying every triangle, in plain Python."""
    low = {}
    for direction, (down, right) in enumerate(STEPS):
        r, c = row + down, column + right
        if 0 <= r < heights.shape[0] and 0 <= c < heights.shape[1]:
            low[direction] = heights[r, c]
    here = heights[row, column]
    best, shares = 0.0, {}
    for direction, height in low.items():
        fall = (here - height) / (2**0.5 if direction % 2 else 1.0)
        if fall > best:
            best, shares = fall, {direction: 1.0}
    for straight in (0, 2, 4, 6):
        for across in ((straight + 1) % 8, (straight + 7) % 8):
            if straight not in low or across not in low:
                continue
            ahead, aside = here - low[straight], low[straight] - low[across]
            if 0 < aside < ahead and (ahead**2 + aside**2) ** 0.5 > best:
                best = (ahead**2 + aside**2) ** 0.5
                shares = {straight: 1 - aside / ahead, across: aside / ahead}
    return shares


@pytest.mark.parametrize("seed", range(6))
def test_every_cell_sends_its_water_down_the_steepest_triangle(seed: int) -> None:
    heights = rough(seed)
    nowhere = np.zeros(heights.shape, bool)
    before, _ = room._ways_out(heights, nowhere)
    shares = room._shares(heights)
    stuck = shares.sum(axis=0) == 0
    _, cut = room._cut_through(heights, stuck, before)
    flow = flow_of(heights, nowhere, np.ones(heights.shape))
    assert stuck.sum() > 20, "the ground has to have pits"
    for row, column in cells(heights.shape):
        if not cut[row, column]:
            leaves = flow[:, row, column]
            for direction, share in steepest_way_down(heights, row, column).items():
                assert leaves[direction] == pytest.approx(share * leaves.sum())


@pytest.mark.parametrize("seed", range(6))
def test_water_is_neither_lost_nor_made(seed: int) -> None:
    """What leaves a cell is what rises there and what comes in, summed in plain Python; all that
    rises leaves at the border or where it is swallowed.
    """
    heights = rough(seed)
    rows, columns = heights.shape
    source = np.random.default_rng(seed + 100).random(heights.shape)
    swallows = np.zeros(heights.shape, bool)
    swallows[10:13, 10:14] = True
    source[swallows] = 0.0
    flow = flow_of(heights, swallows, source)
    comes = np.zeros(heights.shape)
    for row, column in cells(heights.shape):
        for direction, (down, right) in enumerate(STEPS):
            r, c = row + down, column + right
            if flow[direction, row, column] > 0:
                assert 0 <= r < rows
                assert 0 <= c < columns
                comes[r, c] += flow[direction, row, column]
    kept = source + comes - flow.sum(axis=0)
    inside = kept[1:-1, 1:-1][~swallows[1:-1, 1:-1]]
    assert np.abs(inside).max() < 1e-9
    assert (kept > -1e-9).all()
    assert kept.sum() == pytest.approx(source.sum())
    assert kept[swallows].sum() > 0


@pytest.mark.parametrize("seed", range(6))
def test_the_way_out_of_a_hollow_goes_over_its_lowest_brim(seed: int) -> None:
    """The highest ground on each way out is the height to which the hollow fills: reference
    skimage's reconstruction by erosion from the border, the usual way of filling pits.
    """
    heights = rough(seed)
    seed_heights = heights.copy()
    seed_heights[1:-1, 1:-1] = heights.max()
    filled = reconstruction(seed_heights, heights, method="erosion")
    before, steps = room._ways_out(heights, np.zeros(heights.shape, bool))
    flat = heights.ravel()
    for start in range(heights.size):
        highest, at, count = -np.inf, start, 0
        while at < heights.size:
            highest, at, count = max(highest, flat[at]), before[at], count + 1
        assert highest == filled.ravel()[start]
        assert count == steps.ravel()[start]
