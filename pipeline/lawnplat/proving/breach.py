"""How a broken rule becomes a finding, and when the plan has said so itself."""

from __future__ import annotations

import math

import shapely
from shapely import Point

from lawnplat.proving.catalogue import rule_named
from lawnplat.proving.evidence import Evidence
from lawnplat.survey.types import Finding


def breach(
    evidence: Evidence,
    rule: str,
    text: str,
    place: Point | None = None,
    *,
    measured: float | None = None,
    limit: float | None = None,
    severity: str = "",
) -> Finding:
    """Return what a broken rule is told as.

    Parameters
    ----------
    evidence : Evidence
    rule : str
        A name in the catalogue.
    text : str
        In words for a technician: what was found and what to do.
    place : Point, optional
        The worst spot; a point on the property where there is none.
    measured, limit : float, optional
        What was found and what the rule allows, in one unit.
    severity : str, optional
        ``stop`` or ``warn`` where it is not the catalogue's.

    Returns
    -------
    Finding
        Of severity ``note`` where one of the plan's advisories says so already near the place.
    """
    about = rule_named(rule)
    at = place if place is not None and not place.is_empty else evidence.anywhere()
    said = _said(evidence, about.said_by, at, about.said_within_m)
    if said:
        text = f"{text}; the plan says so itself ({said})"
    return Finding(
        rule=rule,
        severity="note" if said else severity or about.severity,
        text=text,
        place=at,
        measured=_rounded(measured),
        limit=_rounded(limit),
    )


def _said(evidence: Evidence, rules: tuple[str, ...], place: Point, within_m: float) -> str:
    """Return the advisory's rule by which the plan says so near a place; empty for none."""
    for row in evidence.plan.rows("advisories"):
        if row.text("rule") not in rules:
            continue
        far_off = math.isfinite(within_m) and (
            row.geometry is None or not shapely.dwithin(row.geometry, place, within_m)
        )
        if not far_off:
            return row.text("rule")
    return ""


def _rounded(value: float | None) -> float | None:
    """Return a number without the noise of its last digits; None for what is no number."""
    return None if value is None or not math.isfinite(value) else round(float(value), 4)
