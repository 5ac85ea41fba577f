"""Collect what was noticed: the same thing noticed again raises a count, it adds no line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from shapely import Point

from lawnplat.survey.types import Finding

_NAMED = 5
"""So many rows are named; of more, only the number is told."""


@dataclass(frozen=True)
class RowPlace:
    """Where a thing stands in the files: a layer as it is shown, and a row counted from 1."""

    layer: str
    row: int

    def __str__(self) -> str:
        """Return the place in words."""
        return f"{self.layer}, row {self.row}"


@dataclass(frozen=True)
class Remark:
    """One thing noticed once. Equal ``rule``, ``severity`` and ``text`` make one finding."""

    rule: str
    severity: str
    text: str
    place: Point | None = None
    measured: float | None = None
    limit: float | None = None


@dataclass
class _Heap:
    first: Remark
    at: list[RowPlace] = field(default_factory=list)
    count: int = 0


class Notes:
    """Remarks gathered on one property, or on the files as a whole."""

    def __init__(self) -> None:
        self._heaps: dict[tuple[str, str, str], _Heap] = {}

    def add(self, remark: Remark, at: RowPlace | None = None) -> None:
        """Note one remark and the row that it is about."""
        key = (remark.rule, remark.severity, remark.text)
        heap = self._heaps.setdefault(key, _Heap(remark))
        heap.count += 1
        if at is not None:
            heap.at.append(at)

    def remarks(self) -> Iterator[tuple[Remark, RowPlace | None]]:
        """Yield what was gathered, one remark at a time, to be added elsewhere."""
        for heap in self._heaps.values():
            yield from ((heap.first, at) for at in heap.at)
            if not heap.at:
                yield heap.first, None

    def findings(self) -> tuple[Finding, ...]:
        """Return what was gathered, in the order in which each thing was first noticed.

        Place and measured value are those of the first remark of a kind.
        """
        return tuple(
            Finding(
                rule=heap.first.rule,
                severity=heap.first.severity,
                text=heap.first.text,
                where=_where(heap.at),
                count=heap.count,
                place=heap.first.place,
                measured=heap.first.measured,
                limit=heap.first.limit,
            )
            for heap in self._heaps.values()
        )


def _where(places: Sequence[RowPlace]) -> str:
    """Return layers and rows in words: ``garden.gpkg, layer features, rows 3, 8 and 12``."""
    rows: dict[str, list[int]] = {}
    for place in places:
        rows.setdefault(place.layer, []).append(place.row)
    return "; ".join(f"{layer}, {_rows(sorted(set(found)))}" for layer, found in rows.items())


def _rows(rows: Sequence[int]) -> str:
    if len(rows) == 1:
        return f"row {rows[0]}"
    named, more = rows[:_NAMED], len(rows) - _NAMED
    if more > 0:
        return f"rows {', '.join(map(str, named))} and {more} more"
    return f"rows {', '.join(map(str, named[:-1]))} and {named[-1]}"
