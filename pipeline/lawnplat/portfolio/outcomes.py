"""The headline of a property: from its plan, its refusal, or the error that stopped it."""

from __future__ import annotations

from collections.abc import Iterable

import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.errors import LawnplatError
from lawnplat.planned import Outcome, Plan, QuoteSums, Status
from lawnplat.survey.types import Finding, Refusal, Site
from lawnplat.wire.types import Layout
from lawnplat.works.types import PRICE_MISSING, Quote

_COUNTED = ("stop", "warn")
"""Severities that a headline counts: what asks somebody to act."""
_LISTED, _LETTERS = 3, 200
_SEEN_SHARE = 0.002
"""Detail below this share of a property is not seen on a small map."""


def outcome_of_plan(plan: Plan, folder: str) -> Outcome:
    """Return the headline of a plan that was written into ``folder``."""
    ground, works = plan.ground, plan.works
    done = plan.status in {Status.PLANNED, Status.PLANNED_WITH_ADVISORIES}
    return Outcome(
        property_id=plan.site.property_id,
        label=plan.site.label,
        folder=folder,
        status=plan.status,
        reason="" if done else _reason(plan.findings),
        outline=plan.site.parcel,
        crs=plan.site.crs,
        machine_class=plan.machine.name,
        lawn_m2=ground.lawn.area if ground else 0.0,
        mowable_m2=sum(part.area.area for part in ground.parts) if ground else 0.0,
        hand_trim_m2=sum(each.area.area for each in ground.hand_trim) if ground else 0.0,
        perimeter_m=sum(layout.perimeter.line.length for layout in plan.layouts),
        return_lines_m=sum(
            each.line.length for layout in plan.layouts for each in layout.return_lines
        ),
        pegs=len(works.pegs) if works else 0,
        advisories=_advisories(plan.findings),
        quote=quote_sums(works.quote) if works and works.quote else None,
        needs_visit=visits((each.rule, each.severity) for each in plan.findings),
        visit=_visit(plan.findings),
        wire=_small_wire(plan.layouts),
        stations=shapely.MultiPoint([each.station.point for each in plan.layouts]),
    )


def quote_sums(quote: Quote) -> QuoteSums:
    """Return what a quote comes to."""
    return QuoteSums(
        net=quote.sum_of("net"),
        tax=quote.sum_of("tax"),
        total=quote.total,
        currency=quote.currency,
        valid_until=quote.valid_until,
        missing=quote.missing,
    )


def visits(advisories: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """Return the rules that ask somebody to the site, each once; a missing price is none."""
    rules = (rule for rule, severity in advisories if severity in _COUNTED)
    return tuple(dict.fromkeys(rule for rule in rules if rule != PRICE_MISSING))


def outcome_of_refusal(refusal: Refusal) -> Outcome:
    """Return the headline of a property that the survey could not read."""
    return Outcome(
        property_id=refusal.property_id,
        label=refusal.label,
        folder="",
        status=Status.BAD_INPUT,
        reason=_reason(refusal.findings),
        outline=refusal.outline,
        crs=refusal.crs,
        advisories=_advisories(refusal.findings),
        needs_visit=visits((each.rule, each.severity) for each in refusal.findings),
    )


def outcome_of_error(site: Site, error: BaseException) -> Outcome:
    """Return the headline of a property that an error stopped: an expected one, or a fault of ours.

    Nothing was written for it.
    """
    if isinstance(error, LawnplatError):
        reason = ": ".join(filter(None, (error.where, error.what)))
        reason = f"{reason}; {error.remedy}" if error.remedy else reason
    else:
        reason = f"internal fault: {type(error).__name__}: {error}; please report"
    return Outcome(
        property_id=site.property_id,
        label=site.label,
        folder="",
        status=Status.BAD_INPUT,
        reason=" ".join(reason.split()),
        outline=site.parcel,
        crs=site.crs,
        advisories=_advisories(site.findings),
    )


def _reason(findings: tuple[Finding, ...]) -> str:
    """Return what stopped the property, each reason once; all that is known where nothing did."""
    stops = [each for each in findings if each.severity == "stop"]
    texts = dict.fromkeys(each.text for each in stops or findings)
    return " ".join("; ".join(texts).split()) or "no reason was recorded"


def _small_wire(layouts: tuple[Layout, ...]) -> BaseGeometry | None:
    """Return the perimeters in so few points that thousands of properties fit into memory."""
    if not layouts:
        return None
    wire = shapely.MultiLineString([layout.perimeter.line for layout in layouts])
    west, south, east, north = wire.bounds
    return shapely.simplify(wire, max(east - west, north - south) * _SEEN_SHARE)


def _visit(findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """Return the first few advisories that ask somebody to act, what stops first, cut short."""
    asking = [each for severity in _COUNTED for each in findings if each.severity == severity]
    return tuple(" ".join(each.text.split())[:_LETTERS] for each in asking[:_LISTED])


def _advisories(findings: tuple[Finding, ...]) -> int:
    return sum(1 for each in findings if each.severity in _COUNTED)
