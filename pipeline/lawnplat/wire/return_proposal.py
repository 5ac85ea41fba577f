"""A return line that could be added: the best way on the grid, drawn, and what it is worth."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point
from shapely.ops import substring

from lawnplat.geometry import FloatArray, union
from lawnplat.ground.types import Part
from lawnplat.wire.ahead_line import ahead_line
from lawnplat.wire.corridor import (
    MEETING_DEG,
    Corridor,
    Ends,
    Leaving,
    corridor_of,
    ends_of,
    straight_run_m,
)
from lawnplat.wire.places import rim_of
from lawnplat.wire.return_advice import keeps_rules, sharpest_bend
from lawnplat.wire.return_drawing import as_found, drawn
from lawnplat.wire.return_search import (
    GENTLY,
    Gently,
    Searched,
    search_ends,
    search_smooth_ends,
)
from lawnplat.wire.scene import Scene
from lawnplat.wire.shorter_line import shortened, shortened_on_bare_ground
from lawnplat.wire.station import Siting

_MOST_ENDS = 48
_ROOM_TO_TURN_M = 0.5
_SWITCHBACK_SHARE = 1.5
"""A bend over the largest allowed by this is a switchback: no closer corners make it gentle."""
_WELL_INSIDE_M = 1.0
_ON_IT_M = 1e-3
_APPROACH_M = 3.0
"""The last stretch of a way, that tells in which direction it comes to the perimeter."""


@dataclass(frozen=True)
class Wanted:
    """What a line is for: parts not reached yet, lawn far from the lines so far."""

    far: Sequence[Part]
    before_m: FloatArray
    most_mean_m: float = float("inf")
    """A line that leads to none of the parts has to bring the mean distance down to this."""


@dataclass(frozen=True)
class _End:
    """A way on the grid to one joint; ``near_m`` is how far the lawn lies from it alone."""

    joint: FloatArray
    inner: FloatArray
    way: FloatArray
    line: LineString
    near_m: FloatArray
    hook: float
    """How far it has to curl to meet the perimeter: 0 not at all, 1 where it comes along it."""

    def rank(self, scene: Scene, wanted: Wanted) -> tuple[bool, float]:
        """Return whether it misses the parts wanted, then its score; the least is the best."""
        mean_m = mean_of(np.minimum(wanted.before_m, self.near_m))
        rules = scene.rules.return_line
        score = mean_m + rules.score_length * self.line.length + rules.score_hook * self.hook
        return not reaches(self.line, wanted.far), score

    def serves(self, wanted: Wanted) -> bool:
        """Return whether it leads to a part wanted, or brings the lawn near enough."""
        mean_m = mean_of(np.minimum(wanted.before_m, self.near_m))
        return mean_m <= wanted.most_mean_m or reaches(self.line, wanted.far)


@dataclass(frozen=True)
class _Rough:
    """All ways on the grid for a line that leaves the station in one place."""

    corridor: Corridor
    ends: Ends
    searched: Searched
    ways: Sequence[_End]
    gentle: bool = False
    """The ways were looked for so that they keep the rules' bends."""

    def best(self, scene: Scene, wanted: Wanted) -> _End:
        """Return the way that serves best what is wanted."""
        return min(self.ways, key=lambda end: end.rank(scene, wanted))


@dataclass(frozen=True)
class Proposal:
    """A line that could be added, and how far the lawn would then lie from its nearest line."""

    line: LineString
    near_m: FloatArray
    over: bool
    """No way keeps the machine's gradient limit."""
    clean: bool
    """It keeps the rules' bends, and the gradient limit as far as any way does."""
    rough: _Rough | None
    """The ways that it was chosen from; None for a line that only goes ahead."""
    way: _End | None = None

    @property
    def mean_m(self) -> float:
        """Return the mean distance, infinite where no lawn is reached."""
        return mean_of(self.near_m)


def mean_of(near_m: FloatArray) -> float:
    """Return the mean of the finite distances, infinity where there is none."""
    finite = near_m[np.isfinite(near_m)]
    return float(finite.mean()) if len(finite) else float("inf")


def reaches(line: LineString, parts: Sequence[Part]) -> bool:
    """Return whether a line leads well into one of the parts."""
    return any(shapely.intersection(line, part.area).length > _WELL_INSIDE_M for part in parts)


def most_mean_m(scene: Scene, before: Proposal) -> float:
    """Return the mean distance to which a further line has to bring the lawn to pay."""
    rules = scene.rules.return_line
    return before.mean_m - max(rules.further_line_share * before.mean_m, rules.further_line_m)


def proposals(
    scene: Scene,
    siting: Siting,
    laid: Sequence[LineString],
    wanted: Wanted,
    asides_m: Sequence[float],
    *,
    far_only: bool = False,
) -> Iterator[Proposal]:
    """Yield lines that could be laid beside those ``laid``, the best first, each drawn when asked.

    First the cheapest ways, one for each place ``asides_m`` left of the middle where a line could
    leave the station; then ways that turn gently all along, for where none of those can be drawn
    without a bend or a gradient over the rules, at last these ways as they were found. None is
    yielded whose way does not serve what is
    wanted. With ``far_only`` ways end in the parts wanted, over the gradient limit where none keeps
    it.
    """
    within = wanted.far if far_only else ()
    roughs = [_rough(scene, siting, laid, aside_m, within) for aside_m in asides_m]
    # To draw a line takes longer than to find its way: none is drawn for nothing.
    fit = [rough for rough in roughs if rough and rough.best(scene, wanted).serves(wanted)]
    yield from _drawn(scene, siting, laid, wanted, fit)
    gentle: list[_Rough] = []
    for gently in GENTLY:
        smooth = [_smooth(scene, siting, laid, rough, gently) for rough in fit]
        ways = [way for way in smooth if way and way.best(scene, wanted).serves(wanted)]
        yield from _drawn(scene, siting, laid, wanted, ways)
        gentle += ways
    for rough in gentle:
        found = _as_found(scene, siting, rough, rough.best(scene, wanted), wanted.before_m)
        if found is not None and _may_lie(scene, found.line, laid):
            yield found


def instead(
    scene: Scene,
    siting: Siting,
    laid: Sequence[LineString],
    blocking: Proposal,
    wanted: Wanted,
) -> Proposal | None:
    """Return the line that would best go with ``blocking``, laid in its stead; None if the same.

    Parameters
    ----------
    scene : Scene
    siting : Siting
    laid : sequence of LineString
        The lines before that one.
    blocking : Proposal
        A line beside which no further one found room or paid.
    wanted : Wanted
        Parts that no line reaches yet, and how far the lawn lies from its nearest line before that
        one.
    """
    rough = blocking.rough
    if rough is None:
        return None
    beside = Wanted(wanted.far, blocking.near_m)
    best = rough.best(scene, beside)
    both_m = mean_of(np.minimum(blocking.near_m, best.near_m))
    if not reaches(best.line, wanted.far) and both_m > most_mean_m(scene, blocking):
        return None
    found = _as_laid(scene, siting, rough, best, wanted.before_m)
    for gently in GENTLY:
        if found.clean:
            break
        smooth = _smooth(scene, siting, laid, rough, gently)
        if smooth is not None:
            best = smooth.best(scene, beside)
            found = _as_laid(scene, siting, smooth, best, wanted.before_m)
    return found if _may_lie(scene, found.line, laid) else None


def _drawn(
    scene: Scene,
    siting: Siting,
    laid: Sequence[LineString],
    wanted: Wanted,
    roughs: Sequence[_Rough],
) -> Iterator[Proposal]:
    """Yield the lines as they are laid, the best first; none that would cross a line there."""
    ways = [(rough, rough.best(scene, wanted)) for rough in roughs]
    for rough, way in sorted(ways, key=lambda pair: pair[1].rank(scene, wanted)):
        proposal = _as_laid(scene, siting, rough, way, wanted.before_m)
        if _may_lie(scene, proposal.line, laid):
            yield proposal


def _may_lie(scene: Scene, line: LineString, laid: Sequence[LineString]) -> bool:
    """Return whether a line crosses neither one that is laid nor itself."""
    crosses = any(shapely.intersects(line, other) for other in laid)
    return not crosses and not _comes_back(line, scene)


def _comes_back(line: LineString, scene: Scene) -> bool:
    """Return whether a line crosses itself, or turns back along its own straight run."""
    apart_m = scene.rules.return_line.corridor_m
    run_m = straight_run_m(scene.rules)
    run = substring(line, 0.0, run_m)
    onward = substring(line, run_m + apart_m, line.length)
    return not line.is_simple or bool(shapely.dwithin(run, onward, apart_m / 2))


def _as_laid(
    scene: Scene,
    siting: Siting,
    rough: _Rough,
    way: _End,
    before_m: FloatArray,
    *,
    last_resort: bool = False,
) -> Proposal:
    """Return the line along a way; one that breaks a rule is worked on only as a last resort."""
    limit = max(scene.machine.slope_return_pct / 100.0, rough.searched.ways.limit)
    line = _along(scene, rough, way, limit)
    clean = keeps_rules(scene, line, limit)
    if not clean and (last_resort or not _switches_back(scene, line)):
        line = _along(scene, rough, way, limit, fine=True)
        clean = keeps_rules(scene, line, limit)
    if clean or last_resort:
        end = Ends(way.joint[None], way.inner[None])
        line = shortened(scene, rough.corridor, end, limit, line)
        clean = keeps_rules(scene, line, limit)
        if clean:
            line = shortened_on_bare_ground(scene, rough.corridor, end, limit, line)
    near_m = np.minimum(before_m, _near_m(siting, shapely.get_coordinates(line)))
    return Proposal(line, near_m, rough.searched.over, clean, rough, way)


def _as_found(
    scene: Scene, siting: Siting, rough: _Rough, way: _End, before_m: FloatArray
) -> Proposal | None:
    """Return the line along a gentle way as it was found; None where that breaks a rule."""
    limit = max(scene.machine.slope_return_pct / 100.0, rough.searched.ways.limit)
    line = as_found(scene, rough.corridor, way.joint, way.way)
    if line is None or not keeps_rules(scene, line, limit):
        return None
    line = shortened(scene, rough.corridor, Ends(way.joint[None], way.inner[None]), limit, line)
    near_m = np.minimum(before_m, _near_m(siting, shapely.get_coordinates(line)))
    return Proposal(line, near_m, rough.searched.over, clean=True, rough=rough, way=way)


def _along(
    scene: Scene, rough: _Rough, way: _End, limit: float, *, fine: bool = False
) -> LineString:
    return drawn(
        scene, rough.corridor, way.joint, way.way, limit, fine=fine, gentle=rough.gentle
    )


def _switches_back(scene: Scene, line: LineString) -> bool:
    most_deg = _SWITCHBACK_SHARE * scene.rules.return_line.largest_bend_deg
    return sharpest_bend(line, scene.rules)[0] > most_deg


def as_last_resort(
    scene: Scene,
    siting: Siting,
    proposal: Proposal,
    laid: Sequence[LineString],
    before_m: FloatArray,
) -> Proposal:
    """Return a line that breaks a rule as good as it can be, where no other is to be had."""
    if proposal.rough is None or proposal.way is None:
        return proposal
    better = _as_laid(
        scene, siting, proposal.rough, proposal.way, before_m, last_resort=True
    )
    return better if _may_lie(scene, better.line, laid) else proposal


def _rough(
    scene: Scene,
    siting: Siting,
    laid: Sequence[LineString],
    aside_m: float,
    within: Sequence[Part] = (),
) -> _Rough | None:
    """Return the ways for a line ``aside_m`` left of the middle; None where there is none.

    They end in the parts ``within``, where there are such.
    """
    corridor = _leaving(scene, siting, laid, aside_m)
    # Behind a line that bends across the straight run every way ends on that line's other side.
    run = LineString([corridor.station, corridor.start])
    if any(shapely.intersects(run, line) for line in laid):
        return None
    spacing_m = max(1.0, rim_of(siting.piece).length / _MOST_ENDS)
    ends = ends_of(scene, corridor, spacing_m, [Point(line.coords[-1]) for line in laid])
    if within:
        parts = union([part.area for part in within])
        kept = np.asarray(shapely.contains_xy(parts, *ends.inner.T))
        ends = Ends(ends.joint[kept], ends.inner[kept])
    searched = search_ends(scene, corridor, ends)
    if searched is None:
        return None
    ways = _ways_to(siting, corridor, searched, ends, laid)
    return _Rough(corridor, ends, searched, ways) if ways else None


def _smooth(
    scene: Scene,
    siting: Siting,
    laid: Sequence[LineString],
    rough: _Rough,
    gently: Gently,
) -> _Rough | None:
    """Return ways that turn gently all along; None where there is none."""
    searched = search_smooth_ends(scene, rough.corridor, rough.ends, rough.searched, gently)
    if searched is None:
        return None
    ways = _ways_to(siting, rough.corridor, searched, rough.ends, laid)
    return _Rough(rough.corridor, rough.ends, searched, ways, gentle=True) if ways else None


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


def straight_ahead(scene: Scene, siting: Siting) -> Proposal | None:
    """Return the line that goes out of the station to the perimeter ahead; None where none may.

    On a lawn hardly larger than a station's clear front there is no room to turn beyond it.
    """
    line = ahead_line(scene, siting.piece, siting.station, straight_run_m(scene.rules))
    if line is None or not keeps_rules(scene, line, scene.machine.slope_return_pct / 100.0):
        return None
    near_m = _near_m(siting, shapely.get_coordinates(line))
    return Proposal(line, near_m, over=False, clean=True, rough=None)


def _near_m(siting: Siting, way: FloatArray) -> FloatArray:
    """Return the driving distance from every mown cell to the nearest place on a way."""
    return np.asarray(_near_each_m(siting, np.array([LineString(way)], dtype=object))[0])


def _near_each_m(siting: Siting, lines: NDArray[np.object_]) -> FloatArray:
    """Return the driving distance from every mown cell to each line. Shape (lines, cells)."""
    dense = shapely.segmentize(lines, siting.network.cell_m)
    points, owner = shapely.get_coordinates(dense, return_index=True)
    return siting.network.ways_to_lines_m(points, owner, len(lines))


def _ways_to(
    siting: Siting,
    corridor: Corridor,
    searched: Searched,
    ends: Ends,
    laid: Sequence[LineString],
) -> list[_End]:
    """Return the way to every end that is reached from the line's own side of those laid.

    A grid leaps over what a laid line takes beside the station; a way that crosses one there an odd
    number of times ends on its other side, and would have to cross it however it is drawn.
    """
    home = shapely.get_coordinates(siting.station.point)
    found = []
    for node, joint, inner in zip(searched.nodes, ends.joint, ends.inner, strict=True):
        if node >= 0 and np.isfinite(searched.ways.cost[node]):
            way = searched.ways.to(int(node))
            own = np.concatenate([corridor.station[None], way, joint[None]])
            if not any(_beyond(LineString(own), line) for line in laid):
                whole = LineString(np.concatenate([home, way, joint[None]]))
                found.append((joint, inner, way, whole, _hook(way, joint - inner)))
    if not found:
        return []
    near_m = _near_each_m(siting, np.array([whole for *_, whole, _ in found], dtype=object))
    return [
        _End(joint, inner, way, whole, near, hook)
        for (joint, inner, way, whole, hook), near in zip(found, near_m, strict=True)
    ]


def _beyond(way: LineString, line: LineString) -> bool:
    """Return whether a way ends on the other side of a line."""
    crossed = shapely.intersection(way, line)
    return not crossed.is_empty and bool(shapely.get_num_geometries(crossed) % 2)


def _hook(way: FloatArray, square: FloatArray) -> float:
    """Return how much of a curl a way needs to meet the wire that lies square to a direction."""
    line = shapely.linestrings(way if len(way) > 1 else way[[0, 0]])
    before = shapely.get_coordinates(shapely.line_interpolate_point(line, -_APPROACH_M))[0]
    come = way[-1] - before
    if not come.any():
        return 0.0
    along = float(come @ square) / (float(np.hypot(*come)) * float(np.hypot(*square)))
    off_deg = float(np.degrees(np.arccos(np.clip(along, -1.0, 1.0))))
    return float(np.clip((off_deg - MEETING_DEG) / (90.0 - MEETING_DEG), 0.0, 1.0))
