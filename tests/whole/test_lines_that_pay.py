"""A further line pays for the leads that it lengthens, and for itself; lines end without a curl."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from shapely import LineString

from .awkward_plans import drawn
from .planning import RULES

# By hand: the pond's wire runs 4 m about (5.3, 15), the boundary's 0.35 m inside x = 0; a pair
# straight between them is 0.95 m long, one round to the street's side or the far end over 8 m.
GAP_M = 5.3 - 4.0 - 0.35
CHORDS_M = 0.1  # wires are drawn by chords
APPROACH_M = 3.0
SQUARE_DEG = 60.0  # largest_bend_deg: what a machine follows


@pytest.mark.parametrize("machine", ["small", "medium", "large", "steep"])
def test_a_line_does_not_send_the_lead_the_long_way_round(machine: str) -> None:
    leads = drawn("pond_to_one_side", machine).sections("lead_out")
    assert sum(lead.length for lead in leads) == pytest.approx(GAP_M, abs=CHORDS_M)


def test_two_lines_pass_an_island_on_the_same_side(street) -> None:
    """Between lines on both sides its lead would be 12 m long, right across the lawn."""
    sections = gpd.read_file(street.plan_path("garden-02"), layer="wire_sections")
    leads = sections[sections["section"] == "lead_out"]
    # By hand, off the picture: seven islands, none over 2.5 m from its neighbour or the edge.
    assert leads.length.sum() < 7 * 2.5
    assert len(gpd.read_file(street.plan_path("garden-02"), layer="return_lines")) == 2


@pytest.mark.parametrize("machine", ["medium", "large", "steep"])
def test_a_line_each_side_of_a_pond_in_the_middle_pays_for_its_lead(machine: str) -> None:
    assert len(drawn("pond_in_the_only_way", machine).lines) == 2


@pytest.mark.parametrize("machine", ["medium", "large", "steep"])
def test_a_small_lawn_has_one_line(machine: str) -> None:
    assert len(drawn("lawn_of_25_m2", machine).lines) == 1


def test_further_lines_save_what_the_rules_ask() -> None:
    for name in ("U", "terrace", "courtyard", "twenty_trees", "pond_in_the_only_way"):
        lines = drawn(name).plan.layout.return_lines
        assert len(lines) == 2
        saved_m = lines[0].lawn_mean_m - lines[1].lawn_mean_m
        assert saved_m >= RULES.return_line.further_line_m


def curl_deg(line: LineString) -> float:
    """Return by how much the very end turns off from the last few metres."""
    end = np.array(line.coords[-1])
    before = np.array(line.interpolate(-APPROACH_M).coords[0])
    last = end - np.array(line.interpolate(-0.05).coords[0])
    turn = np.angle((last @ [1, 1j]) / ((end - before) @ [1, 1j]))
    return float(abs(np.degrees(turn)))


@pytest.mark.parametrize("machine", ["small", "medium", "large", "steep"])
@pytest.mark.parametrize("name", ["L", "bank_across", "island_by_the_edge", "terrace", "U"])
def test_lines_run_onto_the_perimeter_without_a_curl(name: str, machine: str) -> None:
    for line in drawn(name, machine).lines:
        assert curl_deg(line) <= SQUARE_DEG / 2
