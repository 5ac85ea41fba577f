"""Checks of marks and fixed points: every mark is where its two tapes meet, and on its wire."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pandas as pd
import shapely
from shapely import LineString, Point

from holds.given import CM, Case
from holds.plan_file import union

HALF_CM = 0.005
PRINTED = 3
"""Tapes are printed to the millimetre."""


def setting_out(case: Case) -> Iterator[str]:
    marks, fixed = case.plan["setting_out"], case.plan["fixed_points"]
    places = dict(zip(fixed["name"], fixed.geometry, strict=True))
    if len(places) < len(fixed) or marks["mark"].duplicated().any():
        yield "setting_out: a name stands twice"
    things = [thing.geometry for thing in case.things if thing.kind == "building"]
    houses = union(things).buffer(-2 * HALF_CM)
    for row in marks[marks["from_a"].fillna("") != ""].itertuples():
        if not {row.from_a, row.from_b} <= set(places):
            yield f"setting_out: mark {row.mark} is taped from a point that is not there"
            continue
        yield from _taped(case, row, places[row.from_a], places[row.from_b])
        for name in (row.from_a, row.from_b):
            if LineString([places[name], row.geometry]).intersects(houses):
                yield f"setting_out: the tape from {name} to mark {row.mark} meets a building"
    yield from _on_their_wires(case, marks)


def _taped(case: Case, row: pd.Series, a: Point, b: Point) -> Iterator[str]:
    rules = case.rules.setting_out
    tapes = (round(row.dist_a_m, PRINTED), round(row.dist_b_m, PRINTED))
    if max(tapes) > rules.longest_tape_m:
        yield f"setting_out: a tape of {max(tapes):.2f} m to mark {row.mark}"
    # Heron and the law of cosines: the mark in the frame of the line from a to b.
    apart = a.distance(b)
    foot = (tapes[0] ** 2 - tapes[1] ** 2 + apart**2) / 2 / apart
    off = math.sqrt(max(tapes[0] ** 2 - foot**2, 0)) * (1 if row.side == "left" else -1)
    ahead = complex(b.x - a.x, b.y - a.y) / apart
    back = complex(a.x, a.y) + complex(foot, off) * ahead
    away = abs(back - complex(row.geometry.x, row.geometry.y))
    if away > CM:
        yield f"setting_out: mark {row.mark} is {away:.3f} m from where its tapes meet"
    turn = (tapes[0] ** 2 + tapes[1] ** 2 - apart**2) / 2 / tapes[0] / tapes[1]
    cut = math.degrees(math.acos(max(-1.0, min(1.0, turn))))
    # A millimetre in a short tape turns the cut by a tenth of a degree.
    if not rules.smallest_cut_deg - 0.2 <= cut <= rules.largest_cut_deg + 0.2:
        yield f"setting_out: the tapes to mark {row.mark} cut at {cut:.1f} degrees"
    if abs(cut - row.angle_deg) > 0.5:
        yield f"setting_out: mark {row.mark} tells {row.angle_deg:.1f} for {cut:.1f} degrees"


def bare_marks(case: Case) -> Iterator[str]:
    """Marks without tapes are told of, each once, unless they share another's stake."""
    marks = case.plan["setting_out"]
    bare = marks[(marks["from_a"].fillna("") == "") & ~marks["mark"].str.endswith("r")]
    notes = case.plan["advisories"]
    told = notes[notes["rule"] == "setting_out"]["count"].sum()
    if told != len(bare):
        yield f"setting_out: {len(bare)} marks without tapes, {told} told of"


def _on_their_wires(case: Case, marks: pd.DataFrame) -> Iterator[str]:
    wires = {case.plan.perimeter_name: case.plan.wire} | {
        f"return_{row.line_no}": row.geometry for row in case.plan["return_lines"].itertuples()
    }
    for name, wire in wires.items():
        mine = marks[marks["on"] == name]
        places = shapely.line_interpolate_point(wire, mine["chainage_m"].to_numpy(float))
        if len(mine) == 0 or shapely.distance(mine.geometry.to_numpy(), places).max() > CM:
            yield f"setting_out: marks of {name} are not on it, or there are none"
    joints = case.plan["wire_joints"].geometry.to_numpy()
    every = shapely.multipoints(marks.geometry.to_numpy())
    if len(joints) and np.max(shapely.distance(joints, every)) > CM:
        yield "setting_out: a joint without a mark"
