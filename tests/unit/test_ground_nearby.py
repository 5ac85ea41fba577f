"""Ground opened polygon by polygon, and shaped anew only near a change; closed forms by hand."""

from __future__ import annotations

import math

import pytest
import shapely
from shapely import MultiPolygon, box

from lawnplat.ground.nearby import reshaped
from lawnplat.ground.opening import opened, shrunk
from lawnplat.ground.shape import shaped
from lawnplat.settings.load import load_machine, load_rule_book

RULES = load_rule_book()
MEDIUM = load_machine("medium")
RADIUS_M = 0.35
# A circle less its 64-gon.
CHORDS_M2 = (math.pi - 32 * math.sin(math.pi / 32)) * RADIUS_M**2
LAWN = box(0, 0, 30, 20)
BITE = box(10, 18, 14, 21)


@pytest.mark.parametrize("gap_m", [1e-3, 0.1, 5.0])
def test_polygons_side_by_side_are_opened_each_by_itself(gap_m):
    # Opened by a disc of radius r a rectangle a x b keeps a b - (4 - pi) r^2.
    sides_m = [1.0, 2.0, 3.5]
    step_m = 9 + gap_m
    lawns = [box(0, at * step_m, side, at * step_m + 9) for at, side in enumerate(sides_m)]
    found = opened(MultiPolygon(lawns), RADIUS_M)
    exact = sum(9 * side - (4 - math.pi) * RADIUS_M**2 for side in sides_m)
    assert found.area == pytest.approx(exact, abs=3 * CHORDS_M2 + 1e-9)
    assert len(found.geoms) == len(sides_m)
    middles = sum((side - 2 * RADIUS_M) * (9 - 2 * RADIUS_M) for side in sides_m)
    assert shrunk(MultiPolygon(lawns), RADIUS_M).area == pytest.approx(middles)


def test_what_no_disc_reaches_leaves_nothing():
    assert opened(box(0, 0, 0.6, 9), RADIUS_M).is_empty
    assert shrunk(box(0, 0, 0.6, 9), RADIUS_M).is_empty


def test_shaped_near_a_change_it_is_as_shaped_whole():
    left = shapely.difference(LAWN, BITE)
    whole = shaped(left, MEDIUM, RULES)
    now = shaped(LAWN, MEDIUM, RULES)
    nearby = reshaped(now, BITE, lambda window: shapely.intersection(left, window), MEDIUM, RULES)
    # A tenth of a millimetre along the 16 m of rim round the bite, at most.
    assert shapely.symmetric_difference(whole, nearby).area < 16 * 1e-4
    assert nearby.area < now.area - 7
    far = box(0, 0, 30, 10)
    assert shapely.symmetric_difference(
        shapely.intersection(nearby, far), shapely.intersection(now, far)
    ).area == pytest.approx(0, abs=1e-9)


def test_nothing_changed_leaves_the_ground_as_it_is():
    now = shaped(LAWN, MEDIUM, RULES)
    same = reshaped(now, shapely.Polygon(), lambda window: window, MEDIUM, RULES)
    assert same.equals_exact(now, 0.0)
