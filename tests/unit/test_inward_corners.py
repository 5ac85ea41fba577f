"""The wire swings out at inward corners where that closes no way; by hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import opened, polygons
from lawnplat.ground import inward_corners
from lawnplat.ground.inward_corners import blunted
from lawnplat.ground.waists import without_waists

RADIUS_M = 0.3
REACH_M = 0.5
GAP_M = 1.02
# A disc of 0.3 m over a square corner stands 0.3 (1 - 1 / sqrt 2) = 0.088 m out of both sides: one
# at the gap leaves less than the metre that is reached through it.
ONE, OTHER = box(5, 5, 6, 6), box(6 + GAP_M, 5, 7 + GAP_M, 6)
LONE = box(14, 5, 15, 6)
LAWN = box(0, 0, 20, 11) - ONE - OTHER - LONE
OUT_M, ALONG_M = 0.05, 0.2


def passable(ground: BaseGeometry) -> BaseGeometry:
    """Return what a disc reaches without passing a waist."""
    return without_waists(opened(ground, REACH_M), REACH_M)


def beside(post: Polygon, *, east: bool, north: bool) -> shapely.Point:
    """Return a place beside a post's corner that a disc over the corner covers."""
    west_m, south_m, east_m, north_m = post.bounds
    x = east_m + OUT_M if east else west_m - OUT_M
    return shapely.Point(x, north_m - ALONG_M if north else south_m + ALONG_M)


def kept(ground: BaseGeometry, post: Polygon) -> list[bool]:
    """Return whether the ground beside a post's corners is kept, the west ones first."""
    every = [(east, north) for east in (False, True) for north in (False, True)]
    return [bool(ground.covers(beside(post, east=e, north=n))) for e, n in every]


def test_corners_at_a_way_that_is_just_wide_enough_stay() -> None:
    found = blunted(LAWN, RADIUS_M, lambda _: Polygon(), passable, near_m=2.0)
    assert kept(found, ONE) == [False, False, True, True]
    assert kept(found, OTHER) == [True, True, False, False]
    assert kept(found, LONE) == [False] * 4
    assert len(found.interiors) == 3


@pytest.mark.parametrize("seed", range(4))
def test_looked_at_nearby_it_is_as_looked_at_whole(seed, monkeypatch) -> None:
    # Posts about as far apart as is just reached through, some closer, some farther.
    draw = np.random.default_rng(seed)
    at = np.array([(x, y) for x in range(3, 18, 3) for y in range(3, 9, 3)]) + draw.uniform(
        -1, 1, (10, 2)
    )
    lawn = box(0, 0, 20, 11)
    for x, y in at:
        lawn = lawn.difference(box(x, y, x + 1, y + 1))
    lawn = passable(lawn)
    nearby = blunted(lawn, RADIUS_M, lambda _: Polygon(), passable, near_m=2.0)
    monkeypatch.setattr(
        inward_corners,
        "_without",
        lambda ground, discs, passable, _: inward_corners._one_by_one(ground, discs, passable),
    )
    whole = blunted(lawn, RADIUS_M, lambda _: Polygon(), passable, near_m=2.0)
    # Opened over and over the whole lawn shrinks by hairs, so that at a gap of just the width one
    # swing may fall either way; of some forty corners no more differ.
    apart = polygons(shapely.buffer(shapely.symmetric_difference(nearby, whole), -0.015))
    assert len(apart) <= 2
    assert nearby.area < lawn.area - 0.1
