"""The return lines: straight out of the station, the gentlest way, to a joint in the perimeter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point

from lawnplat.geometry import FloatArray
from lawnplat.ground.types import Part
from lawnplat.survey.types import Finding
from lawnplat.wire.corridor import Corridor, Ends, Leaving, corridor_of, ends_of
from lawnplat.wire.places import rim_of
from lawnplat.wire.return_advice import advice_on_lines, measured, no_way
from lawnplat.wire.return_drawing import drawn, straight_run_m
from lawnplat.wire.return_search import Searched, search_ends
from lawnplat.wire.scene import Scene
from lawnplat.wire.station import Siting
from lawnplat.wire.types import ReturnLine

_MOST_ENDS = 48
_ROOM_TO_TURN_M = 0.5
_WELL_INSIDE_M = 1.0
_ON_IT_M = 1e-3
_FAR_PERCENTILE = 95


@dataclass(frozen=True)
class Routed:
    """The return lines in the order in which they were chosen, and what has to be said."""

    lines: tuple[ReturnLine, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class _Proposal:
    """A line that could be added, and how far the lawn would then lie from its nearest line."""

    line: LineString
    near_m: FloatArray
    over: bool

    @property
    def mean_m(self) -> float:
        return _mean(self.near_m)


def route(scene: Scene, siting: Siting) -> Routed:
    """Route return lines from the station so that the lawn lies as near to one as can be.

    Of all joints on the perimeter that a way within the machine's gradient limit leads to, the one
    is taken from which the lawn's mean driving distance to a line, and a share of the line's own
    length, is least; parts behind passages come first where they are large. Where no way keeps the
    limit, the way whose steepest metre is least is taken. Further lines are added up to the
    machine's number while they lead to a part not reached yet, or shorten the mean distance by the
    rules' share. They lie side by side until they part, and never cross.
    """
    chosen: list[_Proposal] = []
    while len(chosen) < scene.machine.return_lines:
        proposal = _next_line(scene, siting, chosen)
        if proposal is None:
            break
        chosen.append(proposal)
    if not chosen:
        return Routed((), (no_way(scene, siting.station),))
    lines = tuple(
        _with_figures(scene, number, proposal) for number, proposal in enumerate(chosen, start=1)
    )
    findings: list[Finding] = []
    for line, proposal in zip(lines, chosen, strict=True):
        findings.extend(advice_on_lines(scene, siting.piece, line, over=proposal.over))
    findings.extend(_unreached(part) for part in _far_parts(scene, siting, chosen))
    return Routed(lines, tuple(findings))


def _with_figures(scene: Scene, number: int, proposal: _Proposal) -> ReturnLine:
    near_m = proposal.near_m[np.isfinite(proposal.near_m)]
    return measured(scene.terrain, number, proposal.line, _mean(near_m), _far(near_m))


def _mean(near_m: FloatArray) -> float:
    finite = near_m[np.isfinite(near_m)]
    return float(finite.mean()) if len(finite) else float("inf")


def _far(near_m: FloatArray) -> float:
    return float(np.percentile(near_m, _FAR_PERCENTILE)) if len(near_m) else float("nan")


def _next_line(scene: Scene, siting: Siting, chosen: Sequence[_Proposal]) -> _Proposal | None:
    """Return the best further line; None where none pays or fits."""
    far = _far_parts(scene, siting, chosen)
    before_m = chosen[-1].near_m if chosen else np.full(int(siting.network.mown.sum()), np.inf)
    asides = [aside * scene.rules.wire.pair_gap_m for aside in _sides(len(chosen))]
    roughs = [_rough(scene, siting, chosen, _Wanted(far, before_m), aside) for aside in asides]
    # Only the one line that a machine cannot do without may pass the gradient limit.
    fit = [rough for rough in roughs if rough is not None and not (chosen and rough.searched.over)]
    proposals = (
        _proposal(scene, siting, chosen, rough) for rough in sorted(fit, key=lambda way: way.rank)
    )
    best = next((proposal for proposal in proposals if proposal is not None), None)
    if best is None:
        return None
    if chosen and not _reaches(best.line, far):
        share = scene.rules.return_line.further_line_share
        if best.mean_m > (1 - share) * chosen[-1].mean_m:
            return None
    return best


def _sides(lines: int) -> tuple[float, ...]:
    """Return how many gaps to the left of the middle a further line may leave."""
    step = (lines + 1) // 2
    return (0.0,) if lines == 0 else (float(step), -float(step))


def _far_parts(scene: Scene, siting: Siting, chosen: Sequence[_Proposal]) -> list[Part]:
    """Return the linked parts of the station's piece that no line reaches yet, largest first."""
    mown_m2 = sum(part.area.area for part in scene.ground.parts)
    least_m2 = scene.rules.return_line.far_part_share * mown_m2
    parts = [
        part
        for part in scene.ground.parts
        if part.area.area >= least_m2
        and shapely.intersects(siting.piece, shapely.point_on_surface(part.area))
        and not shapely.dwithin(part.area, siting.station.point, _WELL_INSIDE_M)
        and not any(_reaches(proposal.line, [part]) for proposal in chosen)
    ]
    return sorted(parts, key=lambda part: -part.area.area)


def _reaches(line: LineString, parts: Sequence[Part]) -> bool:
    return any(shapely.intersection(line, part.area).length > _WELL_INSIDE_M for part in parts)


def _unreached(part: Part) -> Finding:
    return Finding(
        rule="return_line_reach",
        severity="note",
        text=(
            f"no return line leads to part {part.number} ({part.area.area:.0f} m2): the machine "
            "comes home from there along the perimeter"
        ),
        place=shapely.point_on_surface(part.area),
        measured=round(part.area.area, 1),
    )


@dataclass(frozen=True)
class _Wanted:
    """What a further line is for: parts not reached yet, lawn far from the lines so far."""

    far: Sequence[Part]
    before_m: FloatArray


@dataclass(frozen=True)
class _Rough:
    """The best way on the grid for a line that leaves the station in one place."""

    corridor: Corridor
    searched: Searched
    joint: FloatArray
    way: FloatArray
    rank: tuple[bool, float]
    """Whether it misses the parts wanted, then the score; the least is the best."""
    before_m: FloatArray


def _rough(
    scene: Scene,
    siting: Siting,
    chosen: Sequence[_Proposal],
    wanted: _Wanted,
    aside_m: float,
) -> _Rough | None:
    """Return the best way for a line ``aside_m`` left of the middle; None where there is none."""
    laid = [proposal.line for proposal in chosen]
    corridor = _leaving(scene, siting, laid, aside_m)
    spacing_m = max(1.0, rim_of(siting.piece).length / _MOST_ENDS)
    ends = ends_of(scene, corridor, spacing_m, [Point(line.coords[-1]) for line in laid])
    searched = search_ends(scene, corridor, ends)
    if searched is None:
        return None
    missed, score, place, way = _best_end(scene, siting, searched, ends, wanted)
    rank = (missed, score)
    return _Rough(corridor, searched, ends.joint[place], way, rank, wanted.before_m)


def _proposal(
    scene: Scene, siting: Siting, chosen: Sequence[_Proposal], rough: _Rough
) -> _Proposal | None:
    """Draw a rough way as it is laid; None where it would cross a line that is there."""
    limit = max(scene.machine.slope_return_pct / 100.0, rough.searched.ways.limit)
    line = drawn(scene, rough.corridor, rough.joint, rough.way, limit)
    if any(shapely.intersects(line, other.line) for other in chosen):
        return None
    near_m = np.minimum(rough.before_m, _near_m(siting, shapely.get_coordinates(line)))
    return _Proposal(line, near_m, rough.searched.over)


def _leaving(
    scene: Scene, siting: Siting, laid: Sequence[LineString], aside_m: float
) -> Corridor:
    """Return the corridor with the longest straight run that leads onto free ground."""
    least = straight_run_m(scene.rules)
    runs = (
        least + scene.base_ahead_m + _ROOM_TO_TURN_M,
        least + scene.base_ahead_m,
        least + scene.rules.ground.shape_tolerance_m,
    )
    for run_m in runs:
        leaving = Leaving(run_m, aside_m)
        corridor = corridor_of(scene, siting.piece, siting.station, leaving, laid)
        if shapely.dwithin(corridor.free, Point(corridor.start), _ON_IT_M + abs(aside_m)):
            break
    return corridor


def _near_m(siting: Siting, way: FloatArray) -> FloatArray:
    """Return the driving distance from every mown cell to the nearest place on a way."""
    dense = shapely.segmentize(LineString(way), siting.network.cell_m)
    return siting.network.ways_to_line_m(shapely.get_coordinates(dense))


def _best_end(
    scene: Scene, siting: Siting, searched: Searched, ends: Ends, wanted: _Wanted
) -> tuple[bool, float, int, FloatArray]:
    """Return the best end: whether it misses the parts wanted, its score, number and way."""
    home = shapely.get_coordinates(siting.station.point)
    found: list[tuple[bool, float, int, FloatArray]] = []
    for place, node in enumerate(searched.nodes):
        if node < 0 or not np.isfinite(searched.ways.cost[node]):
            continue
        way = searched.ways.to(int(node))
        whole = np.concatenate([home, way, ends.joint[place : place + 1]])
        line = LineString(whole)
        mean_m = _mean(np.minimum(wanted.before_m, _near_m(siting, whole)))
        score = mean_m + scene.rules.return_line.score_length * line.length
        found.append((not _reaches(line, wanted.far), score, place, way))
    return min(found, key=lambda row: row[:3])
