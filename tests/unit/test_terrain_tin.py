"""Surfaces through spot heights, and gaps in a raster filled."""

from __future__ import annotations

import numpy as np
import pytest

from lawnplat.terrain.fill import fill_missing
from lawnplat.terrain.tin import merge_places, surface_through
from lawnplat.terrain.types import ElevationWindow, Grid

E, N = 500_000.0, 5_400_000.0
# Places carry coordinates of 5.4e6 m, of which doubles keep 1e-9 m; on a slope of 30 % that is
# 3e-10 m of height, and a barycentric sum may carry a few of them.
ROUNDING = 1e-8


def lean(x, y):
    return 250.0 + 0.3 * (np.asarray(x) - E) - 0.2 * (np.asarray(y) - N)


def spots(places):
    x, y = np.array(places, float).T
    return np.column_stack([E + x, N + y, lean(E + x, N + y)])


def test_one_triangle_by_hand():
    # Heights 0, 3, 6 at the corners of a 3 x 3 right triangle: z = x + 2y.
    corners = np.array([[0, 0, 0], [3, 0, 3], [0, 3, 6.0]])
    surface = surface_through(corners, np.array([1.0, 0.5, 0.0]), np.array([1.0, 2.0, 3.0]))
    np.testing.assert_allclose(surface.elevation_m, [3.0, 4.5, 6.0], atol=1e-12)
    assert surface.inside.all()


def test_a_plane_is_exact_between_its_heights():
    rng = np.random.default_rng(3)
    surveyed = spots([(0, 0), (20, 0), (20, 20), (0, 20), *rng.uniform(0, 20, (30, 2))])
    x, y = E + rng.uniform(0, 20, (9, 7)), N + rng.uniform(0, 20, (9, 7))
    surface = surface_through(surveyed, x, y)
    assert surface.elevation_m.shape == (9, 7)
    assert surface.inside.all()
    np.testing.assert_allclose(surface.elevation_m, lean(x, y), rtol=0, atol=ROUNDING)


def test_beyond_the_heights_stands_the_nearest_place_of_the_rim():
    surveyed = spots([(0, 0), (10, 0), (10, 10), (0, 10), (5, 10)])
    x, y = np.array([E + 13.0, E + 2.5, E - 4.0]), np.array([N + 4.0, N + 12.0, N - 5.0])
    surface = surface_through(surveyed, x, y)
    assert not surface.inside.any()
    # The feet: (10, 4), (2.5, 10) and the corner (0, 0).
    feet = lean(np.array([E + 10, E + 2.5, E]), np.array([N + 4, N + 10, N]))
    np.testing.assert_allclose(surface.elevation_m, feet, rtol=0, atol=ROUNDING)


def test_no_step_stands_at_the_rim():
    surveyed = np.array([[0, 0, 0], [10, 0, 9.0], [10, 10, 4], [0, 10, 7], [4, 6, 1]])
    along = np.linspace(0.1, 9.9, 50)
    inner = surface_through(surveyed, along, np.full(50, 1e-6)).elevation_m
    outer = surface_through(surveyed, along, np.full(50, -1e-6)).elevation_m
    # The steepest triangle falls some 2 m a metre, so 2e-6 m apart heights differ by under 1e-5 m.
    assert np.abs(inner - outer).max() < 1e-5


def test_heights_in_one_line_slope_along_it_and_are_level_across():
    surveyed = np.array([[0, 0, 10.0], [6, 8, 20.0], [3, 4, 15.0]])
    # (-4, 3) and (4, -3) stand square to the line at its start; (9, 12) lies beyond its end.
    x, y = np.array([3.0, -1.0, 9.0, 4.0]), np.array([4.0, 7.0, 12.0, -3.0])
    surface = surface_through(surveyed, x, y)
    np.testing.assert_allclose(surface.elevation_m, [15, 15, 20, 10], atol=1e-9)
    assert not surface.inside.any()


@pytest.mark.parametrize("count", [1, 2])
def test_one_and_two_heights(count):
    surveyed = np.array([[0, 0, 4.0], [10, 0, 6.0]])[:count]
    surface = surface_through(surveyed, np.array([5.0, 99.0]), np.array([3.0, -3.0]))
    np.testing.assert_allclose(surface.elevation_m, [4, 4] if count == 1 else [5, 6], atol=1e-12)


def test_heights_of_one_place_are_averaged_and_broken_ones_left_out():
    surveyed = [[5, 5, 1], [0, 0, 2], [5, 5.0004, 3], [1, 1, np.nan], [np.inf, 0, 1]]
    merged = merge_places(np.array(surveyed, float))
    np.testing.assert_allclose(merged, [[0, 0, 2], [5, 5.0002, 2]], atol=1e-12)


def test_no_height_is_refused():
    with pytest.raises(ValueError, match="no spot height"):
        surface_through(np.empty((0, 3)), np.zeros(1), np.zeros(1))


def window(missing, cell_m=0.5, source_cell_m=0.5):
    grid = Grid(E, N + 20, cell_m, 40, 40)
    x, y = np.meshgrid(*grid.centres())
    return ElevationWindow(grid, np.where(missing(x - E, y - N), np.nan, lean(x, y)), source_cell_m)


def truth(grid):
    return lean(*np.meshgrid(*grid.centres()))


def test_a_hole_in_a_plane_is_that_plane():
    holed = window(lambda x, y: np.hypot(x - 10, y - 8) < 4)
    filled = fill_missing(holed, np.empty((0, 3)), reach_m=1.0)
    np.testing.assert_allclose(filled.elevation_m, truth(holed.grid), rtol=0, atol=ROUNDING)


def test_ground_goes_on_beyond_the_edge_as_it_came_then_level():
    # East of x = 15 nothing is known. 2 m on, a reach of 1 m and half a cell have been used up.
    cut = window(lambda x, _: x > 15)
    filled = fill_missing(cut, np.empty((0, 3)), reach_m=2.0).elevation_m
    true = truth(cut.grid)
    np.testing.assert_allclose(filled[:, :33], true[:, :33], rtol=0, atol=ROUNDING)
    np.testing.assert_allclose(np.diff(filled[:, 36:], axis=1), 0, atol=ROUNDING)


def test_cells_that_the_interpolation_levelled_are_filled_anew():
    # 2 m source cells: linear interpolation has one side only for the last 1 m before a gap.
    bent = window(lambda x, _: x > 15, source_cell_m=2.0)
    known = bent.elevation_m.copy()
    known[:, 28:30] = known[:, 27:28]
    filled = fill_missing(
        ElevationWindow(bent.grid, known, 2.0), np.empty((0, 3)), reach_m=1.0
    ).elevation_m
    np.testing.assert_allclose(filled[:, :31], truth(bent.grid)[:, :31], rtol=0, atol=ROUNDING)


def test_spot_heights_in_a_gap_are_levelled_to_the_raster():
    # The survey's datum lies 200 m below the raster's; a mound of 1 m stands in the gap.
    holed = window(lambda x, y: (np.abs(x - 10) < 4) & (np.abs(y - 10) < 4))
    surveyed = spots([(2, 2), (18, 3), (10, 10)]) - [0, 0, 200.0]
    surveyed[2, 2] += 1.0
    filled = fill_missing(holed, surveyed, reach_m=1.0)
    assert filled.spots_used == 1
    rise = filled.elevation_m - truth(holed.grid)
    assert rise.max() == pytest.approx(1.0, abs=0.1)  # the nearest centre is 0.35 m off the top
    np.testing.assert_allclose(rise[:10], 0, atol=ROUNDING)


def test_spot_heights_without_a_common_datum_are_left_out():
    holed = window(lambda x, y: (np.abs(x - 10) < 4) & (np.abs(y - 10) < 4))
    filled = fill_missing(holed, spots([(10, 10)]) + np.array([0, 0, 500.0]), reach_m=1.0)
    assert filled.spots_used == 0
    np.testing.assert_allclose(filled.elevation_m, truth(holed.grid), rtol=0, atol=ROUNDING)


def test_a_single_known_cell_makes_level_ground():
    lone = window(lambda x, y: (np.abs(x - 5.25) > 0.1) | (np.abs(y - 5.25) > 0.1))
    filled = fill_missing(lone, np.empty((0, 3)), reach_m=1.0).elevation_m
    assert np.unique(filled).size == 1
    with pytest.raises(ValueError, match="no cell"):
        fill_missing(window(lambda x, _: x > -1), np.empty((0, 3)), reach_m=1.0)
