"""What the plan command says: progress, what was found in the survey, how each property went."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

import click

from lawnplat.cli.common import echo_json, echo_table, printable
from lawnplat.deliver.contract import (
    INDEX_FILE,
    PICTURE_FILE,
    PLAN_FILE,
    PORTFOLIO_FILE,
    PORTFOLIO_TABLE_FILE,
    QUOTE_BOOK_FILE,
    QUOTE_FILE,
    ROVER_FILE,
    SHEET_FILE,
)
from lawnplat.planned import Outcome, Status
from lawnplat.survey.types import Finding

_MOST_ROWS = 40
"""A longer table scrolls away: then what needs somebody's eye comes first."""
_WORST_FIRST = (
    Status.BAD_INPUT,
    Status.NOT_PLANNABLE,
    Status.PLANNED_WITH_ADVISORIES,
    Status.PLANNED,
)
_REASON_WIDTH = 90
_NOT_SHOWN = {"outline", "crs", "wire", "stations"}


class Progress:
    """Counts properties on standard error where a person looks on; shows tracebacks if asked."""

    def __init__(self, total: int, *, traces: bool) -> None:
        self._total = total
        self._done = 0
        self._traces = traces
        self._shown = total > 1 and sys.stderr.isatty()

    def tell(self, outcome: Outcome, trace: str) -> None:
        """Take note of one property that is done."""
        self._done += 1
        if trace and self._traces:
            click.echo(f"{outcome.property_id}:\n{trace}", err=True)
        if self._shown:
            end = self._done == self._total
            click.echo(f"\r{self._done} of {self._total} properties", err=True, nl=end)


def print_findings(findings: Sequence[Finding]) -> None:
    """Print what the survey as a whole asks to be looked at, on standard error."""
    for each in findings:
        where = f"{each.where}: " if each.where else ""
        count = f" ({each.count} times)" if each.count > 1 else ""
        click.echo(f"{each.severity}: {where}{each.text}{count}", err=True)


def print_outcomes(outcomes: Sequence[Outcome], out: Path, *, as_json: bool) -> None:
    """Print how each property went and where the files are."""
    counts = Counter(str(each.status) for each in outcomes)
    if as_json:
        echo_json(
            {
                "out": str(out),
                "portfolio": [str(out / PORTFOLIO_FILE), str(out / PORTFOLIO_TABLE_FILE)],
                "counts": {str(status): counts[str(status)] for status in Status},
                "properties": [_summary(each, out) for each in outcomes],
            }
        )
        return
    rows = list(outcomes)
    if len(rows) > _MOST_ROWS:
        rows = sorted(rows, key=lambda each: _WORST_FIRST.index(each.status))[:_MOST_ROWS]
    if rows:
        echo_table(
            ("property", "status", "mowable m2", "wire m", "remarks"), [_row(each) for each in rows]
        )
    if len(rows) < len(outcomes):
        rest = len(outcomes) - len(rows)
        click.echo(f"... and {rest} more, all in {out / PORTFOLIO_TABLE_FILE}")
    said = ", ".join(f"{count} {status.replace('_', ' ')}" for status, count in counts.items())
    click.echo(f"\n{said}; in {out}: {_files(outcomes)}")


def _files(outcomes: Sequence[Outcome]) -> str:
    folders = [each.folder for each in outcomes if each.folder]
    whose = folders[0] if len(folders) == 1 else "PROPERTY"
    names = (PLAN_FILE, PICTURE_FILE, SHEET_FILE, ROVER_FILE, QUOTE_FILE)
    plans = [f"{whose}/{name}" for name in names] if folders else []
    over_all = (INDEX_FILE, PORTFOLIO_FILE, PORTFOLIO_TABLE_FILE, QUOTE_BOOK_FILE)
    return ", ".join([*plans, *over_all])


def _row(each: Outcome) -> tuple[str, ...]:
    advisories = {0: "", 1: "1 advisory"}.get(each.advisories, f"{each.advisories} advisories")
    remarks = each.reason or advisories
    if len(remarks) > _REASON_WIDTH:
        remarks = f"{remarks[: _REASON_WIDTH - 3]}..."
    mowable = f"{each.mowable_m2:.0f}" if each.mowable_m2 else "-"
    wire = f"{each.perimeter_m:.1f}" if each.perimeter_m else "-"
    name = printable(each.property_id)
    return (name, str(each.status), mowable.rjust(10), wire.rjust(6), remarks)


def _summary(each: Outcome, out: Path) -> dict[str, Any]:
    names = [field.name for field in fields(each) if field.name not in _NOT_SHOWN]
    files = {"plan": PLAN_FILE, "site_sheet": SHEET_FILE}
    paths = {
        name: str(out / each.folder / file) if each.folder else None for name, file in files.items()
    }
    return {name: getattr(each, name) for name in names} | paths
