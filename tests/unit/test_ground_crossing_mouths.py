"""Mouths of crossings, by hand: a strip that meets a lawn's straight rim at an angle.

A disc of radius r that touches both sides of an angle a touches them r / tan(a / 2) from its corner
(elementary geometry): so far a mouth's rounded corner runs out along the rim.
"""

from __future__ import annotations

import math

import pytest
import shapely
from shapely import Point, Polygon, affinity, box

from lawnplat.geometry import grow
from lawnplat.ground.crossing_mouths import Room, filled
from lawnplat.settings.load import load_machine, load_rule_book

RULES = load_rule_book()
MEDIUM = load_machine("medium")
CORNER_M = RULES.wire.corner_radius_m
LAWN = box(-5, -10, 0, 10)
"""Its rim runs north along x = 0."""
EVERYWHERE = box(-50, -50, 50, 50)
CHORD_M = CORNER_M * (1 - math.cos(math.pi / 64))
HAIR_M = 2e-3  # what is thinner is a cusp's hair


def strip_at(angle_deg):
    """A strip 1.6 m wide whose northern side meets the rim at the origin, in such an angle."""
    rad = math.radians(angle_deg)
    ahead = (math.sin(rad), math.cos(rad))
    side = (ahead[1] * 1.6, -ahead[0] * 1.6)
    south_m = -1.6 / math.sin(rad)
    far = [4 * value for value in ahead]
    return Polygon([(0, 0), far, (far[0] + side[0], far[1] + side[1]), (0, south_m)])


def runs_out_m(strip):
    """How far north of the corner a strip is wider than a hair."""
    rim = shapely.intersection(grow(strip, -HAIR_M / 2), box(-1, 0, 2 * HAIR_M, 10))
    return rim.bounds[3]


def mouth(strip, within=EVERYWHERE):
    return filled(strip, [LAWN], Room(EVERYWHERE, within), MEDIUM, RULES)


@pytest.mark.parametrize("angle_deg", [40, 60, 90])
def test_a_corner_runs_out_as_far_as_a_disc_touches_the_rim(angle_deg):
    touches_m = CORNER_M / math.tan(math.radians(angle_deg) / 2)
    # Where the disc is a hair off the rim: its sagitta there, and the chord's.
    hair_m = math.sqrt(2 * CORNER_M * (2 * HAIR_M + CHORD_M))
    strip = strip_at(angle_deg)
    assert touches_m - hair_m <= runs_out_m(mouth(strip)) <= touches_m + 1e-6
    assert strip.within(grow(mouth(strip), 1e-6))


@pytest.mark.parametrize("share", [0.95, 0.8, 0.6])
def test_a_corner_that_would_run_out_too_far_is_rounded_tighter(share):
    strip = strip_at(60)
    farthest_m = share * CORNER_M / math.tan(math.radians(30))
    within = box(-50, -50, 50, farthest_m)
    found = mouth(strip, within=shapely.union_all([within, strip]))
    beyond = shapely.difference(found, shapely.union_all([within, strip]))
    assert grow(beyond, -HAIR_M / 2).is_empty
    assert found.area > strip.area
    # Round still: a disc of half the radius rolls all the way from the rim to the strip's side.
    notch = shapely.difference(box(0, 0, 3, 3), found)
    left = shapely.difference(notch, grow(grow(notch, -CORNER_M / 2), CORNER_M / 2))
    sharp = shapely.intersection(left, Point(0, 0).buffer(1.0))
    assert grow(sharp, -HAIR_M / 2).is_empty


def test_one_that_no_rounding_brings_within_reach_is_cut_off_there():
    strip = strip_at(40)
    within = box(-50, -50, 50, 0.05)
    found = mouth(strip, within=shapely.union_all([within, strip]))
    assert shapely.difference(found, shapely.union_all([within, strip])).area < 1e-4


def test_the_side_that_has_room_keeps_its_corner():
    strip = strip_at(90)
    within = box(-50, -50, 50, 0.2)
    found = mouth(strip, within=shapely.union_all([within, strip]))
    south = affinity.scale(found, yfact=-1, origin=(0, -0.8))
    assert runs_out_m(south) == pytest.approx(runs_out_m(mouth(strip)), abs=1e-4)
    assert runs_out_m(found) < 0.2 + HAIR_M
