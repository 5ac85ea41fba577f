"""What a crew does about marks that no two tapes with a good cut reach."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby

from lawnplat.survey.types import Finding
from lawnplat.works.marks import STATION
from lawnplat.works.tapes import Square
from lawnplat.works.types import Mark

TWIN = "r"
"""Ends the name of a mark whose stake is another's: there a lead's wire comes back beside it."""


def unreached(marks: Sequence[Mark], squares: Mapping[str, str]) -> tuple[Finding, ...]:
    """Return a note for each run of marks without tapes: how they are found all the same.

    Square off the line of two fixed points where one passes near (``squares``, by the mark's name,
    in words or empty), and along the wire from the nearest mark that tapes reach. A mark that
    shares another's stake (``8r``) needs nothing of its own.
    """
    staked = [mark for mark in marks if mark.from_a or not mark.name.endswith(TWIN)]
    found: list[Finding] = []
    for wire, group in groupby(staked, key=lambda mark: mark.on):
        on_wire = list(group)
        at = 0
        for reached, run in groupby(on_wire, key=lambda mark: bool(mark.from_a)):
            count = len(list(run))
            if not reached:
                text = _text(on_wire[at : at + count], on_wire, wire, squares)
                place = on_wire[at].point
                found.append(Finding("setting_out", "note", text, count=count, place=place))
            at += count
    return tuple(found)


def square_in_words(square: Square | None, names: Mapping[int, str]) -> str:
    """Return how a mark is set off a line, with the names of its fixed points by index."""
    if square is None:
        return ""
    return (
        f"{square.along_m:.3f} m from {names[square.a]} on the line to {names[square.b]}, "
        f"{square.off_m:.3f} m square to its {square.side}"
    )


def _text(
    run: Sequence[Mark], on_wire: Sequence[Mark], wire: str, squares: Mapping[str, str]
) -> str:
    one = len(run) == 1
    name = f"mark {run[0].name}" if one else f"marks {run[0].name} to {run[-1].name}"
    ways = [f"{mark.name}: {squares[mark.name]}" for mark in run if squares.get(mark.name)]
    along = _along(run, on_wire, wire)
    ways += [along] if along else []
    ways = ways or ["take them with the rover, or from edge offsets and the marks beside them"]
    return f"no two tapes with a good cut reach {name}; {'; '.join(ways)}"


def _along(run: Sequence[Mark], on_wire: Sequence[Mark], wire: str) -> str:
    """Return the distances along the wire from the nearest mark that tapes reach."""
    known = [mark for mark in on_wire if mark.from_a]
    if not known or wire == STATION:
        return ""
    at_m = [mark.chainage_m for mark in run]
    near = min(known, key=lambda mark: min(abs(mark.chainage_m - each) for each in at_m))
    told = ", ".join(f"{abs(each - near.chainage_m):.2f}" for each in at_m)
    return f"along {wire} from mark {near.name}: {told} m"
