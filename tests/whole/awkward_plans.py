"""The plans of the awkward gardens, each made once a run, where they were drawn."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from holds import PlanFile
from holds.route import sharpest_bend_deg
from kept import kept
from lawnplat.planned import Plan

from .awkward import GARDENS, local
from .planning import RULES, planned


@dataclass(frozen=True)
class Drawn:
    """A garden's plan: shapes as read from the file, moved back to where they were drawn."""

    plan: Plan
    file: PlanFile
    broken: tuple[str, ...]

    def all_of(self, layer: str) -> BaseGeometry:
        return local(self.file.all_of(layer))

    @property
    def lines(self) -> list[LineString]:
        return [local(line) for line in self.file["return_lines"].geometry]

    @property
    def wire(self) -> LineString:
        return local(self.file.wire)

    @property
    def enclosed(self) -> BaseGeometry:
        return local(self.file.enclosed)

    @property
    def station(self) -> Point:
        return local(self.file.station)

    def sections(self, *names: str) -> list[LineString]:
        frame = self.file["wire_sections"]
        return [local(line) for line in frame[frame["section"].isin(names)].geometry]

    def mown(self, *roles: str) -> BaseGeometry:
        frame = self.file["mowable"]
        return local(shapely.union_all(frame[frame["role"].isin(roles)].geometry))


@cache
def drawn(name: str, machine: str = "medium") -> Drawn:
    return kept(f"{name} for {machine}", lambda: _drawn(name, machine))


def _drawn(name: str, machine: str) -> Drawn:
    with TemporaryDirectory() as folder:
        plan, file, broken = planned(GARDENS[name].site(name), Path(folder), machine=machine)
        return Drawn(plan, file.in_memory(), tuple(broken))


def turns_deg(line: LineString) -> np.ndarray:
    """Return the change of direction of a line at its sharpest bend, arcs taken as one; one value.

    A machine longer than an arc does not see that it is drawn in many small bends.
    """
    rules = RULES.return_line
    return np.array([sharpest_bend_deg(line, rules.bend_within_share * rules.smallest_leg_m)])
