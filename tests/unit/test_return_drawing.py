"""Lines drawn along ways, by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
import shapely
from shapely import box

from lawnplat.settings.load import load_rule_book
from lawnplat.wire.corridor import Corridor
from lawnplat.wire.return_drawing import as_found
from lawnplat.wire.scene import Scene

SCENE = cast("Scene", SimpleNamespace(rules=load_rule_book()))
LAWN = box(-10, 0, 10, 20)


@pytest.mark.parametrize("aside_m", [-0.12, 0.0, 0.1])
def test_a_line_as_found_leaves_straight_where_its_way_lies_aside(aside_m: float) -> None:
    # By hand: the run goes north out of (0, 0); the way begins 2.4 m up, a little aside, and the
    # line turns off the run itself at that height.
    corridor = Corridor(
        LAWN, box(-9.7, 0.3, 9.7, 19.7), np.array([0.0, 3.0]), np.array([0.0, 1.0]), np.zeros(2)
    )
    way = np.array([[aside_m, 2.4], [1.0, 3.4], [2.0, 4.4], [9.0, 9.0]])
    line = as_found(SCENE, corridor, np.array([10.0, 9.0]), way)
    assert line is not None
    np.testing.assert_allclose(line.coords[:2], [(0.0, 0.0), (0.0, 2.4)], atol=1e-9)
    assert shapely.hausdorff_distance(line, shapely.LineString([(0, 0), *way, (10, 9)])) < 0.3


def test_no_line_as_found_leaves_the_ground() -> None:
    corridor = Corridor(
        LAWN, box(-9.7, 0.3, 5.0, 19.7), np.array([0.0, 3.0]), np.array([0.0, 1.0]), np.zeros(2)
    )
    way = np.array([[0.0, 2.4], [9.0, 9.0]])
    assert as_found(SCENE, corridor, np.array([10.0, 9.0]), way) is None
