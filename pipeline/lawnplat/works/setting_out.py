"""Setting out: the marks of a layout with their tapes, edges and heights, and the fixed points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from string import ascii_uppercase

import numpy as np
import shapely

from lawnplat.geometry import FloatArray
from lawnplat.survey.types import Finding
from lawnplat.terrain.sample import height_at
from lawnplat.terrain.types import Terrain
from lawnplat.works.edge_offsets import edge_offsets
from lawnplat.works.fixed_points import candidates
from lawnplat.works.job import Job
from lawnplat.works.marks import NAN, STATION, Place, places_of, shifted
from lawnplat.works.tapes import Tapes, choose_tapes, solid_ground
from lawnplat.works.types import FixedPoint, Mark

TWIN = "r"
"""Ends the name of a mark whose stake is another's: there a lead's wire comes back beside it."""


@dataclass(frozen=True)
class SettingOut:
    """What is set out: the fixed points that tapes are hooked to, the marks, what is not reached.

    Only fixed points that some tape is hooked to, house corners first.
    """

    fixed_points: tuple[FixedPoint, ...]
    marks: tuple[Mark, ...]
    findings: tuple[Finding, ...]


def setting_out(job: Job) -> SettingOut:
    """Return all marks of a site, numbered through its loops, each with two tapes if any reach it.

    Distances are horizontal, in metres, told to the millimetre: on a slope the tape is held level.
    """
    rules = job.rules.setting_out
    places: list[Place] = []
    loops: list[int] = []
    for layout in job.layouts:
        more = places_of(layout, job.machine, job.rules)
        places += shifted(more, len(places))
        loops += [layout.loop] * len(more)
    marks = shapely.get_coordinates([each.point for each in places])
    corners = candidates(job.site, rules)
    tapes = choose_tapes(marks, corners, solid_ground(job.site, job.rules), rules)
    named = _named(tapes)
    names = mark_names(places)
    edges = edge_offsets(marks, job.site, rules)
    heights = _heights(job.terrain, marks)
    found = tuple(
        _mark(place, loop, name, _tapes(pair, named))
        for place, loop, name, pair in zip(places, loops, names, tapes, strict=True)
    )
    found = tuple(
        replace(
            mark,
            edge_offset_m=edge[0],
            edge=edge[1],
            height_m=float(height),
            to_mark=names[place.to] if place.to >= 0 else "",
        )
        for mark, place, edge, height in zip(found, places, edges, heights, strict=True)
    )
    points = tuple(
        FixedPoint(name, corners[index].what, corners[index].point)
        for index, name in named.items()
    )
    return SettingOut(points, found, _unreached(found))


@dataclass(frozen=True)
class _Told:
    """Two tapes as they are told: by the names of their fixed points."""

    a: str
    b: str
    dist_a_m: float
    dist_b_m: float
    cut_deg: float
    side: str


_NO_TAPES = _Told("", "", NAN, NAN, NAN, "")


def _tapes(pair: Tapes | None, named: dict[int, str]) -> _Told:
    if pair is None:
        return _NO_TAPES
    told = (pair.dist_a_m, pair.dist_b_m, pair.cut_deg, pair.side)
    return _Told(named[pair.a], named[pair.b], *told)


def _mark(place: Place, loop: int, name: str, told: _Told) -> Mark:
    return Mark(
        name=name,
        what=place.what,
        on=place.on,
        chainage_m=place.chainage_m,
        point=place.point,
        height_m=NAN,
        edge_offset_m=NAN,
        edge="",
        from_a=told.a,
        dist_a_m=told.dist_a_m,
        from_b=told.b,
        dist_b_m=told.dist_b_m,
        angle_deg=told.cut_deg,
        to_next_offset_m=place.to_next_offset_m,
        loop=loop,
        side=told.side,
    )


def mark_names(places: Sequence[Place]) -> list[str]:
    """Return the marks' numbers; a place that shares another's stake is called after it, ``8r``."""
    names: list[str] = []
    used = 0
    for each in places:
        name = f"{names[each.twin]}{TWIN}" if 0 <= each.twin < len(names) else ""
        if not name or name in names:
            used += 1
            name = str(used)
        names.append(name)
    return names


def letters(index: int) -> str:
    """Return the name of a fixed point: ``A`` to ``Z``, then ``A1`` to ``Z1``, ``A2`` ..."""
    turn, place = divmod(index, len(ascii_uppercase))
    return f"{ascii_uppercase[place]}{turn or ''}"


def _named(tapes: Sequence[Tapes | None]) -> dict[int, str]:
    """Return the names of the corners that a tape is hooked to, by their index, in order."""
    used = sorted({i for each in tapes if each is not None for i in (each.a, each.b)})
    return {corner: letters(place) for place, corner in enumerate(used)}


def _heights(terrain: Terrain, marks: FloatArray) -> FloatArray:
    """Return the ground's heights, NaN where no elevation was given."""
    if not len(marks):
        return np.empty(0)
    x, y = marks.T
    row, column = (np.rint(each).astype(int) for each in terrain.grid.fractional(x, y))
    rows, columns = terrain.known.shape
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    known = np.zeros(len(marks), dtype=bool)
    known[inside] = terrain.known[row[inside], column[inside]]
    return np.where(known, height_at(terrain, x, y), np.nan)


def _unreached(marks: Sequence[Mark]) -> tuple[Finding, ...]:
    """Say of each run of marks that no two tapes reach how it is measured along the wire.

    A mark that shares another's stake (``8r``) needs no tapes of its own.
    """
    staked = [mark for mark in marks if mark.from_a or not mark.name.endswith(TWIN)]
    found: list[Finding] = []
    for wire, group in groupby(staked, key=lambda mark: mark.on):
        on_wire = list(group)
        at = 0
        for reached, run in groupby(on_wire, key=lambda mark: bool(mark.from_a)):
            count = len(list(run))
            if not reached:
                found.append(_chained(on_wire[at : at + count], on_wire, wire))
            at += count
    return tuple(found)


def _chained(run: Sequence[Mark], on_wire: Sequence[Mark], wire: str) -> Finding:
    """Return the note for one run of marks, told from the nearest reached mark on the wire."""
    one = len(run) == 1
    name = f"mark {run[0].name}" if one else f"marks {run[0].name} to {run[-1].name}"
    text = f"no two tapes with a good cut reach {name}"
    known = [mark for mark in on_wire if mark.from_a]
    if known and wire != STATION:
        beside = min(
            known,
            key=lambda mark: min(abs(mark.chainage_m - each.chainage_m) for each in run),
        )
        away = (abs(mark.chainage_m - beside.chainage_m) for mark in run)
        told = ", ".join(f"{each:.2f}" for each in away)
        text += f": measure along {wire} from mark {beside.name}: {told} m"
    else:
        text += ": take it with the rover, or from its edge offset and the marks beside it"
    return Finding("setting_out", "note", text, count=len(run), place=run[0].point)
