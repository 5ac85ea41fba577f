"""A return line that could be added: the best way to a joint, drawn, and what it is worth."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString
from shapely.ops import substring

from lawnplat.geometry import FloatArray
from lawnplat.wire.ahead_line import ahead_line
from lawnplat.wire.corridor import straight_run_m
from lawnplat.wire.line_ways import (
    LineWays,
    Wanted,
    WayTo,
    gentle_line_ways,
    line_ways,
    mean_of,
    near_m_of,
)
from lawnplat.wire.return_advice import keeps_limit, keeps_rules, sharpest_bend
from lawnplat.wire.return_drawing import Drawing, as_found, drawing
from lawnplat.wire.return_search import IN_GENTLER_STEPS, IN_LEGS, IN_STEPS
from lawnplat.wire.scene import Scene
from lawnplat.wire.shorter_line import kept_to, shortened, shortened_on_bare_ground
from lawnplat.wire.station import Siting

_SWITCHBACK_SHARE = 1.5
"""A bend over the largest allowed by this is a switchback: another way is looked for at once."""
_MENDED_SHARE = 1.2
"""Closer corners hardly ever make a bend gentle that is over the largest allowed by this."""
_OTHER_ENDS = 8
"""So many other joints are tried where the line to the best one breaks a rule."""


_Best = tuple[LineWays, WayTo]
"""Ways, and the one of them that serves best what is wanted."""


@dataclass(frozen=True)
class Proposal:
    """A line that could be added, and how far the lawn would then lie from its nearest line."""

    line: LineString
    near_m: FloatArray
    over: bool
    """No way keeps the machine's gradient limit."""
    clean: bool
    """It keeps the rules' bends, and the gradient limit as far as any way does."""
    ways: LineWays | None
    """The ways that it was chosen from; None for a line that only goes ahead."""
    way: WayTo | None = None
    beside: Sequence[LineWays] = ()
    """All ways that a line could have taken in its stead, each for one place at the station."""

    @property
    def mean_m(self) -> float:
        """Return the mean distance, infinite where no lawn is reached."""
        return mean_of(self.near_m)


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
    known: Sequence[LineWays] = (),
    far_only: bool = False,
) -> Iterator[Proposal]:
    """Yield lines that could be laid beside those ``laid``, the best first, each drawn when asked.

    Along the cheapest ways, one for each place ``asides_m`` left of the middle where a line could
    leave the station, and along ways that turn gently (`_candidates`). None is yielded whose way
    does not serve what is wanted. With ``far_only`` ways end in the parts wanted, over the gradient
    limit where none keeps it. Ways ``known`` are not looked for again.
    """
    within = wanted.far if far_only else ()
    tried = [
        line_ways(scene, siting, laid, aside_m, within=within, known=known)
        for aside_m in asides_m
    ]
    found = [ways for ways in tried if ways is not None]
    fit = _serving(scene, found, wanted)
    for proposal in _candidates(
        scene, siting, laid, fit, wanted=wanted, before_m=wanted.before_m
    ):
        yield replace(proposal, beside=found)


def instead(
    scene: Scene,
    siting: Siting,
    laid: Sequence[LineString],
    blocking: Proposal,
    wanted: Wanted,
) -> Proposal | None:
    """Return the line that would best go with ``blocking``, laid in its stead.

    None where it would not pay beside that line, or breaks a rule.

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
    if blocking.ways is None:
        return None
    beside = Wanted(wanted.far, blocking.near_m, most_mean_m(scene, blocking))
    fit = _serving(scene, [blocking.ways], beside)
    found = _candidates(scene, siting, laid, fit, wanted=beside, before_m=wanted.before_m)
    return next((proposal for proposal in found if proposal.clean), None)


def _candidates(
    scene: Scene,
    siting: Siting,
    laid: Sequence[LineString],
    found: Sequence[_Best],
    *,
    wanted: Wanted,
    before_m: FloatArray,
) -> Iterator[Proposal]:
    """Yield lines along the best of the ways ``found``, each drawn when asked for.

    First along the ways themselves; then along ways that turn gently all along, for where none of
    those can be drawn without a bend or a gradient over the rules; at last along these as they were
    found. None is yielded that would cross a line ``laid``.
    """
    yield from _laid_along(scene, siting, laid, found, wanted=wanted, before_m=before_m)
    gentle: list[_Best] = []
    steep = False
    for gently in (IN_STEPS, IN_GENTLER_STEPS, IN_LEGS):
        if gently is IN_GENTLER_STEPS and not steep:
            continue
        turning = [gentle_line_ways(scene, siting, laid, ways, gently) for ways, _ in found]
        serving = _serving(scene, turning, wanted)
        fit = [best for best in serving if not _known(scene, best, gentle)]
        for turned in _laid_along(scene, siting, laid, fit, wanted=wanted, before_m=before_m):
            steep = steep or _is_steep(scene, turned)
            yield turned
        gentle += fit
    for ways, way in gentle:
        proposal = _as_found(scene, siting, ways, way, before_m)
        if proposal is not None and _may_lie(scene, proposal.line, laid):
            yield proposal


def _is_steep(scene: Scene, proposal: Proposal) -> bool:
    ways = proposal.ways
    return ways is not None and not keeps_limit(scene, proposal.line, _limit(scene, ways))


def _serving(scene: Scene, found: Sequence[LineWays | None], wanted: Wanted) -> list[_Best]:
    """Return each of the ways ``found`` with its best, where that serves what is wanted.

    To draw a line takes longer than to find its way: none is drawn for nothing.
    """
    best = [(ways, ways.best(scene, wanted)) for ways in found if ways is not None]
    return [(ways, way) for ways, way in best if way.serves(wanted)]


def _known(scene: Scene, best: _Best, others: Sequence[_Best]) -> bool:
    """Return whether the same line would be drawn along one of the others: it is the same way."""
    ways, way = best
    return any(
        ways.corridor is known.corridor
        and _limit(scene, ways) == _limit(scene, known)
        and np.array_equal(way.joint, other.joint)
        and np.array_equal(way.way, other.way)
        for known, other in others
    )


def _laid_along(
    scene: Scene,
    siting: Siting,
    laid: Sequence[LineString],
    found: Sequence[_Best],
    *,
    wanted: Wanted,
    before_m: FloatArray,
) -> Iterator[Proposal]:
    """Yield the lines along the best of each of the ways ``found``, the best of these first."""
    for ways, way in sorted(found, key=lambda best: best[1].rank(scene, wanted)):
        proposal = _as_laid(scene, siting, ways, way, before_m)
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
    ways: LineWays,
    way: WayTo,
    before_m: FloatArray,
    *,
    last_resort: bool = False,
) -> Proposal:
    """Return the line along a way; one that breaks a rule is worked on only as a last resort."""
    limit = _limit(scene, ways)
    way_drawn = drawing(scene, ways.corridor, way.joint, way.way, limit)
    line = way_drawn.line(gentle=ways.gentle)
    clean = keeps_rules(scene, line, limit)
    if not clean:
        other = _drawn_otherwise(scene, way_drawn, line, gentle=ways.gentle)
        if other is not None and keeps_rules(scene, other, limit):
            line, clean = other, True
    if not clean and last_resort:
        line = way_drawn.line(fine=True, gentle=ways.gentle)
        clean = keeps_rules(scene, line, limit)
    if clean or last_resort:
        end = way.end
        line = shortened(scene, ways.corridor, end, limit, line)
        clean = keeps_rules(scene, line, limit)
        if clean:
            line = shortened_on_bare_ground(scene, ways.corridor, end, limit, line)
    return _proposal(siting, ways, way, line, before_m=before_m, clean=clean)


def _drawn_otherwise(
    scene: Scene, way_drawn: Drawing, line: LineString, *, gentle: bool
) -> LineString | None:
    """Return the line along a way drawn otherwise than ``line``, which breaks a rule.

    Along a way that was found without regard to its bends, not ``gentle``, a sharp one is priced so
    that any line without is cheaper; else bends are let follow closer on each other. None where
    neither helps.
    """
    share = _bend_deg(scene, line) / scene.rules.return_line.largest_bend_deg
    if share > 1.0 and not gentle:
        return None if share > _SWITCHBACK_SHARE else way_drawn.line(gentle=True)
    return way_drawn.line(fine=True, gentle=gentle) if share <= _MENDED_SHARE else None


def _as_found(
    scene: Scene, siting: Siting, ways: LineWays, way: WayTo, before_m: FloatArray
) -> Proposal | None:
    """Return the line along a gentle way as it was found; None where that breaks a rule."""
    limit = _limit(scene, ways)
    line = as_found(scene, ways.corridor, way.joint, way.way)
    if line is None or not keeps_rules(scene, line, limit):
        return None
    line = shortened(scene, ways.corridor, way.end, limit, line)
    return _proposal(siting, ways, way, line, before_m=before_m, clean=True)


def _limit(scene: Scene, ways: LineWays) -> float:
    return max(scene.machine.slope_return_pct / 100.0, ways.searched.ways.limit)


def _proposal(
    siting: Siting,
    ways: LineWays,
    way: WayTo,
    line: LineString,
    before_m: FloatArray,
    *,
    clean: bool,
) -> Proposal:
    near_m = np.minimum(before_m, near_m_of(siting, shapely.get_coordinates(line)))
    return Proposal(line, near_m, ways.searched.over, clean, ways, way)


def _bend_deg(scene: Scene, line: LineString) -> float:
    return sharpest_bend(line, scene.rules)[0]


def as_last_resort(
    scene: Scene,
    siting: Siting,
    proposal: Proposal,
    laid: Sequence[LineString],
    wanted: Wanted,
) -> Proposal:
    """Return a line that breaks a rule as good as it can be, where no other is to be had.

    Best one to the same joint, then one to another, that breaks none; else the same one, drawn with
    more effort.
    """
    if proposal.ways is None or proposal.way is None:
        return proposal
    ways, way = proposal.ways, proposal.way
    kept = kept_to(scene, ways.corridor, way.end, _limit(scene, ways))
    if kept is not None and _may_lie(scene, kept, laid):
        return _proposal(siting, ways, way, kept, before_m=wanted.before_m, clean=True)
    found = _to_other_ends(scene, siting, (ways, way), laid, wanted)
    clean = next((other for other in found if other.clean), None)
    if clean is not None:
        return clean
    better = _as_laid(scene, siting, ways, way, wanted.before_m, last_resort=True)
    worse = not better.clean and _bend_deg(scene, better.line) > _bend_deg(scene, proposal.line)
    return proposal if worse or not _may_lie(scene, better.line, laid) else better


def _to_other_ends(
    scene: Scene, siting: Siting, best: _Best, laid: Sequence[LineString], wanted: Wanted
) -> Iterator[Proposal]:
    """Yield lines along the ways to a few other ends, apart from each other, the best first."""
    apart_m = scene.rules.return_line.joint_from_station_m
    ways, tried = best
    joints = [tried.joint]
    for way in sorted(ways.ways, key=lambda each: each.rank(scene, wanted)):
        near = np.hypot(*(np.array(joints) - way.joint).T) < apart_m
        if near.any() or not way.serves(wanted):
            continue
        proposal = _as_laid(scene, siting, ways, way, wanted.before_m)
        if _may_lie(scene, proposal.line, laid):
            yield proposal
        joints.append(way.joint)
        if len(joints) > _OTHER_ENDS:
            return


def straight_ahead(scene: Scene, siting: Siting) -> Proposal | None:
    """Return the line that goes out of the station to the perimeter ahead; None where none may.

    On a lawn hardly larger than a station's clear front there is no room to turn beyond it.
    """
    line = ahead_line(scene, siting.piece, siting.station, straight_run_m(scene.rules))
    if line is None or not keeps_rules(scene, line, scene.machine.slope_return_pct / 100.0):
        return None
    near_m = near_m_of(siting, shapely.get_coordinates(line))
    return Proposal(line, near_m, over=False, clean=True, ways=None)
