"""Rims that a technician would lay: straight across mouths, seams clear of trunks.

What is asked is common practice, no source. The gardens are those of `awkward`.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import LineString, box

from lawnplat.settings.load import load_machine

from .awkward import BED, GARDENS, NECK, local
from .awkward_plans import drawn
from .planning import RULES

EDGE_M = RULES.ground.open_edge_m


@pytest.mark.parametrize("machine", ["large", "steep"])
def test_the_wire_runs_nearly_straight_across_a_closed_neck(machine: str) -> None:
    found = drawn("neck_of_70_cm", machine)
    assert found.broken == ()
    edge = shapely.union_all(found.sections("edge"))
    west, south, east, north = NECK.bounds
    # A disc that touches both corners' arcs of the open edge's radius reaches this far beyond the
    # straight line between them: the machine's own 0.48 m, one of four passages 0.07 m.
    half_m, disc_m = (east - west) / 2, 4 * load_machine(machine).smallest_passage_m
    bulge_m = EDGE_M + disc_m - np.sqrt((disc_m + EDGE_M) ** 2 - half_m**2)
    mouths = edge.intersection(box(west, south - 1, east, north + 1))
    assert mouths.bounds[1] < south < north < mouths.bounds[3]
    # The corner radius of 0.3 m rounds the joint to the straight line: it is nearer, never farther.
    into = shapely.intersection(mouths, box(west, south - EDGE_M, east, north + EDGE_M))
    inner = [abs(y - side) for _, y in shapely.get_coordinates(into) for side in (south, north)]
    assert EDGE_M - min(inner) <= bulge_m + 0.02


@pytest.mark.parametrize("machine", ["small", "medium", "large", "steep"])
def test_no_wire_bulges_in_behind_a_bed_by_the_edge(machine: str) -> None:
    found = drawn("island_by_the_edge", machine)
    assert found.broken == ()
    west, south, east, _ = BED.bounds
    setback_m = RULES.kinds["flower_bed"].setback_m
    # By 5 cm the wire may draw in along the rounded corner of the bed's setback.
    behind = box(west - setback_m + 0.05, 0, east + setback_m - 0.05, south)
    assert found.wire.intersection(behind).length == 0


def test_a_seam_leaves_trunks_alone() -> None:
    garden, found = GARDENS["twenty_trees"], drawn("twenty_trees", "small")
    plan, file = found.plan, found.file
    assert found.broken == ()
    assert file.loops == [1, 2]
    # No wire runs round a trunk, and none is nearer to one than its setback.
    assert "tree" not in set(file["wire_sections"]["against"])
    wires = local(shapely.union_all(list(file["perimeter_wire"].geometry)))
    near_m = wires.distance(garden.of("tree"))
    assert near_m >= RULES.kinds["tree"].setback_m
    seams = file["wire_sections"].query("against == 'loop_seam'").geometry
    for seam in seams:
        straight = LineString([seam.coords[0], seam.coords[-1]])
        assert seam.hausdorff_distance(straight) < 0.4  # corners of 0.3 m at its ends
    assert plan.ground is not None
