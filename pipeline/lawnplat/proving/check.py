"""Hold one plan against every rule."""

from __future__ import annotations

from dataclasses import replace

import shapely

from lawnplat.proving.checks.of_lines_and_tables import OF_LINES_AND_TABLES
from lawnplat.proving.checks.of_wires import OF_WIRES
from lawnplat.proving.checks.record import validity
from lawnplat.proving.evidence import Evidence
from lawnplat.survey.types import Finding

_ORDER = ("stop", "warn", "note")


def check_plan(evidence: Evidence, without: frozenset[str] = frozenset()) -> tuple[Finding, ...]:
    """Return every breach of a rule that a written plan holds.

    Parameters
    ----------
    evidence : Evidence
        The plan, the settings in force, and survey and terrain where they are at hand.
    without : frozenset of str
        Names of rules that are of no interest: their checks are not made.

    Returns
    -------
    tuple of Finding
        ``stop`` where nobody may dig by the plan, then ``warn`` where somebody has to look at it,
        then ``note`` where the plan's own advisories say so already, or what could not be measured.
    """
    measurable = _mended(evidence)
    found = [
        finding
        for check in (*OF_WIRES, *OF_LINES_AND_TABLES)
        if check.__name__ not in without
        for finding in check(evidence if check is validity else measurable)
    ]
    return tuple(sorted(found, key=lambda each: _ORDER.index(each.severity)))


def _mended(evidence: Evidence) -> Evidence:
    """Return the evidence with invalid geometry made valid, so that all else can be measured."""
    plan = evidence.plan
    for name, rows in evidence.plan.layers.items():
        broken = [row.geometry is not None and not row.geometry.is_valid for row in rows]
        if any(broken):
            mended = [
                replace(row, geometry=shapely.make_valid(row.geometry)) if wrong else row
                for row, wrong in zip(rows, broken, strict=True)
            ]
            plan = plan.with_rows(name, mended)
    return evidence if plan is evidence.plan else replace(evidence, plan=plan)
