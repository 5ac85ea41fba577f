"""Setting out: the marks of a layout with their tapes, edges and heights, and the fixed points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
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
from lawnplat.works.marks import NAN, Place, places_of, shifted
from lawnplat.works.tapes import Square, Tapes, choose_tapes, solid_ground, square_off
from lawnplat.works.types import FixedPoint, Mark
from lawnplat.works.unreached import TWIN, square_in_words, unreached


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
    places, loops = _places(job)
    marks = shapely.get_coordinates([each.point for each in places])
    corners = candidates(job.site, rules)
    solid = solid_ground(job.site, job.rules)
    tapes = choose_tapes(marks, corners, solid, rules)
    squares = {
        index: square_off(marks[index], corners, solid, rules)
        for index, each in enumerate(places)
        if tapes[index] is None and each.twin < 0
    }
    named = _named([*tapes, *squares.values()])
    names = mark_names(places)
    found = tuple(
        _mark(place, loop, name, _tapes(pair, named))
        for place, loop, name, pair in zip(places, loops, names, tapes, strict=True)
    )
    measured = zip(
        found,
        edge_offsets(marks, job.site, rules),
        _heights(job.terrain, marks),
        (names[each.to] if each.to >= 0 else "" for each in places),
        strict=True,
    )
    found = tuple(
        replace(mark, edge_offset_m=off_m, edge=edge, height_m=float(height), to_mark=to)
        for mark, (off_m, edge), height, to in measured
    )
    points = tuple(
        FixedPoint(name, corners[index].what, corners[index].point)
        for index, name in named.items()
    )
    told = {names[index]: square_in_words(each, named) for index, each in squares.items()}
    return SettingOut(points, found, unreached(found, told))


def _places(job: Job) -> tuple[list[Place], list[int]]:
    """Return the places of all loops, and the loop of each."""
    places: list[Place] = []
    loops: list[int] = []
    for layout in job.layouts:
        more = places_of(layout, job.machine, job.rules)
        places += shifted(more, len(places))
        loops += [layout.loop] * len(more)
    return places, loops


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


def _named(tapes: Sequence[Tapes | Square | None]) -> dict[int, str]:
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
