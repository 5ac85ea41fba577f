"""Wire on inclined planes: every stretch over the edge limit has its advisory.

On a plane the fall across a straight piece of wire is the gradient times its outward normal, in
closed form. No line inward mends a plane, so that every such stretch has to be told of.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from lawnplat.plan import plan_site
from lawnplat.planned import Plan
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site

RULES = load_rule_book()
ROUNDING_PCT = 0.12  # a tenth of a percent over the limit is rounding
STEP_M = 0.12  # a rim is looked at every decimetre
BRIDGED_M = 0.9  # a stretch that a lead parts is one to whoever walks along it
NEAR_M = 1.0
LAWNS = {
    "square with a bed": (box(0, 0, 18, 14), Feature("flower_bed", box(7, 5, 11, 8), "bed")),
    "octagon": (Point(9, 9).buffer(9, quad_segs=2), None),
    "L": (Polygon([(0, 0), (20, 0), (20, 8), (9, 8), (9, 18), (0, 18)]), None),
}
# Slopes up to what each class mows, most of them over what it holds at an edge.
PLANES = [
    ("small", 12, 45), ("small", 18, 200), ("small", 24, 301),
    ("medium", 14, 0), ("medium", 17, 90), ("medium", 25, 135), ("medium", 34, 270),
    ("large", 16, 30), ("large", 30, 17), ("large", 39, 225),
    ("steep", 24, 60), ("steep", 27, 113), ("steep", 36, 180), ("steep", 45, 0), ("steep", 45, 45),
    ("steep", 45, 315), ("steep", 52, 77), ("steep", 59, 250),
]  # fmt: skip


def on_plane(name: str, machine: str, gradient: np.ndarray) -> Plan:
    lawn, thing = LAWNS[name]
    west, south, east, north = lawn.buffer(6).bounds
    sides = np.meshgrid(np.arange(west, east, 2), np.arange(south, north, 2))
    at = np.stack([side.ravel() for side in sides], axis=1)
    heights = np.column_stack([at, 100 + at @ gradient])
    outlet = Feature("power_outlet", Point(lawn.exterior.coords[0]), "outlet")
    features = (outlet,) if thing is None else (outlet, thing)
    site = Site("1", "invented", "EPSG:25832", lawn, features=features, spot_heights=heights)
    return plan_site(site, machine=load_machine(machine), rules=RULES)


def stretches_over(plan: Plan, gradient: np.ndarray) -> Iterator[tuple[BaseGeometry, float]]:
    """Yield wire over the edge limit for long enough to count, and its steepest fall, percent."""
    over = []
    for layout in plan.layouts:
        for section in layout.perimeter.sections:
            if section.section.startswith("lead"):
                continue
            points = shapely.get_coordinates(section.line)
            run = np.diff(points, axis=0)
            length_m = np.hypot(*run.T)
            left = np.stack([-run[:, 1], run[:, 0]], axis=1) / length_m[:, None]
            fall_pct = -100 * left @ gradient
            steep = np.flatnonzero(fall_pct > plan.machine.slope_edge_pct + ROUNDING_PCT)
            over.extend((LineString(points[at : at + 2]), float(fall_pct[at])) for at in steep)
    lines = shapely.union_all([line for line, _ in over])
    for group in shapely.get_parts(lines.buffer(BRIDGED_M / 2)):
        mine = [(line, fall_pct) for line, fall_pct in over if group.intersects(line)]
        if sum(line.length for line, _ in mine) >= RULES.ground.edge_stretch_m + STEP_M:
            yield shapely.union_all([line for line, _ in mine]), max(fall for _, fall in mine)


@pytest.mark.parametrize(("machine", "slope_pct", "uphill_deg"), PLANES)
def test_wire_over_the_edge_limit_is_told_of(machine, slope_pct, uphill_deg):
    name = list(LAWNS)[PLANES.index((machine, slope_pct, uphill_deg)) % len(LAWNS)]
    turned = np.radians(uphill_deg)
    gradient = slope_pct / 100 * np.array([np.sin(turned), np.cos(turned)])
    plan = on_plane(name, machine, gradient)
    assert plan.layouts
    told = [finding for finding in plan.findings if finding.rule == "edge_cross_fall"]
    found = list(stretches_over(plan, gradient))
    limit_pct = load_machine(machine).slope_edge_pct
    if slope_pct < limit_pct:
        assert not found
    elif slope_pct > 1.5 * limit_pct:
        # Some side of each lawn faces within 45 degrees of straight downhill.
        assert found
    for stretch, worst_pct in found:
        near = [each for each in told if each.place.distance(stretch) <= NEAR_M]
        assert near, f"{stretch.length:.1f} m of wire with {worst_pct:.1f} % are not told of"
        # Chords of a decimetre round an arc of 0.3 m are up to 0.17 rad aside of the steepest.
        assert max(each.measured for each in near) >= np.cos(0.17) * worst_pct - ROUNDING_PCT
        assert {each.severity for each in near} == {"warn"}
