"""What a spoilt plan is, and how rows and lines of a recorded plan are changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.evidence import Evidence
from lawnplat.proving.recorded import RecordedPlan, Row


@dataclass(frozen=True)
class Spoilt:
    """Evidence with one thing wrong. ``place`` is where, None where it has no place."""

    evidence: Evidence
    place: Point | None = None


Way = Callable[[Evidence], "Spoilt | None"]


def with_plan(evidence: Evidence, plan: RecordedPlan, place: Point | None = None) -> Spoilt:
    return Spoilt(replace(evidence, plan=plan), place)


def first(plan: RecordedPlan, layer: str, **wanted: object) -> int | None:
    """Return the index of the first row with these values; None where there is none."""
    for place, row in enumerate(plan.rows(layer)):
        if all(row.values.get(name) == value for name, value in wanted.items()):
            return place
    return None


def changed(
    plan: RecordedPlan, layer: str, at: int, shape: BaseGeometry | None = None, **values: object
) -> RecordedPlan:
    """Return the plan with one row's shape or values put in place of those it had."""
    rows = list(plan.rows(layer))
    row = rows[at]
    rows[at] = Row(shape or row.geometry, MappingProxyType({**row.values, **values}))
    return plan.with_rows(layer, rows)


def dropped(plan: RecordedPlan, layer: str, *at: int) -> RecordedPlan:
    rows = [row for place, row in enumerate(plan.rows(layer)) if place not in at]
    return plan.with_rows(layer, rows)


def numbered(plan: RecordedPlan) -> RecordedPlan:
    """Return the plan with its pegs numbered from 1 again."""
    rows = enumerate(plan.rows("pegs"), start=1)
    return plan.with_rows(
        "pegs", [replace(row, values={**row.values, "seq": seq}) for seq, row in rows]
    )


def points_of(plan: RecordedPlan, layer: str, at: int = 0) -> np.ndarray:
    return shapely.get_coordinates(plan.rows(layer)[at].geometry)


def redrawn(plan: RecordedPlan, layer: str, points: np.ndarray, at: int = 0) -> RecordedPlan:
    """Return the plan with a line drawn anew, its length told right."""
    line = LineString(points)
    return changed(plan, layer, at, line, length_m=line.length)


def chainages(points: np.ndarray) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])


def unit(step: np.ndarray) -> np.ndarray:
    return step / np.hypot(*step)


def left_of(step: np.ndarray) -> np.ndarray:
    return unit(np.array([-step[1], step[0]]))
