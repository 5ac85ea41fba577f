"""The return lines: straight out of the station, the gentlest way, to a joint in the perimeter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, Point

from lawnplat.geometry import FloatArray
from lawnplat.ground.types import Part
from lawnplat.survey.types import Finding
from lawnplat.wire.lead_ground import HomeLeads
from lawnplat.wire.line_ways import Wanted, mean_of, reaches
from lawnplat.wire.return_advice import (
    SHARP_BEND,
    advice_on_lines,
    measured,
    no_way,
    sharpest_bend,
)
from lawnplat.wire.return_drawing import inside_grid
from lawnplat.wire.return_proposal import (
    Proposal,
    as_last_resort,
    instead,
    most_mean_m,
    proposals,
    straight_ahead,
)
from lawnplat.wire.scene import Scene
from lawnplat.wire.station import Siting
from lawnplat.wire.types import ReturnLine
from lawnplat.wire.wary_ground import wary

_WELL_INSIDE_M = 1.0
_FAR_PERCENTILE = 95
_SAME_M = 1e-3


@dataclass(frozen=True)
class Routed:
    """The return lines in the order in which they were chosen, and what has to be said."""

    lines: tuple[ReturnLine, ...]
    findings: tuple[Finding, ...]

    @property
    def bends_sharply(self) -> bool:
        """Return whether a line bends more sharply than the rules allow."""
        return any(finding.rule == SHARP_BEND for finding in self.findings)


def route(scene: Scene, siting: Siting, *, only_ahead: bool = False) -> Routed:
    """Route return lines from the station so that the lawn lies as near to one as can be.

    Of all joints on the perimeter that a way within the machine's gradient limit leads to, the one
    is taken from which the lawn's mean driving distance to a line, and a share of the line's own
    length, is least; parts behind passages come first where they are large. Where no way keeps the
    limit, the way whose steepest metre is least is taken. Further lines are added up to the
    machine's number while they lead to a part not reached yet, or shorten the mean distance by as
    much as the rules ask, by more where they make the leads longer. They lie side by side until
    they part, and never cross. Where a line takes the room of a further one that would pay, the two
    are drawn in the other order. With ``only_ahead`` there is no way on from the station's front,
    and the one line goes straight to the perimeter ahead.
    """
    limit = scene.machine.slope_return_pct / 100.0
    inside = inside_grid(siting.piece)
    seen = replace(scene, terrain=wary(scene.terrain, limit), bare=scene.terrain, inside=inside)
    leads = HomeLeads(seen, siting.piece, siting.station)
    if only_ahead:
        ahead = straight_ahead(seen, siting)
        chosen = [] if ahead is None else [ahead]
    else:
        chosen = _added_to(seen, siting, [], leads)
    if not only_ahead and 0 < len(chosen) < scene.machine.return_lines:
        chosen = _in_other_order(seen, siting, chosen, leads) or chosen
    if len(chosen) > 1:
        chosen = _with_shorter_leads(seen, siting, chosen, leads) or chosen
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


def _added_to(
    scene: Scene, siting: Siting, chosen: list[Proposal], leads: HomeLeads
) -> list[Proposal]:
    """Return the lines with all further ones that fit and pay."""
    lines = list(chosen)
    while len(lines) < scene.machine.return_lines:
        proposal = _next_line(scene, siting, lines, leads)
        if proposal is None:
            break
        lines.append(proposal)
    return lines


def _in_other_order(
    scene: Scene, siting: Siting, chosen: list[Proposal], leads: HomeLeads
) -> list[Proposal] | None:
    """Return more lines than ``chosen``, the last drawn after one that it left no room for.

    None where there is no such line, or room for both in no order.
    """
    far = _far_parts(scene, siting, chosen)
    kept = chosen[:-1]
    laid = [proposal.line for proposal in kept]
    other = instead(scene, siting, laid, chosen[-1], Wanted(far, _before_m(siting, kept)))
    if other is None:
        return None
    lines = _added_to(scene, siting, [*kept, other], leads)
    if len(lines) <= len(chosen):
        return None
    before = leads.beside([proposal.line for proposal in chosen]) or []
    longer_m = _longer_leads_m(leads, [proposal.line for proposal in lines], before)
    nearer = _pays(scene, lines[-1], chosen[-1], longer_m)
    return lines if nearer or len(_far_parts(scene, siting, lines)) < len(far) else None


def _with_shorter_leads(
    scene: Scene, siting: Siting, chosen: Sequence[Proposal], leads: HomeLeads
) -> list[Proposal] | None:
    """Return the lines with the last but one drawn anew, where that saves leads and pays for it.

    Two lines on either side of an island leave its lead a long way. The one before goes past the
    island on the last one's side if it is drawn beside the leads that there were without it; the
    last is then drawn again. None where that is no better.
    """
    *kept, moved, last = chosen
    laid = [proposal.line for proposal in kept]
    before = leads.beside([*laid, last.line]) or []
    longer_m = _longer_leads_m(leads, [*laid, moved.line, last.line], before)
    if longer_m == 0:
        return None
    wanted = Wanted(_far_parts(scene, siting, kept), _before_m(siting, kept))
    found = proposals(scene, siting, [*laid, *before], wanted, _asides_m(scene, len(kept)))
    other = next((each for each in found if each.clean and each.over == moved.over), None)
    if other is None or _too_long_for_leads(scene, other, moved):
        return None
    lines = _added_to(scene, siting, [*kept, other], leads)
    now_m = _longer_leads_m(leads, [proposal.line for proposal in lines], before)
    missed = len(_far_parts(scene, siting, lines)) > len(_far_parts(scene, siting, chosen))
    if missed or len(lines) < len(chosen):
        return None
    better = _cost(scene, lines, now_m) < _cost(scene, chosen, longer_m)
    return lines if better else None


def _too_long_for_leads(scene: Scene, line: Proposal, beside: Proposal) -> bool:
    """Return whether a line drawn to spare leads is much longer than its way without them.

    That way is one of those from which ``beside``, the line drawn in its stead, was chosen; where
    none led to the joint, it is taken as straight.
    """
    home, joint = (Point(line.line.coords[end]) for end in (0, -1))
    ways = () if beside.ways is None else beside.ways.ways
    same = [way.line.length for way in ways if shapely.dwithin(joint, Point(way.joint), _SAME_M)]
    way_m = min(same, default=shapely.distance(home, joint))
    share = scene.rules.return_line.longer_for_leads_share
    return bool(line.line.length > (1.0 + share) * way_m)


def _cost(scene: Scene, lines: Sequence[Proposal], longer_leads_m: float) -> float:
    """Return the mean way to the lines, with what their lengths and leads cost; metres."""
    rules = scene.rules.return_line
    length_m = sum(proposal.line.length for proposal in lines)
    return lines[-1].mean_m + rules.score_length * length_m + rules.score_lead * longer_leads_m


def _before_m(siting: Siting, chosen: Sequence[Proposal]) -> FloatArray:
    """Return how far every mown cell lies from its nearest line."""
    return chosen[-1].near_m if chosen else np.full(int(siting.network.mown.sum()), np.inf)


def _with_figures(scene: Scene, number: int, proposal: Proposal) -> ReturnLine:
    near_m = proposal.near_m[np.isfinite(proposal.near_m)]
    return measured(scene.terrain, number, proposal.line, mean_of(near_m), _far(near_m))


def _far(near_m: FloatArray) -> float:
    return float(np.percentile(near_m, _FAR_PERCENTILE)) if len(near_m) else float("nan")


def _next_line(
    scene: Scene, siting: Siting, chosen: Sequence[Proposal], leads: HomeLeads
) -> Proposal | None:
    """Return the best further line; None where none pays or fits.

    Only a line that a machine cannot do without, the first or the only one to reach a part, may
    bend more sharply or be steeper than the rules allow.
    """
    laid = [proposal.line for proposal in chosen]
    found = _next_beside(scene, siting, chosen, laid)
    if found is None or not chosen or reaches(found.line, _far_parts(scene, siting, chosen)):
        return found
    before = leads.beside(laid) or []
    longer_m = _longer_leads_m(leads, [*laid, found.line], before)
    if longer_m == 0 or _pays(scene, found, chosen[-1], longer_m):
        return found
    beside = _next_beside(scene, siting, chosen, [*laid, *before])
    return beside if beside is not None and _pays(scene, beside, chosen[-1]) else None


def _longer_leads_m(
    leads: HomeLeads, lines: Sequence[LineString], before: Sequence[LineString]
) -> float:
    """Return by how much the return ``lines`` lengthen the leads ``before``, laid without some."""
    if leads.spared(before, lines):
        return 0.0
    beside = leads.beside(lines)
    if beside is None:
        return float("inf")
    return max(sum(lead.length for lead in beside) - sum(lead.length for lead in before), 0.0)


def _next_beside(
    scene: Scene, siting: Siting, chosen: Sequence[Proposal], laid: Sequence[LineString]
) -> Proposal | None:
    """Return the best line that crosses nothing ``laid``: the lines chosen, perhaps leads too."""
    far = _far_parts(scene, siting, chosen)
    before_m = _before_m(siting, chosen)
    asides_m = _asides_m(scene, len(chosen))
    wanted = Wanted(far, before_m, _most_mean_m(scene, chosen))
    last_resort = None
    known = [ways for proposal in chosen for ways in proposal.beside]
    for proposal in proposals(scene, siting, laid, wanted, asides_m, known=known):
        needed = not chosen or reaches(proposal.line, far)
        if proposal.clean and (needed or not proposal.over):
            if needed:
                return proposal
            steep = _over_the_limit(scene, siting, laid, wanted, asides_m)
            return steep or (proposal if proposal.mean_m <= wanted.most_mean_m else None)
        if needed and (last_resort is None or _bends_less(scene, proposal, last_resort)):
            last_resort = proposal
    if last_resort is None and chosen:
        return _over_the_limit(scene, siting, laid, wanted, asides_m)
    if last_resort is None:
        return None
    last_resort = as_last_resort(scene, siting, last_resort, laid, wanted)
    if chosen or last_resort.clean:
        return last_resort
    ahead = straight_ahead(scene, siting)
    most_m = last_resort.mean_m + scene.rules.return_line.further_line_m
    return ahead if ahead is not None and ahead.mean_m <= most_m else last_resort


def _bends_less(scene: Scene, proposal: Proposal, other: Proposal) -> bool:
    """Return whether a line's sharpest bend is gentler than another's."""
    bend_deg, other_deg = (
        sharpest_bend(each.line, scene.rules)[0] for each in (proposal, other)
    )
    return bend_deg < other_deg and proposal.over <= other.over


def _over_the_limit(
    scene: Scene,
    siting: Siting,
    laid: Sequence[LineString],
    wanted: Wanted,
    asides_m: Sequence[float],
) -> Proposal | None:
    """Return the line to a part wanted that no way within the gradient limit leads to, if any."""
    if not wanted.far:
        return None
    found = proposals(scene, siting, laid, wanted, asides_m, far_only=True)
    return next((line for line in found if reaches(line.line, wanted.far)), None)


def _pays(
    scene: Scene, proposal: Proposal, before: Proposal, longer_leads_m: float = 0.0
) -> bool:
    """Return whether a further line brings the lawn nearer by as much as the rules ask."""
    dearer_m = scene.rules.return_line.score_lead * longer_leads_m
    return proposal.mean_m <= most_mean_m(scene, before) - dearer_m


def _most_mean_m(scene: Scene, chosen: Sequence[Proposal]) -> float:
    """Return the mean distance to which the next line has to bring the lawn to pay."""
    return most_mean_m(scene, chosen[-1]) if chosen else float("inf")


def _asides_m(scene: Scene, lines: int) -> tuple[float, ...]:
    """Return how far to the left of the middle a line may leave beside so many ``lines``."""
    aside_m = (lines + 1) // 2 * scene.rules.wire.pair_gap_m
    return (aside_m, -aside_m) if lines else (0.0,)


def _far_parts(scene: Scene, siting: Siting, chosen: Sequence[Proposal]) -> list[Part]:
    """Return the linked parts of the station's piece that no line reaches yet, largest first."""
    mown_m2 = sum(part.area.area for part in scene.ground.parts)
    least_m2 = scene.rules.return_line.far_part_share * mown_m2
    parts = [
        part
        for part in scene.ground.parts
        if part.area.area >= least_m2
        and shapely.intersects(siting.piece, shapely.point_on_surface(part.area))
        and not shapely.dwithin(part.area, siting.station.point, _WELL_INSIDE_M)
        and not any(reaches(proposal.line, [part]) for proposal in chosen)
    ]
    return sorted(parts, key=lambda part: -part.area.area)


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
