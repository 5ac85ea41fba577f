"""A survey at a glance: kinds counted, and every finding once over all properties."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from lawnplat.survey.types import Finding, Survey

_NAMED = 3


@dataclass(frozen=True)
class Noticed:
    """One thing noticed, over the whole survey.

    Attributes
    ----------
    rule, severity, text : str
    count : int
    where : str
        Files, layers and rows.
    properties : tuple of str
        Ids of the properties that it concerns; empty where it concerns none.
    place : tuple of float, or None
        x and y of the first place, in ``crs``.
    crs : str
    """

    rule: str
    severity: str
    text: str
    count: int
    where: str
    properties: tuple[str, ...] = ()
    place: tuple[float, float] | None = None
    crs: str = ""


def kinds_in(survey: Survey) -> dict[str, int]:
    """Return how many features of each kind the properties have, by kind.

    A feature that belongs to several properties counts once.
    """
    seen = {(f.kind, f.source) for site in survey.sites for f in site.features}
    return dict(sorted(Counter(kind for kind, _ in seen).items()))


def noticed(survey: Survey) -> tuple[Noticed, ...]:
    """Return every finding once, with the count of all: gravest first, else as it was met.

    A finding on the files as a whole has its count already; one that stands on single properties
    is added up over them.
    """
    order = ("stop", "warn", "note")
    heaps: dict[tuple[str, str, str], list[tuple[Finding, str, str]]] = {}
    for finding, property_id, crs in _every(survey):
        key = (finding.rule, finding.severity, finding.text)
        heaps.setdefault(key, []).append((finding, property_id, crs))
    found = [_one(heap) for heap in heaps.values()]
    return tuple(sorted(found, key=lambda each: order.index(each.severity)))


def _every(survey: Survey) -> Iterator[tuple[Finding, str, str]]:
    """Yield findings with the id and the CRS of the property; empty for the files as a whole."""
    for finding in survey.findings:
        yield finding, "", ""
    for refusal in survey.refusals:
        for finding in refusal.findings:
            yield finding, refusal.property_id, refusal.crs or ""
    for site in survey.sites:
        for finding in site.findings:
            yield finding, site.property_id, site.crs


def _one(heap: list[tuple[Finding, str, str]]) -> Noticed:
    first = heap[0][0]
    own = [(finding, crs) for finding, property_id, crs in heap if property_id]
    whole = [finding for finding, property_id, _ in heap if not property_id]
    counted = whole or [finding for finding, _ in own]
    placed = next(((f.place, crs) for f, crs in own if f.place is not None), None)
    places = list(dict.fromkeys(finding.where for finding in counted if finding.where))
    more = f" and {len(places) - _NAMED} more places" if len(places) > _NAMED else ""
    return Noticed(
        rule=first.rule,
        severity=first.severity,
        text=first.text,
        count=sum(finding.count for finding in counted),
        where="; ".join(places[:_NAMED]) + more,
        properties=tuple(dict.fromkeys(p for _, p, _ in heap if p)),
        place=(placed[0].x, placed[0].y) if placed else None,
        crs=placed[1] if placed else "",
    )
