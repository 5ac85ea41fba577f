"""The helpers of ``lawnplat.geometry`` crossed with a catalogue of awkward geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import (
    GeometryCollection,
    LinearRing,
    LineString,
    MultiLineString,
    MultiPoint,
    MultiPolygon,
    Point,
    Polygon,
    box,
)

from lawnplat.geometry import (
    QUARTER_SEGMENTS,
    as_multipolygon,
    bearing_deg,
    grow,
    inside_point,
    lines,
    opened,
    points_along,
    polygons,
    rectangle,
    union,
)

SQUARE = box(0, 0, 4, 4)
CATALOGUE = {
    "empty polygon": Polygon(),
    "empty line": LineString(),
    "empty collection": GeometryCollection(),
    "point": Point(1, 1),
    "points": MultiPoint([(0, 0), (2, 0)]),
    "line": LineString([(0, 0), (3, 0), (3, 2)]),
    "closed line": LineString([(0, 0), (3, 0), (3, 2), (0, 0)]),
    "ring": LinearRing([(0, 0), (3, 0), (3, 2)]),
    "line of no length": LineString([(1, 1), (1, 1)]),
    "lines": MultiLineString([[(0, 0), (1, 0)], [(1, 0), (2, 0)], [(5, 5), (6, 6)]]),
    "square": SQUARE,
    "tiny square": box(0, 0, 1e-5, 1e-5),
    "far off": box(500_000, 5_400_000, 500_004, 5_400_004),
    "with a hole": SQUARE - box(1.5, 1.5, 2.5, 2.5),
    "all hole but a thread": SQUARE - box(1e-6, 1e-6, 4 - 1e-6, 4 - 1e-6),
    "two parts": MultiPolygon([SQUARE, box(6, 0, 8, 2)]),
    "corners on straights": shapely.segmentize(SQUARE, 0.5),
    "spike": Polygon([(0, 0), (4, 0), (4, 4), (2, 4), (2, 9), (2 - 1e-9, 4), (0, 4)]),
    "with height": shapely.force_3d(SQUARE, 7.0),
    "mixed": GeometryCollection([SQUARE, LineString([(9, 0), (9, 3)]), Point(20, 20)]),
    "nested": GeometryCollection([MultiPolygon([SQUARE, box(6, 0, 8, 2)]), Point(9, 9)]),
}
AREAS = {
    "square": 16, "far off": 16, "with a hole": 15, "two parts": 20, "corners on straights": 16,
    "spike": 16, "with height": 16, "mixed": 16, "nested": 20, "tiny square": 1e-10,
}  # fmt: skip
every = pytest.mark.parametrize("name", CATALOGUE)


@every
def test_polygons_are_all_the_area_there_is(name):
    geometry = CATALOGUE[name]
    found = polygons(geometry)
    assert all(isinstance(part, Polygon) and not part.is_empty for part in found)
    assert sum(part.area for part in found) == pytest.approx(geometry.area, rel=1e-12)
    if name in AREAS:
        # The spike of 1e-9 m is worth 2.5e-9 m2.
        assert geometry.area == pytest.approx(AREAS[name], abs=1e-8)


def test_polygons_of_nothing_at_all():
    assert polygons(None) == []
    assert as_multipolygon(None).is_empty


@every
def test_as_multipolygon_keeps_parts_over_the_smallest(name):
    geometry = CATALOGUE[name]
    assert isinstance(as_multipolygon(geometry), MultiPolygon)
    assert as_multipolygon(geometry).area == pytest.approx(geometry.area, rel=1e-12)
    # Over 4 m2 exactly: the 2 x 2 m part of "two parts" goes.
    big = as_multipolygon(geometry, smallest_m2=4.0)
    assert all(part.area > 4.0 for part in big.geoms)
    assert geometry.area - big.area <= 4.0


@every
def test_lines_keep_every_metre_of_line(name):
    geometry = CATALOGUE[name]
    found = lines(geometry)
    assert all(type(part) is LineString and part.length > 0 for part in found)
    # Of polygons, their rims.
    assert sum(part.length for part in found) == pytest.approx(geometry.length)
    if name == "lines":
        assert len(found) == 2  # two that meet end to end are one


@every
def test_union_alone_and_with_others(name):
    geometry = CATALOGUE[name]
    alone = union([geometry])
    assert alone.is_valid or not geometry.is_valid
    assert alone.area == pytest.approx(geometry.area, abs=1e-8)
    apart = box(100, 100, 101, 101)
    assert union([geometry, apart, Polygon()]).area == pytest.approx(geometry.area + 1, abs=1e-8)


def test_union_of_none_is_an_empty_polygon():
    assert union([]) == Polygon()
    assert union(iter([Polygon(), Point()])) == Polygon()


@every
@pytest.mark.parametrize("distance_m", [0.35, 1.0])
def test_growing_reaches_just_as_far(name, distance_m):
    geometry = CATALOGUE[name]
    body = grow(geometry, distance_m)
    assert body.is_valid
    if geometry.is_empty:
        assert body.is_empty
        return
    # Steiner with chords: no rim is further than the distance, none nearer than a chord of 1.5/64
    # turn is at its middle.
    middle = distance_m * math.cos(1.5 * math.pi / (4 * QUARTER_SEGMENTS))
    rim = shapely.points(shapely.get_coordinates(shapely.segmentize(body.boundary, 0.01)))
    reach = shapely.distance(rim, geometry)
    assert reach.max() <= distance_m + 1e-8
    assert reach.min() >= middle - 1e-8
    assert shapely.covers(body, geometry)


@every
def test_shrinking_undoes_growing_for_what_is_convex(name):
    geometry = CATALOGUE[name]
    hull = shapely.convex_hull(geometry)
    if hull.area < 1:
        assert grow(hull, -0.6).is_empty
        return
    back = grow(grow(hull, 0.5), -0.5)
    # A chord of 1.5/64 turn is 0.5 x (1 - cos(4.2 deg)) = 1.4 mm short at its middle: that much is
    # lost beside a corner, and in a corner as sharp as these (12 deg or more) up to four times it.
    assert shapely.hausdorff_distance(back, hull) < 4 * 1.4e-3


@every
def test_opening_never_adds_and_drops_what_is_thin(name):
    geometry = CATALOGUE[name]
    reach = opened(geometry, 0.5)
    assert reach.is_valid
    # Beside an inner corner its chords let it out by half the disc x (1 - cos(4.2 deg)) = 1.4 mm.
    assert shapely.difference(reach, shapely.buffer(geometry, 1.4e-3)).area < 1e-9
    again = opened(reach, 0.5)
    # A disc reaches what it has reached: opening twice is opening once (but for its chords).
    assert again.area == pytest.approx(reach.area, abs=0.01)
    thin = {"tiny square", "all hole but a thread"}
    assert reach.is_empty == (geometry.area == 0 or name in thin)
    if name == "with a hole":
        # Only the four outer corners are lost, r^2 (4 - pi), as the chords draw them.
        assert reach.area == pytest.approx(15 - 0.25 * (4 - math.pi), abs=2e-3)
    if name == "spike":
        assert reach.bounds[3] == pytest.approx(4.0, abs=1e-6)


@pytest.mark.parametrize(
    # Bearings clockwise from north (the definition).
    ("dx", "dy", "bearing"),
    [(0, 1, 0), (1, 1, 45), (1, 0, 90), (0, -2, 180), (-3, 0, 270), (-1, 1, 315), (0, 0, 0)],
)  # fmt: skip
def test_bearings(dx, dy, bearing):
    assert bearing_deg(dx, dy) == pytest.approx(bearing, abs=1e-12)


def test_a_bearing_is_never_360():
    assert 0 <= bearing_deg(-1e-300, 1.0) < 360


def test_rectangles_lie_along_their_direction():
    # From (1, 2) heading east: 1 m behind to 3 m ahead, half a metre to each side, left end first.
    (shape,) = rectangle(np.array([[1.0, 2.0]]), np.array([[1.0, 0.0]]), -1.0, 3.0, 0.5)
    assert shape.equals(box(0, 1.5, 4, 2.5))
    turned, _ = rectangle(np.zeros((2, 2)), np.array([[0.6, 0.8], [0, -1]]), 0.0, 5.0, 1.0)
    assert shapely.Point(3, 4).distance(turned) < 1e-9
    assert turned.area == pytest.approx(10)


def test_points_along_a_ring_go_round_and_round():
    ring = LineString(SQUARE.exterior.coords)
    at = points_along(ring, np.array([0.0, 3.0, 17.0, -1.0, 32.0]))
    np.testing.assert_allclose(at[0], at[4])
    np.testing.assert_allclose(at[2], points_along(ring, np.array([1.0]))[0])
    np.testing.assert_allclose(at[3], points_along(ring, np.array([15.0]))[0])
    assert shapely.distance(shapely.points(at), ring).max() < 1e-12


@every
def test_an_inside_point_is_inside(name):
    geometry = CATALOGUE[name]
    point = inside_point(geometry)
    if geometry.is_empty:
        assert point.is_empty
    else:
        assert shapely.distance(geometry, point) < 1e-9
