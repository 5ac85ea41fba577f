"""What the wire goes round and runs by that somebody has to walk along at hand-over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely import LineString

from lawnplat.wire.types import Layout, WireSection

DANGEROUS = ("water", "drop", "too_steep", "cross_fall")
"""What a wire may run against where a machine that goes over it is lost, or falls."""
_ALONG = ("edge", "island")
_SAME_M = 1e-6
_GAPS = 3.0
"""The wire's two ends at an island lie a pair's gap apart; other islands lie much further."""


@dataclass(frozen=True)
class Island:
    """One island: where the wire comes to it first, what it stands for, the wire round it."""

    from_m: float
    kinds: tuple[str, ...]
    length_m: float


@dataclass(frozen=True)
class Stretch:
    """All wire of one loop that runs against one thing."""

    kind: str
    length_m: float
    nearest_m: float
    """Least distance from it, as planned."""
    spans_m: tuple[tuple[float, float], ...]
    """Chainages, in laying order."""


def islands_of(layout: Layout, pair_gap_m: float) -> tuple[Island, ...]:
    """Return the islands of one loop in laying order.

    The wire round one island may be interrupted by the lead to another: runs that nearly touch
    are of one island.
    """
    islands: list[list[WireSection]] = []
    for run in _runs([s for s in layout.perimeter.sections if s.section == "island"]):
        line = _line(run)
        own = next((i for i in islands if _near(_line(i), line, _GAPS * pair_gap_m)), None)
        if own is None:
            islands.append(list(run))
        else:
            own.extend(run)
    return tuple(
        Island(
            from_m=each[0].from_m,
            kinds=tuple(dict.fromkeys(section.against for section in each)),
            length_m=sum(section.to_m - section.from_m for section in each),
        )
        for each in islands
    )


def leads_out(layout: Layout) -> int:
    """Return how many leads leave a wire of one loop, to islands and to lawns apart."""
    return len(_runs([s for s in layout.perimeter.sections if s.section == "lead_out"]))


def dangerous_stretches(layout: Layout) -> tuple[Stretch, ...]:
    """Return the wire of one loop that runs by water, falls and steep ground, by kind."""
    found = []
    for kind in DANGEROUS:
        against = [
            section
            for section in layout.perimeter.sections
            if section.against == kind and section.section in _ALONG
        ]
        if against:
            found.append(_stretch(kind, against))
    return tuple(found)


def _stretch(kind: str, against: Sequence[WireSection]) -> Stretch:
    runs = _runs(against)
    return Stretch(
        kind,
        sum(section.to_m - section.from_m for section in against),
        min(section.setback_m for section in against),
        tuple((run[0].from_m, run[-1].to_m) for run in runs),
    )


def _runs(sections: Sequence[WireSection]) -> list[list[WireSection]]:
    """Return sections in runs that follow on without a break."""
    runs: list[list[WireSection]] = []
    for section in sections:
        if runs and section.from_m - runs[-1][-1].to_m < _SAME_M:
            runs[-1].append(section)
        else:
            runs.append([section])
    return runs


def _line(sections: Sequence[WireSection]) -> shapely.MultiLineString:
    return shapely.MultiLineString([LineString(section.line) for section in sections])


def _near(one: shapely.MultiLineString, other: shapely.MultiLineString, gap_m: float) -> bool:
    return bool(shapely.dwithin(one, other, gap_m))
