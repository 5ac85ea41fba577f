"""Two tapes held against a worked intersection of a surveying text.

Source: J. Mahun, Open Access surveying, COGO, part B (as in the project's table of facts): from
L (N 614.80, E 2255.90) at azimuth 117 22 40 and from M (N 791.53, E 2517.03) at 198 10 30 the point
P (N 524.9018, E 2429.4960), LP 195.4924, MP 280.6293, angle at P 80.797 degrees; feet.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point, Polygon

from lawnplat.settings.load import load_rule_book
from lawnplat.works.fixed_points import HOUSE, Candidate
from lawnplat.works.tapes import choose_tapes, two_tape_point

L, M, P = (2255.90, 614.80), (2517.03, 791.53), (2429.4960, 524.9018)
LP, MP, ANGLE_AT_P = 195.4924, 280.6293, 80.797
RULES = replace(load_rule_book().setting_out, longest_tape_m=300.0)


def test_the_published_distances_give_back_the_published_point() -> None:
    # The text rounds to 1e-4 and the cut is good: 2e-4 is what two such roundings can do.
    assert two_tape_point(L, M, LP, MP, "right") == pytest.approx(P, abs=2e-4)


def test_the_other_side_is_the_mirror_image() -> None:
    east, north = two_tape_point(L, M, LP, MP, "left")
    line = shapely.LineString([L, M])
    there = shapely.distance(line, Point(P))
    assert shapely.distance(line, Point(east, north)) == pytest.approx(there, abs=2e-4)
    assert math.dist((east, north), P) == pytest.approx(2 * there, abs=4e-4)


def test_the_published_angle_and_distances_are_those_of_the_chosen_tapes() -> None:
    fixed = [Candidate(HOUSE, "building corner", Point(each)) for each in (L, M)]
    (tapes,) = choose_tapes(np.array([P]), fixed, Polygon(), RULES)
    assert tapes is not None
    assert (tapes.a, tapes.b, tapes.side) == (0, 1, "right")
    # Told to 1e-3; the angle is published to 1e-3.
    assert (tapes.dist_a_m, tapes.dist_b_m) == pytest.approx((LP, MP), abs=6e-4)
    assert tapes.cut_deg == pytest.approx(ANGLE_AT_P, abs=1e-3)


@given(
    st.floats(-20, 20), st.floats(-20, 20), st.floats(-20, 20), st.floats(-20, 20)
)  # fmt: skip
def test_any_mark_comes_back_within_what_reading_to_a_millimetre_allows(
    ax: float, ay: float, bx: float, by: float
) -> None:
    """Half a millimetre in each tape moves the mark by that over sin or cos of half the cut.

    Source of the bound: the two circles are straight near the mark (error parallelogram).
    """
    fixed = [Candidate(HOUSE, "", Point(ax, ay)), Candidate(HOUSE, "", Point(bx, by))]
    (tapes,) = choose_tapes(np.zeros((1, 2)), fixed, Polygon(), RULES)
    if tapes is None:
        return
    a, b = (ax, ay), (bx, by)
    back = two_tape_point(a, b, tapes.dist_a_m, tapes.dist_b_m, tapes.side)
    half = math.radians(tapes.cut_deg / 2)
    assert math.hypot(*back) <= 0.0005 / min(math.sin(half), math.cos(half)) * 1.01 + 1e-9
    assert math.hypot(*back) < 0.002
