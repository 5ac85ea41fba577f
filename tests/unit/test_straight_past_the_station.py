"""Where a rim may be drawn straight past a station: the machine still comes into both corners."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon

from lawnplat.ground.build import build_ground
from lawnplat.ground.straightened import cut_off
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Site
from lawnplat.terrain.build import build_terrain
from lawnplat.wire.places import places_on, rim_of
from lawnplat.wire.scene import Scene

RULES = load_rule_book()
STRAIGHT_M = RULES.station.straight_wire_m
ARC_M = 0.015  # rims drawn as chords, opened twice, come in by so much
LEFT_M2 = 0.02  # what the chords of arcs leave of a corner that is round


def outline(seed: int) -> Polygon:
    """Return a lawn with bows and tongues: four to thirteen corners about a middle, or discs."""
    draw = np.random.default_rng(seed)
    count = int(draw.integers(4, 14))
    angle = np.sort(draw.uniform(0, 2 * np.pi, count))
    far = draw.uniform(1.5, 7, count)
    corners = np.stack([far * np.cos(angle), far * np.sin(angle)], axis=1)
    star = Polygon(corners).buffer(0)
    if seed % 3 == 0:
        return star.buffer(-0.3).buffer(0.6)
    if seed % 3 == 2:
        return star
    spots = draw.uniform([-5, -5, 1.3], [5, 5, 4], size=(4, 3))
    return shapely.union_all([Point(x, y).buffer(radius) for x, y, radius in spots])


def drawn_in(lawn: Polygon, machine_class: str):
    """Yield what is left of the piece by each place to which its rim might be drawn in."""
    machine = load_machine(machine_class)
    site = Site("1", "invented", "EPSG:25832", lawn)
    terrain = build_terrain(site, machine, RULES, None)
    ground = build_ground(site, terrain, machine, RULES)
    piece = ground.wire_ground.pieces[0]
    scene = Scene(site, ground, terrain, machine, RULES)
    places = places_on(scene, piece, Polygon(), drawn_in=True)
    for at_m in places.chainage_m[places.stands() & (places.drawn_in_m > 0)]:
        yield cut_off(piece, rim_of(piece), at_m - STRAIGHT_M, at_m + STRAIGHT_M)[0]


def unreached_m2(left: Polygon, radius_m: float) -> float:
    """Return the largest scrap that a disc of this radius does not come into."""
    reached = left.buffer(-radius_m + ARC_M, quad_segs=32).buffer(radius_m, quad_segs=32)
    scraps = shapely.get_parts(shapely.difference(left, reached))
    return max((scrap.area for scrap in scraps), default=0.0)


@pytest.mark.parametrize(
    # Lawns on which chords left 0.02 to 0.1 m2 in a corner of 70 to 90 degrees.
    ("seed", "machine"),
    [(924, "steep"), (942, "medium"), (948, "large"), (969, "steep"), (977, "large")],
)
def test_the_machine_comes_into_the_corners_of_a_rim_drawn_straight(seed, machine):
    lawn = outline(seed)
    assert isinstance(lawn, Polygon)
    radius_m = load_machine(machine).smallest_passage_m / 2
    assert all(unreached_m2(left, radius_m) <= LEFT_M2 for left in drawn_in(lawn, machine))


@pytest.mark.parametrize("machine", ["small", "medium", "large", "steep"])
def test_a_gentle_bow_is_still_drawn_straight(machine):
    # On a circle of 4.35 m the wire runs at 4 m: a chord of 2 m lies 4 - sqrt(15) = 12.7 cm inside,
    # and turns by asin(1 / 4) = 14.5 degrees at its ends, less than any machine minds.
    circle = Point(0, 0).buffer(4 + RULES.ground.open_edge_m, quad_segs=32)
    assert len(list(drawn_in(circle, machine))) > 10
