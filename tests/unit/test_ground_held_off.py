"""Rims held to setbacks: discs round round things, by hand.

A circle drawn as chords of a 64th of a turn lies at most 1 - cos(pi / 64) of its radius inside of
itself, 1.2 mm of a metre (elementary geometry).
"""

from __future__ import annotations

import math

import pytest
import shapely
from shapely import Point, box

from lawnplat.geometry import grow
from lawnplat.ground.held_off import held_off
from lawnplat.ground.types import Cause

LAWN = box(0, 0, 20, 10)
CHORD_SHARE = 1 - math.cos(math.pi / 64)


def cause(x_m, setback_m):
    body = Point(x_m, 5).buffer(0.4)
    return Cause("shrub", setback_m, body, grow(body, setback_m))


def let_out(off_m, *causes):
    """The lawn less all setbacks, each too small by so much."""
    taken = [grow(each.body, each.setback_m - off_m) for each in causes]
    return shapely.difference(LAWN, shapely.union_all(taken))


@pytest.mark.parametrize("setback_m", [0.01, 0.3, 1.0])
def test_a_rim_three_millimetres_inside_a_setback_is_brought_back_to_it(setback_m):
    shrub = cause(5, setback_m)
    off_m = min(3e-3, 0.9 * setback_m)
    reach = let_out(off_m, shrub)
    assert reach.distance(shrub.body) < setback_m - 2e-3
    held = held_off(reach, [shrub])
    assert held.distance(shrub.body) >= setback_m * (1 - CHORD_SHARE) - 1e-9
    assert held.within(reach)
    assert shapely.difference(reach, held).within(grow(shrub.reach, 1e-9))


def test_a_rim_a_millimetre_inside_stays_as_it_is():
    shrub = cause(5, 0.3)
    reach = let_out(1e-3, shrub)
    assert shapely.equals_identical(held_off(reach, [shrub]), reach)


def test_a_large_setback_may_be_off_in_proportion():
    pond = cause(5, 3.0)
    reach = let_out(1e-3, pond)
    assert reach.distance(pond.body) < 3.0 - 2e-3
    assert shapely.equals_identical(held_off(reach, [pond]), reach)


def test_only_the_rim_that_is_off_is_drawn_anew():
    off, good = cause(5, 0.3), cause(15, 0.5)
    taken = [grow(off.body, 0.3 - 4e-3), grow(good.body, 0.5 - 1e-3)]
    reach = shapely.difference(LAWN, shapely.union_all(taken))
    held = held_off(reach, [off, good])
    before = shapely.difference(reach, box(0, 0, 10, 10))
    after = shapely.difference(held, box(0, 0, 10, 10))
    assert shapely.equals_identical(before.normalize(), after.normalize())
    assert held.distance(off.body) > reach.distance(off.body)


def test_what_has_no_setback_takes_its_ground_as_surveyed():
    steep = box(4, 4, 6, 6)
    assert held_off(LAWN, [Cause("too_steep", 0.0, steep, steep)]) is LAWN
