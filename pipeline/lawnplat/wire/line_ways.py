"""Ways over a grid on which a return line could lie, to every place where it could be joined."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point

from lawnplat.geometry import FloatArray, union
from lawnplat.ground.types import Part
from lawnplat.wire.corridor import (
    MEETING_DEG,
    Corridor,
    Ends,
    Leaving,
    corridor_of,
    ends_of,
    straight_run,
    straight_run_m,
)
from lawnplat.wire.places import rim_of
from lawnplat.wire.return_search import Gently, Searched, search_ends, search_smooth_ends
from lawnplat.wire.scene import Scene
from lawnplat.wire.station import Siting

_MOST_ENDS = 48
_ROOM_TO_TURN_M = 0.5
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
class WayTo:
    """A way on the grid to one joint; ``near_m`` is how far the lawn lies from it alone."""

    joint: FloatArray
    inner: FloatArray
    way: FloatArray
    line: LineString
    near_m: FloatArray
    hook: float
    """How far it has to curl to meet the perimeter: 0 not at all, 1 where it comes along it."""

    @property
    def end(self) -> Ends:
        """Return the one place where it ends."""
        return Ends(self.joint[None], self.inner[None])

    def own(self, corridor: Corridor) -> LineString:
        """Return the way from where a line leaves the station, which lies aside of its middle."""
        return LineString(np.concatenate([corridor.station[None], self.way, self.joint[None]]))

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
class LineWays:
    """All ways on the grid for a line that leaves the station in one place."""

    corridor: Corridor
    ends: Ends
    searched: Searched
    ways: Sequence[WayTo]
    laid: Sequence[LineString]
    """The lines beside which they were looked for."""
    gentle: bool = False
    """The ways were looked for so that they keep the rules' bends."""

    def best(self, scene: Scene, wanted: Wanted) -> WayTo:
        """Return the way that serves best what is wanted."""
        return min(self.ways, key=lambda end: end.rank(scene, wanted))


def mean_of(near_m: FloatArray) -> float:
    """Return the mean of the finite distances, infinity where there is none."""
    finite = near_m[np.isfinite(near_m)]
    return float(finite.mean()) if len(finite) else float("inf")


def reaches(line: LineString, parts: Sequence[Part]) -> bool:
    """Return whether a line leads well into one of the parts."""
    return any(shapely.intersection(line, part.area).length > _WELL_INSIDE_M for part in parts)


def line_ways(
    scene: Scene,
    siting: Siting,
    laid: Sequence[LineString],
    aside_m: float,
    *,
    within: Sequence[Part] = (),
    known: Sequence[LineWays] = (),
) -> LineWays | None:
    """Return the ways for a line ``aside_m`` left of the middle; None where there is none.

    They end in the parts ``within``, where there are such. Of ways ``known`` those are taken that
    lead over the same ground to the same ends: a line laid on the other side of another one leaves
    them as they were.
    """
    corridor = _leaving(scene, siting, laid, aside_m)
    if corridor is None:
        return None
    spacing_m = max(1.0, rim_of(siting.piece).length / _MOST_ENDS)
    ends = ends_of(scene, corridor, spacing_m, [Point(line.coords[-1]) for line in laid])
    if within:
        parts = union([part.area for part in within])
        kept = np.asarray(shapely.contains_xy(parts, *ends.inner.T))
        ends = Ends(ends.joint[kept], ends.inner[kept])
    same = next((ways for ways in known if _serve_still(ways, corridor, ends, laid)), None)
    if same is not None:
        lines = np.array([way.own(corridor) for way in same.ways], dtype=object)
        beyond = _beyond_any(lines, laid)
        ways = [way for way, gone in zip(same.ways, beyond, strict=True) if not gone]
        return replace(same, ways=ways, laid=laid) if ways else None
    searched = search_ends(scene, corridor, ends)
    if searched is None:
        return None
    ways = _ways_to(siting, corridor, searched, ends, laid)
    return LineWays(corridor, ends, searched, ways, laid) if ways else None


def _serve_still(
    known: LineWays, corridor: Corridor, ends: Ends, laid: Sequence[LineString]
) -> bool:
    """Return whether the ways known are those that would be found over a corridor."""
    return (
        np.array_equal(known.corridor.start, corridor.start)
        and np.array_equal(known.ends.joint, ends.joint)
        and np.array_equal(known.ends.inner, ends.inner)
        and all(line in laid for line in known.laid)
        and known.corridor.free == corridor.free
    )


def gentle_line_ways(
    scene: Scene,
    siting: Siting,
    laid: Sequence[LineString],
    plain: LineWays,
    gently: Gently,
) -> LineWays | None:
    """Return ways that turn gently all along; None where there is none."""
    searched = search_smooth_ends(scene, plain.corridor, plain.ends, plain.searched, gently)
    if searched is None:
        return None
    ways = _ways_to(siting, plain.corridor, searched, plain.ends, laid)
    if not ways:
        return None
    return LineWays(plain.corridor, plain.ends, searched, ways, laid, gentle=True)


def _leaving(
    scene: Scene, siting: Siting, laid: Sequence[LineString], aside_m: float
) -> Corridor | None:
    """Return the corridor with the longest straight run onto free ground that no line crosses.

    None where a line crosses even the shortest: behind it every way ends on its other side.
    """
    least = straight_run_m(scene.rules)
    runs = (
        least + scene.base_ahead_m + _ROOM_TO_TURN_M,
        least + scene.base_ahead_m,
        least + scene.rules.ground.shape_tolerance_m,
    )
    corridor = None
    for run_m in runs:
        leaving = Leaving(run_m, aside_m)
        run = straight_run(siting.station, leaving)
        if any(shapely.intersects(run, line) for line in laid):
            continue
        corridor = corridor_of(scene, siting.piece, siting.station, leaving, laid)
        if shapely.dwithin(corridor.free, Point(corridor.start), _ON_IT_M + abs(aside_m)):
            break
    return corridor


def near_m_of(siting: Siting, way: FloatArray) -> FloatArray:
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
) -> list[WayTo]:
    """Return the way to every end that is reached from the line's own side of those laid.

    A grid leaps over what a laid line takes beside the station; a way that crosses one there an odd
    number of times ends on its other side, and would have to cross it however it is drawn.
    """
    home = shapely.get_coordinates(siting.station.point)
    reached = [
        end
        for end, node in enumerate(searched.nodes)
        if node >= 0 and np.isfinite(searched.ways.cost[node])
    ]
    ways = searched.ways.to_each(searched.nodes[reached]) if reached else []
    own = _lines(
        np.concatenate([corridor.station[None], way, ends.joint[end, None]])
        for end, way in zip(reached, ways, strict=True)
    )
    kept = np.flatnonzero(~_beyond_any(own, laid))
    reached, ways = [reached[number] for number in kept], [ways[number] for number in kept]
    if not reached:
        return []
    joint, inner = ends.joint[reached], ends.inner[reached]
    whole = _lines(
        np.concatenate([home, way, last[None]]) for way, last in zip(ways, joint, strict=True)
    )
    near_m = _near_each_m(siting, whole)
    hook = _hooks(ways, joint - inner).tolist()
    return [WayTo(*way) for way in zip(joint, inner, ways, whole, near_m, hook, strict=True)]


def _lines(ways: Iterable[FloatArray]) -> NDArray[np.object_]:
    """Return the lines through points, each of shape (n, 2) with at least two of them."""
    points = list(ways)
    if not points:
        return np.empty(0, dtype=object)
    owner = np.repeat(np.arange(len(points)), [len(way) for way in points])
    return np.asarray(shapely.linestrings(np.concatenate(points), indices=owner), dtype=object)


def _beyond_any(ways: NDArray[np.object_], laid: Sequence[LineString]) -> NDArray[np.bool_]:
    """Return which ways end on the other side of one of the lines ``laid``."""
    beyond = np.zeros(len(ways), bool)
    for line in laid:
        shapely.prepare(line)
        meets = np.flatnonzero(shapely.intersects(line, ways))
        crossed = shapely.intersection(ways[meets], line)
        beyond[meets] |= shapely.get_num_geometries(crossed) % 2 == 1
    return beyond


def _hooks(ways: Sequence[FloatArray], square: FloatArray) -> FloatArray:
    """Return how much of a curl each way needs to meet the wire that lies square to a direction."""
    lines = _lines(way if len(way) > 1 else way[[0, 0]] for way in ways)
    before = shapely.get_coordinates(shapely.line_interpolate_point(lines, -_APPROACH_M))
    come = np.array([way[-1] for way in ways]) - before
    length_m = np.hypot(*come.T) * np.hypot(*square.T)
    along = (come * square).sum(axis=1) / np.where(length_m > 0, length_m, 1.0)
    off_deg = np.degrees(np.arccos(np.clip(along, -1.0, 1.0)))
    hook = np.clip((off_deg - MEETING_DEG) / (90.0 - MEETING_DEG), 0.0, 1.0)
    return np.where(length_m > 0, hook, 0.0)
