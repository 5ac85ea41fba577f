"""Lengths in columns, and the places of the parking tests."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely import LineString

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.laid_wires import return_lines, whole_number
from lawnplat.proving.recorded import RecordedPlan
from lawnplat.survey.types import Finding

_MM = 0.001
_AT_M = 0.01
_NAMES = {
    "perimeter_wire": "the perimeter wire",
    "return_lines": "a return line",
    "cable_route": "the low-voltage cable",
}


def length(evidence: Evidence) -> Iterator[Finding]:
    """Yield lengths in columns that are not those of the lines as drawn."""
    for layer, words in _NAMES.items():
        for row in evidence.plan.rows(layer):
            if not isinstance(row.geometry, LineString):
                continue
            steps = np.diff(shapely.get_coordinates(row.geometry), axis=0)
            found_m, told_m = float(np.hypot(*steps.T).sum()), row.number("length_m")
            if not abs(found_m - told_m) <= _MM:
                yield breach(
                    evidence, "length",
                    f"{words} is told as {told_m:.3f} m long, its line is {found_m:.3f} m",
                    row.geometry.interpolate(0.5, normalized=True), measured=told_m, limit=found_m,
                )  # fmt: skip
    yield from _cables(evidence)


def _cables(evidence: Evidence) -> Iterator[Finding]:
    """Yield stations whose distance to the outlet is not the length of their cable."""
    for row in evidence.plan.rows("station"):
        mine = evidence.plan.of_loop(whole_number(row, "loop", 1))
        drawn_m = [each.length for each in mine.shapes("cable_route")]
        told_m = row.number("outlet_distance_m")
        if drawn_m and not abs(sum(drawn_m) - told_m) <= _AT_M:
            yield breach(
                evidence, "length",
                f"the station is told {told_m:.2f} m of cable from its outlet, the route drawn is "
                f"{sum(drawn_m):.2f} m", row.point, measured=told_m,
                limit=sum(drawn_m),
            )  # fmt: skip


def parking_test(evidence: Evidence) -> Iterator[Finding]:
    """Yield return lines without an acceptance test, and tests that are off their place."""
    plan = evidence.plan
    wanted_m = evidence.rules.return_line.parking_test_m
    tests = plan.rows("parking_test")
    for line in return_lines(plan):
        mine = [row for row in tests if row.number("line_no") == line.number]
        if len(mine) != 1:
            yield breach(
                evidence, "parking_test", f"{len(mine)} parking tests are planned on {line.words}",
                line.place(min(wanted_m, line.length_m)), measured=len(mine), limit=1,
            )  # fmt: skip
        for row in mine:
            told_m, there = row.number("distance_m"), row.point
            least_m = min(wanted_m, line.length_m)
            if not told_m >= least_m - _MM or told_m > line.length_m + _MM:
                yield breach(
                    evidence, "parking_test",
                    f"the parking test on {line.words} starts {told_m:.2f} m out, "
                    f"{least_m:.2f} m are needed", there, measured=told_m, limit=least_m,
                )  # fmt: skip
            elif there is None or not there.distance(line.place(told_m)) <= _AT_M:
                off_m = np.inf if there is None else there.distance(line.place(told_m))
                yield breach(
                    evidence, "parking_test",
                    f"the parking test on {line.words} is drawn {off_m:.2f} m from the place "
                    f"{told_m:.2f} m out on it", there, measured=off_m, limit=_AT_M,
                )  # fmt: skip
    yield from _of_no_line(evidence, plan)


def _of_no_line(evidence: Evidence, plan: RecordedPlan) -> Iterator[Finding]:
    lines = {line.number for line in return_lines(plan)}
    for row in plan.rows("parking_test"):
        if row.number("line_no") not in lines:
            yield breach(
                evidence, "parking_test",
                f"a parking test is told on return line {row.text('line_no')}, which is not there",
                row.point,
            )  # fmt: skip
