"""Pegs, measured along the wires of the written layers; the planner's code is not asked.

The limits are the issue's: at most the rule book's spacing along the wire, a peg on every bend,
pairs share theirs, and a straight from peg to peg leaves the wire by 3 cm at most.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import LineString
from shapely.ops import substring

from holds import PlanFile

from .awkward import GARDENS
from .awkward_plans import drawn
from .conftest import Run
from .planning import RULES

SPACING_M, CHORD_M = 0.70, 0.03
BEND_DEG = RULES.pegs.bend_deg
ONE_PLACE_M = 0.006  # vertices so close under one peg
PAIR_M = 2 * RULES.wire.pair_gap_m
PLANNED = tuple(f"garden-0{n}" for n in (1, 2, 3, 4, 6, 7, 8, 9))


@pytest.fixture(scope="module")
def files(street: Run) -> dict[str, PlanFile]:
    return {name: street.plan(name) for name in PLANNED} | {
        name: drawn(name).file for name in GARDENS
    }


def wires(file: PlanFile) -> dict[str, LineString]:
    lines = file["return_lines"]
    return {"perimeter": file.wire} | {
        f"return_{row.line_no}": row.geometry for row in lines.itertuples()
    }


def ways_back(file: PlanFile, name: str) -> pd.DataFrame:
    sections = file["wire_sections"]
    return sections[(sections["section"] == "lead_back") & (name == "perimeter")]


def on_way_back(back: pd.DataFrame, first: float, last: float) -> bool:
    middle = (first + last) / 2
    return bool(((back["from_m"] < middle) & (middle < back["to_m"])).any())


def test_pegs_are_close_along_the_wire_and_no_chord_leaves_it(files: dict[str, PlanFile]) -> None:
    looked = 0
    for garden, file in files.items():
        for name, wire in wires(file).items():
            pegs = file["pegs"]
            at = pegs[pegs["on"] == name]["chainage_m"].to_numpy()
            assert at[0] < ONE_PLACE_M
            assert wire.length - at[-1] < ONE_PLACE_M
            back = ways_back(file, name)
            for first, last in pairwise(at):
                if on_way_back(back, first, last):
                    continue
                assert last - first <= SPACING_M + 1e-6, (garden, name, first)
                part = substring(wire, first, last)
                chord = LineString([part.coords[0], part.coords[-1]])
                off = shapely.distance(shapely.points(part.coords), chord).max()
                assert off <= CHORD_M + 1e-6, (garden, name, first)
                looked += 1
    assert looked > 5000


def test_a_way_back_is_held_by_its_pair_s_pegs(files: dict[str, PlanFile]) -> None:
    looked = 0
    for garden, file in files.items():
        back = ways_back(file, "perimeter")
        pegs = file["pegs"]
        own = pegs[pegs["on"] == "perimeter"]
        held = own.geometry.to_numpy()
        for row in back.itertuples():
            # Each peg of the pair holds the wire where it passes; in laying order they lie close.
            near = shapely.distance(held, row.geometry) <= PAIR_M
            at = np.sort(shapely.line_locate_point(row.geometry, held[near]))
            stops = np.concatenate([[0.0], at, [row.geometry.length]])
            assert np.diff(stops).max() <= SPACING_M + PAIR_M, (garden, row.from_m)
            inner = own["chainage_m"].between(row.from_m + PAIR_M, row.to_m - PAIR_M)
            assert not (inner & (own["reason"] != "joint")).any(), (garden, row.from_m)
            looked += 1
    assert looked > 10


def test_every_bend_has_its_peg(files: dict[str, PlanFile]) -> None:
    bends = 0
    for garden, file in files.items():
        pegs = shapely.multipoints(file["pegs"].geometry.to_numpy())
        for name, wire in wires(file).items():
            points = shapely.get_coordinates(wire)
            run = np.diff(points, axis=0) @ [1, 1j]
            turn = np.abs(np.degrees(np.angle(run[1:] / run[:-1])))
            sharp = shapely.points(points[1:-1][turn >= BEND_DEG + 1e-6])
            # One peg holds both wires of a pair, and vertices within its own thickness.
            assert (shapely.distance(sharp, pegs) <= PAIR_M).all(), (garden, name)
            bends += len(sharp)
    assert bends > 50


def test_curves_are_pegged_closer_than_straights(files: dict[str, PlanFile]) -> None:
    """By the chord: 0.70 m over an arc of radius r leaves it by about 0.49 / 8r, 3 cm at 2 m."""
    file = files["garden-03"]  # without leads, whose pairs share pegs
    pegs = file["pegs"]
    at = pegs[pegs["on"] == "perimeter"]["chainage_m"].to_numpy()
    tight, straight = [], []
    for first, last in pairwise(at):
        part = substring(file.wire, first, last)
        chord = part.coords[0], part.coords[-1]
        bow = part.length - LineString(chord).length
        (tight if bow > 0.005 else straight).append(last - first)
    assert max(straight) > 0.6
    assert max(tight) < 0.6
