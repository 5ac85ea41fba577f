"""The command that prices written plans again; it plans nothing."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lawnplat.cli.common import (
    EXIT_SOME_FAILED,
    date_option,
    debug_option,
    echo_json,
    echo_table,
    issue_date,
    json_option,
    prices_option,
    printable,
    reports_errors,
)
from lawnplat.settings.load import load_price_book

if TYPE_CHECKING:
    from lawnplat.planned import Outcome

_REMARK_WIDTH = 90


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@prices_option
@date_option
@json_option
@debug_option
@reports_errors
def quote(
    *, folder: Path, prices: Path | None, issued: datetime | None, as_json: bool
) -> None:
    """Price the plans in DIR again and rewrite their quotes; plan nothing.

    DIR is a folder that lawnplat plan wrote to. Of each plan only the money is rewritten.

    Exit status: 0 all priced; 1 some property lacks prices or cannot be priced; 2 DIR holds no
    plan, or the call cannot be carried out.
    """
    from lawnplat.portfolio.requote import requote  # noqa: PLC0415 - brings shapely

    outcomes = requote(folder, load_price_book(prices), issue_date(issued))
    if as_json:
        echo_json({"out": folder, "properties": [_summary(each) for each in outcomes]})
    else:
        _show(outcomes, folder)
    if any(_failed(each) for each in outcomes):
        raise click.exceptions.Exit(EXIT_SOME_FAILED)


def _failed(each: Outcome) -> bool:
    """Return whether it could not be priced whole; ground that takes no plan has no price."""
    return each.status == "bad_input" or (each.quote is not None and each.quote.total is None)


def _summary(each: Outcome) -> dict[str, object]:
    return {
        "property_id": each.property_id,
        "status": str(each.status),
        "reason": each.reason,
        "quote": each.quote,
    }


def _show(outcomes: Sequence[Outcome], folder: Path) -> None:
    echo_table(("property", "total", "valid until", "remarks"), [_row(each) for each in outcomes])
    whole = sum(each.quote is not None and each.quote.total is not None for each in outcomes)
    click.echo(f"\n{whole} of {len(outcomes)} priced; quotes.csv in {folder}")


def _row(each: Outcome) -> tuple[str, ...]:
    name = printable(each.property_id)
    remarks = each.reason
    if each.quote is None:
        remarks = remarks or "not planned: nothing to price"
    if len(remarks) > _REMARK_WIDTH:
        remarks = f"{remarks[: _REMARK_WIDTH - 3]}..."
    if each.quote is None or each.quote.total is None:
        return (name, "-", "", remarks)
    return (name, f"{each.quote.total} {each.quote.currency}", each.quote.valid_until, remarks)
