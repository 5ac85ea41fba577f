"""Repair of outlines: areas by hand, a catalogue of geometry, invariants on drawn polygons."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import (
    GeometryCollection,
    LinearRing,
    LineString,
    MultiPoint,
    MultiPolygon,
    Point,
    Polygon,
    box,
)

from lawnplat.survey.repair import repair_area, sound

SLIVER_M2 = 0.05
TOLERANCE_M = 0.01
ROUNDING_M2 = 1e-9
"""Areas below are made of small whole numbers: only the last bits of a double may differ."""


def repaired(geometry, *, fill_holes=False):
    return repair_area(
        geometry, sliver_m2=SLIVER_M2, tolerance_m=TOLERANCE_M, fill_holes=fill_holes
    )


def rules(remarks):
    return [remark.rule for remark in remarks]


def test_bow_tie_keeps_both_lobes_and_names_the_crossing():
    area, remarks = repaired(Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]))
    # Two triangles of base 10 and height 5.
    assert area.area == pytest.approx(50, abs=ROUNDING_M2)
    assert isinstance(area, MultiPolygon)
    assert [part.area for part in area.geoms] == pytest.approx([25, 25])
    assert rules(remarks) == ["repaired_outline"]
    assert remarks[0].place.equals(Point(5, 5))
    # As drawn the lobes turn opposite ways and cancel: 0 by coordinates, so 50 came back.
    assert remarks[0].measured == pytest.approx(50, abs=ROUNDING_M2)


def test_unequal_bow_tie_keeps_the_small_lobe_too():
    # Crossing at (4, 4): lobes of 16 and 36 m2 by half base times height.
    area, _ = repaired(Polygon([(0, 0), (10, 10), (10, -2), (0, 8)]))
    assert area.area == pytest.approx(16 + 36, abs=ROUNDING_M2)


def test_area_drawn_twice_counts_once():
    twice = MultiPolygon([box(0, 0, 10, 10), box(5, 5, 15, 15)])
    area, remarks = repaired(twice)
    assert area.area == pytest.approx(100 + 100 - 25, abs=ROUNDING_M2)
    assert remarks[0].measured == pytest.approx(-25, abs=ROUNDING_M2)


def test_ring_that_winds_round_itself_keeps_the_overlap():
    # A square of 10 with a flap folded back over it: the union is the square and the flap's rest.
    ring = [(0, 0), (10, 0), (10, 10), (4, 10), (4, -2), (6, -2), (6, 8), (0, 8)]
    square_and_flap = shapely.union_all([box(0, 0, 10, 8), box(4, 8, 10, 10), box(4, -2, 6, 0)])
    area, remarks = repaired(Polygon(ring))
    assert area.area == pytest.approx(square_and_flap.area, abs=ROUNDING_M2)
    assert rules(remarks) == ["repaired_outline"]


def test_hole_outside_the_shell_adds_no_island():
    drawn = Polygon(box(0, 0, 10, 10).exterior, [box(20, 20, 24, 24).exterior])
    area, remarks = repaired(drawn)
    assert area.contains(Point(5, 5))
    assert rules(remarks) == ["repaired_outline"]
    assert not area.intersects(Point(22, 22))


def test_neighbouring_parts_that_share_an_edge_become_one():
    area, _ = repaired(MultiPolygon([box(0, 0, 10, 10), box(10, 0, 20, 10)]))
    assert area.equals(box(0, 0, 20, 10))


def test_spike_without_width_is_taken_off_with_its_tip_named():
    drawn = Polygon([(0, 0), (10, 0), (10, 10), (5, 10), (5, 15), (5, 10), (0, 10)])
    area, remarks = repaired(drawn)
    assert area.equals(box(0, 0, 10, 10))
    assert rules(remarks) == ["spike"]
    assert remarks[0].place.equals(Point(5, 15))


def test_spike_narrower_than_the_tolerance_is_taken_off_and_its_area_told():
    drawn = Polygon([(0, 0), (10, 0), (10, 10), (5.004, 10), (5, 15), (5, 10), (0, 10)])
    assert drawn.is_valid
    area, remarks = repaired(drawn)
    assert area.area == pytest.approx(100, abs=0.004 * 5)
    assert remarks[0].measured == pytest.approx(-0.004 * 5 / 2, abs=ROUNDING_M2)


def test_narrow_tongue_wider_than_the_tolerance_stays():
    drawn = Polygon([(0, 0), (10, 0), (10, 10), (5.02, 10), (5, 15), (5, 10), (0, 10)])
    area, remarks = repaired(drawn)
    assert area.equals(drawn)
    assert remarks == ()


def test_three_spikes_side_by_side():
    spikes = [(8, 10), (8, 15), (8, 10), (6, 10), (6, 15), (6, 10), (4, 10), (4, 15), (4, 10)]
    area, remarks = repaired(Polygon([(0, 0), (10, 0), (10, 10), *spikes, (0, 10)]))
    assert area.equals(box(0, 0, 10, 10))
    assert len(remarks) == 3


def test_sliver_part_is_left_out_and_named():
    drawn = MultiPolygon([box(0, 0, 10, 10), box(20, 0, 20.2, 0.2)])
    area, remarks = repaired(drawn)
    assert area.equals(box(0, 0, 10, 10))
    assert rules(remarks) == ["sliver"]
    assert remarks[0].measured == pytest.approx(0.04, abs=ROUNDING_M2)
    assert remarks[0].place.within(box(20, 0, 20.2, 0.2))


def test_part_over_the_sliver_limit_stays():
    drawn = MultiPolygon([box(0, 0, 10, 10), box(20, 0, 20.3, 0.2)])
    area, remarks = repaired(drawn)
    assert area.equals(drawn)
    assert remarks == ()


def test_small_hole_is_closed_only_where_asked_for():
    drawn = Polygon(box(0, 0, 10, 10).exterior, [box(4, 4, 4.2, 4.2).exterior])
    kept, _ = repaired(drawn)
    closed, remarks = repaired(drawn, fill_holes=True)
    assert kept.area == pytest.approx(99.96, abs=ROUNDING_M2)
    assert closed.area == pytest.approx(100, abs=ROUNDING_M2)
    assert rules(remarks) == ["sliver_hole"]


def test_repeated_points_and_heights_go_without_a_word():
    drawn = Polygon([(0, 0, 3), (10, 0, 3), (10, 0, 3), (10, 0.0004, 3), (10, 10, 3), (0, 10, 3)])
    area, remarks = repaired(drawn)
    assert not area.has_z
    assert len(area.exterior.coords) == 5
    assert area.area == pytest.approx(100, abs=10 * 0.001)
    assert remarks == ()


def test_collection_keeps_its_polygons_and_names_the_rest():
    drawn = GeometryCollection([box(0, 0, 2, 2), LineString([(5, 0), (6, 0)])])
    area, remarks = repaired(drawn)
    assert area.equals(box(0, 0, 2, 2))
    assert rules(remarks) == ["left_out_parts"]
    assert remarks[0].place.equals(Point(5.5, 0))


CATALOGUE = {
    "point": Point(1, 2),
    "point z": Point(1, 2, 3),
    "empty point": Point(),
    "line": LineString([(0, 0), (1, 1)]),
    "line without length": LineString([(1, 1), (1, 1)]),
    "ring": LinearRing([(0, 0), (1, 0), (1, 1)]),
    "multipoint": MultiPoint([(0, 0), (1, 1)]),
    "square": box(0, 0, 10, 10),
    "clockwise square": box(0, 0, 10, 10, ccw=False),
    "square z": shapely.force_3d(box(0, 0, 10, 10), 5),
    "with hole": Polygon(box(0, 0, 10, 10).exterior, [box(2, 2, 4, 4).exterior]),
    "hole touching the shell": Polygon(box(0, 0, 9, 9).exterior, [[(0, 4), (3, 3), (3, 6)]]),
    "hole along the shell": Polygon(box(0, 0, 9, 9).exterior, [box(0, 2, 3, 5).exterior]),
    "hole over the shell": Polygon(box(0, 0, 9, 9).exterior, [box(7, 7, 12, 12).exterior]),
    "holes over one another": Polygon(
        box(0, 0, 9, 9).exterior, [box(1, 1, 5, 5).exterior, box(3, 3, 7, 7).exterior]
    ),
    "nothing but hole": Polygon(box(0, 0, 9, 9).exterior, [box(0, 0, 9, 9).exterior]),
    "empty polygon": Polygon(),
    "flat": Polygon([(0, 0), (10, 0), (5, 0)]),
    "one point thrice": Polygon([(1, 1), (1, 1), (1, 1)]),
    "hair": Polygon([(0, 0), (10, 0), (10, 0.001), (0, 0.001)]),
    "bow tie": Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]),
    "pentagram": Polygon(
        [(math.cos(4 * math.pi * k / 5), math.sin(4 * math.pi * k / 5)) for k in range(5)]
    ),
    "touching itself": Polygon([(0, 0), (8, 0), (4, 4), (8, 8), (0, 8), (4, 4)]),
    "parts over one another": MultiPolygon([box(0, 0, 5, 5), box(3, 3, 8, 8)]),
    "part inside part": MultiPolygon([box(0, 0, 9, 9), box(3, 3, 6, 6)]),
    "parts apart": MultiPolygon([box(0, 0, 5, 5), box(7, 7, 8, 8)]),
    "empty multi": MultiPolygon(),
    "collection in collection": GeometryCollection(
        [GeometryCollection([box(0, 0, 1, 1)]), Point(3, 3)]
    ),
    "empty collection": GeometryCollection(),
}


@pytest.mark.parametrize("geometry", CATALOGUE.values(), ids=CATALOGUE)
@pytest.mark.parametrize("fill_holes", [False, True])
def test_whatever_goes_in_a_valid_plane_area_or_none_comes_out(geometry, fill_holes):
    before = shapely.to_wkb(geometry)
    area, remarks = repaired(geometry, fill_holes=fill_holes)
    assert shapely.to_wkb(geometry) == before
    if area is None:
        # Only the ring whose hole is as large as itself has area by some reading; it is named.
        assert remarks or shapely.make_valid(geometry).area < SLIVER_M2
        return
    assert isinstance(area, Polygon | MultiPolygon)
    assert area.is_valid
    assert not area.has_z
    assert area.area > 0
    if geometry.is_valid and geometry.geom_type != "GeometryCollection":
        assert area.equals(shapely.force_2d(geometry))
        assert not remarks
    else:
        assert remarks


@pytest.mark.parametrize("geometry", CATALOGUE.values(), ids=CATALOGUE)
def test_what_is_called_sound_needs_no_repair(geometry):
    if sound(np.array([geometry], dtype=object), TOLERANCE_M)[0]:
        area, remarks = repaired(geometry)
        assert area is not None
        assert area.equals(geometry)
        assert remarks == ()


def test_sound_is_told_one_by_one():
    several = np.array(
        [box(0, 0, 1, 1), None, CATALOGUE["bow tie"], CATALOGUE["parts apart"], box(2, 2, 3, 3)],
        dtype=object,
    )
    assert sound(several, TOLERANCE_M).tolist() == [True, False, False, False, True]
    assert sound(several[:0], TOLERANCE_M).tolist() == []


VERTEX = st.tuples(st.integers(-20, 20), st.integers(-20, 20))


def turns(ring, x, y):
    """Return how often a closed ring goes round a point: the sum of the angles it sweeps."""
    angle = np.unwrap(np.arctan2(ring[:, 1] - y, ring[:, 0] - x))
    return round((angle[-1] - angle[0]) / (2 * math.pi))


@given(st.lists(VERTEX, min_size=3, max_size=12), st.integers(0, 2**32 - 1))
def test_scribbles_keep_all_that_they_go_round(vertices, seed):
    drawn = Polygon(vertices)
    area, _ = repaired(drawn)
    assert area is None or area.is_valid
    ring = np.asarray(drawn.exterior.coords)
    # A spot with this much room lies in a face of over 0.05 m2, so it is no sliver and no spike.
    room = math.sqrt(SLIVER_M2 / math.pi) + TOLERANCE_M
    for x, y in np.random.default_rng(seed).uniform(-21, 21, (40, 2)):
        if shapely.linestrings(ring).distance(Point(x, y)) > room:
            inside = area is not None and area.contains(Point(x, y))
            assert inside == (turns(ring, x, y) != 0)


def test_hundred_thousand_vertices_take_no_longer_than_they_should():
    angle = np.linspace(0, 2 * np.pi, 100_001)[:-1]
    radius = 100 + 5 * np.sin(40 * angle)
    many = Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    assert sound(np.array([many]), TOLERANCE_M)[0]
    area, remarks = repaired(shapely.force_3d(many))
    # Area of r = a + b sin(k t): pi (a^2 + b^2 / 2); chords of 6 mm cut off 1e-6 of it at most.
    assert area.area == pytest.approx(math.pi * (100**2 + 5**2 / 2), rel=1e-5)
    assert remarks == ()
