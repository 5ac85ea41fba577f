"""On a lawn hardly larger than a station's clear front the line goes straight ahead."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Polygon, affinity

from lawnplat.plan import plan_site
from lawnplat.settings.load import load_machine

from .awkward_plans import turns_deg
from .planning import RULES, moved, site_of, thing

# 22 m2, invented: from the station in the long side 2.4 m to the wire opposite, room for the clear
# front of 2 m and no way on round it.
LAWN = Polygon([(2.82, 13.65), (2.75, 21.62), (6.72, 22.04), (4.91, 14.98)])
HAIR_DEG = 0.5


@pytest.mark.parametrize("bearing_deg", [0.0, 30.0, 36.3, 45.0])
def test_a_line_on_a_tiny_lawn_neither_comes_back_nor_bends_sharply(bearing_deg: float) -> None:
    lawn = affinity.rotate(LAWN, bearing_deg, origin=(4, 17))
    by = thing("power_outlet", lawn.boundary.interpolate(1.0))
    site = site_of(moved(lawn), [by])
    plan = plan_site(site, machine=load_machine("small"), rules=RULES)
    (found,) = plan.layout.return_lines
    assert found.line.is_simple
    assert turns_deg(found.line).max(initial=0.0) <= RULES.return_line.largest_bend_deg + HAIR_DEG
    out = np.diff(np.array(found.line.coords)[[0, -1]], axis=0)[0]
    bearing = np.radians(plan.layout.station.bearing_deg)
    assert out @ (np.sin(bearing), np.cos(bearing)) > RULES.return_line.straight_run_m
