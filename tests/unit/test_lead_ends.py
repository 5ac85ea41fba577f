"""How leads come in to the rims that they end on, by hand.

A pair that comes in at an angle to the rim has one wire run on alone by the gap times its cotangent
(elementary geometry): under two gaps from 30 degrees on.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box
from shapely.ops import substring

from lawnplat.wire.lead_ends import landed
from lawnplat.wire.leads import LeadGround, least_tree

GAP_M = 0.01
ISLAND = Point(2, 5).buffer(0.3, quad_segs=16)
LAWN = Polygon(box(0, 0, 10, 10).exterior, [ISLAND.exterior])
OUTER, INNER = LineString(LAWN.exterior), LineString(LAWN.interiors[0])


def is_open(lines):
    return shapely.covers(LAWN.buffer(1e-6), lines)


def comes_in_deg(line, ring, over_m=0.05):
    """The angle between the rim and the line's last stretch."""
    end = Point(line.coords[-1])
    before = line.interpolate(line.length - min(over_m, line.length))
    at_m = ring.project(end)
    beside = [ring.interpolate((at_m + off_m) % ring.length) for off_m in (-0.02, 0.02)]
    along = np.subtract(beside[1].coords[0], beside[0].coords[0])
    leg = np.subtract(end.coords[0], before.coords[0])
    sine = abs(leg[0] * along[1] - leg[1] * along[0]) / np.hypot(*leg) / np.hypot(*along)
    return math.degrees(math.asin(min(1.0, sine)))


def test_a_square_lead_stays_as_it_is():
    lead = LineString([(0, 5), (1.7, 5)])
    assert landed(lead, (OUTER, INNER), is_open) == lead


def test_a_lead_along_a_rim_is_not_made_square_by_a_last_millimetre():
    grazing = LineString([(2.301, 10), (2.301, 5), (2.3, 5)])
    lead = landed(grazing, (OUTER, INNER), is_open)
    assert comes_in_deg(grazing, INNER) < 10
    assert comes_in_deg(lead, INNER) >= 30
    assert lead.length < grazing.length + 0.5


@pytest.mark.parametrize("off_m", [0.0, 1e-4])
def test_from_an_island_of_which_little_is_free_a_lead_comes_away_squarely(off_m):
    """All but the tip of it is barred: as between the strips of two crossings."""
    strips = box(0, 3, 2.3 - off_m, 7)
    ground = LeadGround(
        pieces=(LAWN,), barred=strips, forbidden=strips, outside=Polygon(),
        longest_outside_m=0.0, apart_m=0.1,
    )  # fmt: skip
    (lead,) = least_tree(ground).leads
    ends = [lead.line, shapely.reverse(lead.line)]
    ends.sort(key=lambda line: INNER.distance(Point(line.coords[-1])))
    to_island, to_rim = ends
    assert comes_in_deg(to_island, INNER) >= 30
    assert comes_in_deg(to_rim, OUTER) >= 30
    away = to_island.interpolate(to_island.length - 0.05)
    rest = substring(to_island, 0, to_island.project(away))
    assert rest.distance(INNER) > GAP_M
    assert shapely.intersection(lead.line, strips).length < 0.02
