"""Hold one plan against every rule."""

from __future__ import annotations

from lawnplat.proving.checks.of_lines_and_tables import OF_LINES_AND_TABLES
from lawnplat.proving.checks.of_wires import OF_WIRES
from lawnplat.proving.evidence import Evidence
from lawnplat.survey.types import Finding

_ORDER = ("stop", "warn", "note")


def check_plan(evidence: Evidence) -> tuple[Finding, ...]:
    """Return every breach of a rule that a written plan holds.

    Parameters
    ----------
    evidence : Evidence
        The plan, the settings in force, and survey and terrain where they are at hand.

    Returns
    -------
    tuple of Finding
        ``stop`` where nobody may dig by the plan, then ``warn`` where somebody has to look at it,
        then ``note`` where the plan's own advisories say so already, or what could not be measured.
    """
    checks = (*OF_WIRES, *OF_LINES_AND_TABLES)
    found = [finding for check in checks for finding in check(evidence)]
    return tuple(sorted(found, key=lambda each: _ORDER.index(each.severity)))
