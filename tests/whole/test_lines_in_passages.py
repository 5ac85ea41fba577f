"""Return lines through passages lie in the middle third between the wires, wherever they come from.

Three gardens of two lawns and a neck, all invented, and the awkward gardens with narrow passages.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from holds import PlanFile

from .awkward_plans import drawn
from .planning import moved, planned, site_of, thing

STEP_M = 0.1
THIRD = 1 / 3
MOUTH_SHARE = 1.2  # as much wider than at its narrowest place a passage opens into the lawn


def with_neck(wide_m: float, south_x: float, north_x: float) -> Polygon:
    """Return two lawns and a neck between them, from ``south_x`` to ``north_x``."""
    neck = Polygon(
        [
            (south_x, 11.9),
            (south_x + wide_m, 11.9),
            (north_x + wide_m, 18.1),
            (north_x, 18.1),
        ]
    )
    return shapely.union_all([box(0, 0, 12, 12), neck, box(0, 18, 14, 30)])


# Neck in line with the station; far aside, so that the line would cut the corner; askew.
NECKS = {"straight": (1.6, 6.2, 6.2), "aside": (1.9, 0.5, 0.5), "askew": (2.2, 1.0, 8.0)}


@cache
def garden(name: str) -> PlanFile:
    things = [thing("building", box(3, -6, 9, 0)), thing("power_outlet", Point(6, 0))]
    site = site_of(moved(with_neck(*NECKS[name])), things, name=name)
    with TemporaryDirectory() as folder:
        _, file, broken = planned(site, Path(folder))
        assert broken == []
        return file.in_memory()


def shares(line: BaseGeometry, wires: BaseGeometry, widest_m: float) -> Iterator[float]:
    """Yield, along a line, its distance from the wire on its left over that from left to right.

    Where the wires are at most ``widest_m`` apart; further out a passage opens into the lawn.
    """
    for at in np.arange(STEP_M, line.length - STEP_M, STEP_M):
        behind, ahead = (line.interpolate(at + off).coords[0] for off in (-0.05, 0.05))
        run = np.subtract(ahead, behind)
        left = np.array([-run[1], run[0]]) / np.hypot(*run)
        here = np.add(behind, ahead) / 2
        sides = [LineString([here, here + side * 5 * left]).intersection(wires) for side in (1, -1)]
        one, other = (side.distance(Point(here)) for side in sides)
        if one + other <= widest_m:
            yield one / (one + other)


def assert_in_the_middle_third(file: PlanFile) -> None:
    passages = file["passages"]
    narrow = passages[passages["verdict"] == "guided"]
    assert len(narrow) >= 1
    lines = file["return_lines"].geometry
    for passage in narrow.itertuples():
        through = [part for part in lines.intersection(passage.geometry) if part.length > 1.0]
        assert len(through) == 1
        found = list(shares(through[0], file.wire, MOUTH_SHARE * passage.width_m))
        assert len(found) > 5
        assert min(found) >= THIRD
        assert max(found) <= 1 - THIRD


@pytest.mark.parametrize("name", NECKS)
def test_through_a_neck_a_line_keeps_to_the_middle_third(name: str) -> None:
    assert_in_the_middle_third(garden(name))


@pytest.mark.parametrize("name", ["neck_of_70_cm", "pond_in_the_only_way"])
def test_through_awkward_passages_a_line_keeps_to_the_middle_third(name: str) -> None:
    assert_in_the_middle_third(drawn(name).file)


def test_the_neck_aside_would_tempt_a_line_to_cut_its_corner() -> None:
    # From station to the far lawn's middle, the shortest way hugs the neck's near side.
    file = garden("aside")
    free = file.enclosed.buffer(-0.3)
    (passage,) = file["passages"].geometry
    far = moved(Point(7, 24))
    straight = LineString([file.station, far])
    assert straight.difference(free).length > 1.0
    assert straight.disjoint(passage)
