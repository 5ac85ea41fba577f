"""Ways over a grid on which a return line could lie, to every place where it could be joined."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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
    within: Sequence[Part] = (),
) -> LineWays | None:
    """Return the ways for a line ``aside_m`` left of the middle; None where there is none.

    They end in the parts ``within``, where there are such.
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
    searched = search_ends(scene, corridor, ends)
    if searched is None:
        return None
    ways = _ways_to(siting, corridor, searched, ends, laid)
    return LineWays(corridor, ends, searched, ways) if ways else None


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
    return LineWays(plain.corridor, plain.ends, searched, ways, gentle=True) if ways else None


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
        WayTo(joint, inner, way, whole, near, hook)
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
