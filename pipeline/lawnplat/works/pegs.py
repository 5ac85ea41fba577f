"""Pegs: at every bend and joint, never further apart than the rules allow, shared by wire pairs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString, Point

from lawnplat.geometry import FloatArray
from lawnplat.settings.types import RuleBook
from lawnplat.wire.joints import return_name
from lawnplat.wire.loops import perimeter_name
from lawnplat.wire.rounding import bends_deg
from lawnplat.wire.types import Joint, Layout, WireSection
from lawnplat.works.types import Peg

_ONE_PEG_M = 0.005
"""Two fixed places closer than this are one place found twice."""


@dataclass(frozen=True)
class _Wire:
    """A wire to be pegged: its vertices and their chainage, and stretches pegged by another's."""

    name: str
    points: FloatArray
    chainage_m: FloatArray
    shared: tuple[tuple[float, float], ...]


def pegs_of(layout: Layout, rules: RuleBook, *, first_number: int = 1) -> tuple[Peg, ...]:
    """Return all pegs of one loop in laying order: the perimeter first, then the return lines.

    On the way back along a lead no pegs are counted: its pair on the way out holds both wires, and
    those pegs carry the reason ``pair``.
    """
    sections = layout.perimeter.sections
    back = tuple((s.from_m, s.to_m) for s in sections if s.section == "lead_back")
    perimeter = perimeter_name(layout.loop)
    wires = [_wire(perimeter, layout.perimeter.line, back)]
    wires += [_wire(return_name(line.number), line.line, ()) for line in layout.return_lines]
    found: list[Peg] = []
    for wire in wires:
        fixed = [joint for joint in layout.joints if joint.on == wire.name]
        for chainage_m, reason in _placed(wire, fixed, rules):
            on_pair = wire.name == perimeter and _on_lead(chainage_m, sections)
            point = Point(_at(wire, chainage_m))
            told = "pair" if on_pair and reason != "joint" else reason
            found.append(Peg(first_number + len(found), wire.name, chainage_m, told, point))
    return tuple(found)


def _wire(name: str, line: LineString, shared: tuple[tuple[float, float], ...]) -> _Wire:
    points = shapely.get_coordinates(line)
    runs = np.hypot(*np.diff(points, axis=0).T)
    return _Wire(name, points, np.concatenate([[0.0], np.cumsum(runs)]), shared)


def _on_lead(chainage_m: float, sections: Iterable[WireSection]) -> bool:
    return any(
        s.section == "lead_out" and s.from_m <= chainage_m <= s.to_m for s in sections
    )


def _placed(wire: _Wire, joints: list[Joint], rules: RuleBook) -> list[tuple[float, str]]:
    """Return chainage and reason of every peg on one wire, in order."""
    must: dict[float, str] = {0.0: "joint", float(wire.chainage_m[-1]): "joint"}
    must.update((chainage, "bend") for chainage in _bends(wire, rules))
    must.update((joint.chainage_m, "joint") for joint in joints)
    for first, last in wire.shared:
        must.setdefault(first, "bend")
        must.setdefault(last, "bend")
    stops = _apart(must)
    placed = [(stops[0], must[stops[0]])]
    for here, there in pairwise(stops):
        placed.extend((chainage, "spacing") for chainage in _between(wire, here, there, rules))
        placed.append((there, must[there]))
    return [
        (chainage, reason)
        for chainage, reason in placed
        if not any(first + 1e-9 < chainage < last - 1e-9 for first, last in wire.shared)
    ]


def _apart(must: dict[float, str]) -> list[float]:
    """Return the fixed pegs' chainages in order; of two at one place a joint's is kept."""
    stops: list[float] = []
    for chainage in sorted(must):
        if stops and chainage - stops[-1] < _ONE_PEG_M:
            if must[chainage] == "joint" and must[stops[-1]] != "joint":
                stops[-1] = chainage
            continue
        stops.append(chainage)
    return stops


def _bends(wire: _Wire, rules: RuleBook) -> list[float]:
    """Return the chainages where the wire changes direction at one point."""
    sharp = bends_deg(wire.points) >= rules.pegs.bend_deg
    return [float(chainage) for chainage in wire.chainage_m[1:-1][sharp]]


def _between(wire: _Wire, start_m: float, end_m: float, rules: RuleBook) -> list[float]:
    """Return the pegs needed between two fixed ones.

    Straights and curves are taken apart where the wire's direction begins and ends to change; a
    straight is pegged evenly, a curve evenly and as closely as its offset asks.
    """
    stops = [start_m, *_changes(wire, start_m, end_m, rules), end_m]
    pegs: list[float] = []
    for here, there in pairwise(stops):
        pegs.extend(_evenly(wire, here, there, rules))
        pegs.append(there)
    return pegs[:-1]


def _changes(wire: _Wire, start_m: float, end_m: float, rules: RuleBook) -> list[float]:
    """Return the ends of straights longer than the peg spacing that meet a curve."""
    inner = (wire.chainage_m > start_m + 1e-9) & (wire.chainage_m < end_m - 1e-9)
    stops = np.concatenate([[start_m], wire.chainage_m[inner], [end_m]])
    long_run = np.diff(stops) > rules.pegs.spacing_m
    ends = np.concatenate([[False], long_run]) | np.concatenate([long_run, [False]])
    return [float(stop) for stop in stops[1:-1][ends[1:-1]]]


def _evenly(wire: _Wire, start_m: float, end_m: float, rules: RuleBook) -> list[float]:
    least = max(int(np.ceil((end_m - start_m) / rules.pegs.spacing_m - 1e-9)), 1)
    most = least + int((wire.chainage_m >= start_m).sum()) + 1
    for count in range(least, most):
        chainages = np.linspace(start_m, end_m, count + 1)
        if _off_chord(wire, chainages) <= rules.pegs.curve_offset_m:
            break
    return [float(chainage) for chainage in chainages[1:-1]]


def _off_chord(wire: _Wire, chainages: FloatArray) -> float:
    """Return how far the wire leaves the straight lines between neighbouring pegs, at most."""
    inner = (wire.chainage_m > chainages[0]) & (wire.chainage_m < chainages[-1])
    if not inner.any():
        return 0.0
    at = wire.chainage_m[inner]
    before = np.searchsorted(chainages, at, side="right") - 1
    pegs = _at(wire, chainages)
    start, run = pegs[before], pegs[before + 1] - pegs[before]
    offset = wire.points[inner] - start
    length = np.maximum(np.hypot(run[:, 0], run[:, 1]), 1e-9)
    off = np.abs(offset[:, 0] * run[:, 1] - offset[:, 1] * run[:, 0]) / length
    return float(off.max())


def _at(wire: _Wire, chainage_m: FloatArray | float) -> FloatArray:
    x = np.interp(chainage_m, wire.chainage_m, wire.points[:, 0])
    y = np.interp(chainage_m, wire.chainage_m, wire.points[:, 1])
    return np.stack([x, y], axis=-1)
