"""Places told by two tapes, held against a worked intersection of a surveying text.

Source: J. Mahun, Open Access surveying, COGO, part B: from L (N 614.80, E 2255.90) and
M (N 791.53, E 2517.03) the point P (N 524.9018, E 2429.4960), LP 195.4924, MP 280.6293, angle at
P 80.797 degrees; feet.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
import shapely.ops
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, box

from lawnplat.proving.locate.two_tapes import TwoTapes, square_off, two_tapes
from lawnplat.settings.load import load_rule_book

L, M, P = Point(2255.90, 614.80), Point(2517.03, 791.53), Point(2429.4960, 524.9018)
RULES = load_rule_book().setting_out
NOTHING = Polygon()


def circles_meet(tapes: TwoTapes, fixed: dict[str, Point]) -> Point:
    """Return where two circles meet, drawn by GEOS with chords far finer than a millimetre."""
    a, b = fixed[tapes.from_a], fixed[tapes.from_b]
    one, two = (
        shapely.boundary(shapely.buffer(at, far, quad_segs=4000))
        for at, far in ((a, tapes.dist_a_m), (b, tapes.dist_b_m))
    )
    meets = shapely.get_parts(shapely.intersection(one, two))
    sides = {
        "left" if (b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x) > 0 else "right": p
        for p in meets
    }
    return sides[tapes.side]


def test_the_published_distances_and_angle() -> None:
    tapes = two_tapes(P, {"L": L, "M": M}, NOTHING, replace(RULES, longest_tape_m=300.0))
    assert tapes is not None
    assert (tapes.from_a, tapes.from_b, tapes.side) == ("L", "M", "right")
    assert (tapes.dist_a_m, tapes.dist_b_m) == pytest.approx((195.4924, 280.6293), abs=6e-4)
    # Told to a tenth of a degree.
    assert tapes.cut_deg == pytest.approx(80.797, abs=0.051)


@given(st.floats(-14, 14), st.floats(-14, 14))
def test_the_circles_of_both_tapes_meet_at_the_place(x: float, y: float) -> None:
    """Half a millimetre in each tape at a cut of 30 degrees moves the place by 2 mm at most."""
    fixed = {"A": Point(0, 0), "B": Point(9, 2), "C": Point(3, -8), "D": Point(-7, 5)}
    place = Point(x, y)
    tapes = two_tapes(place, fixed, NOTHING, RULES)
    if tapes is not None:
        assert RULES.smallest_cut_deg <= tapes.cut_deg <= RULES.largest_cut_deg
        assert max(tapes.dist_a_m, tapes.dist_b_m) <= RULES.longest_tape_m
        assert circles_meet(tapes, fixed).distance(place) < 0.002


def test_no_tape_runs_through_a_house() -> None:
    house = box(0, 0, 10, 8)
    fixed = {"A": Point(0, 0), "B": Point(10, 0), "C": Point(10, 8), "D": Point(0, 8)}
    tapes = two_tapes(Point(5, -4), fixed, house.buffer(-0.005), RULES)
    assert tapes is not None
    assert {tapes.from_a, tapes.from_b} == {"A", "B"}


def test_none_where_no_two_reach_or_all_cut_too_sharply() -> None:
    assert two_tapes(Point(0, 0), {"A": Point(5, 0)}, NOTHING, RULES) is None
    in_line = {"A": Point(5, 0), "B": Point(9, 0.5), "C": Point(-7, 0.2)}
    assert two_tapes(Point(0, 0), in_line, NOTHING, RULES) is None
    far = {"A": Point(31, 0), "B": Point(0, 31)}
    assert two_tapes(Point(0, 0), far, NOTHING, RULES) is None
    wall = LineString([(2, -5), (2, 5)])
    assert two_tapes(Point(0, 0), {"A": Point(5, 0), "B": Point(0, 5)}, wall, RULES) is None


def test_square_off_a_line_by_the_3_4_5_triangle() -> None:
    # From (0, 0) to (5, 0) turned by the angle of the 3-4-5 triangle: 2 along and 1 to the left.
    fixed = {"A": Point(0, 0), "B": Point(8, 6)}
    place = Point(2 * 0.8 - 1 * 0.6, 2 * 0.6 + 1 * 0.8)
    found = square_off(place, fixed, NOTHING, RULES)
    assert found is not None
    assert (found.from_a, found.to_b, found.side) == ("A", "B", "left")
    assert (found.along_m, found.off_m) == pytest.approx((2.0, 1.0))


@given(st.floats(-4, 12), st.floats(-4, 8))
def test_the_offset_leads_back_to_the_place(x: float, y: float) -> None:
    fixed = {"A": Point(0, 0), "B": Point(9, 2), "C": Point(3, -8), "D": Point(-7, 5)}
    place = Point(x, y)
    found = square_off(place, fixed, NOTHING, RULES)
    if found is None:
        lines = [LineString([fixed[a], fixed[b]]) for a, b in ("AB", "AC", "AD", "BC", "BD", "CD")]
        inner = [shapely.ops.substring(line, 0.51, line.length - 0.51) for line in lines]
        # A place square off the middle of a line, within the ruler, is always told.
        for line in inner:
            foot = line.project(place)
            assert not (1e-6 < foot < line.length - 1e-6 and line.distance(place) < RULES.ruler_m)
        return
    assert found.off_m <= RULES.ruler_m
    a, b = fixed[found.from_a], fixed[found.to_b]
    ahead = complex(b.x - a.x, b.y - a.y) / a.distance(b)
    off = found.off_m * (1j if found.side == "left" else -1j)
    there = complex(a.x, a.y) + ahead * (found.along_m + off)
    assert abs(there - complex(x, y)) < 0.0015  # both told to the millimetre


def test_no_line_through_a_house_and_none_beyond_a_ruler() -> None:
    fixed = {"A": Point(0, 0), "B": Point(10, 0)}
    assert square_off(Point(5, RULES.ruler_m - 0.01), fixed, NOTHING, RULES) is not None
    assert square_off(Point(5, RULES.ruler_m + 0.01), fixed, NOTHING, RULES) is None
    assert square_off(Point(5, 1), fixed, box(3, -1, 4, 1), RULES) is None
    assert square_off(Point(12, 1), fixed, NOTHING, RULES) is None  # beyond the line's end
