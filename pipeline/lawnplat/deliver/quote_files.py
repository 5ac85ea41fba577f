"""Quotes as tables: ``quote.csv`` of one property, ``quotes.csv`` over all. RFC 4180, UTF-8."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from decimal import Decimal
from pathlib import Path

from lawnplat.deliver.contract import PROPERTY_ID, QUOTE_BOOK_FILE, QUOTE_FILE
from lawnplat.deliver.place import place_file, take_away
from lawnplat.deliver.portfolio_files import cell
from lawnplat.deliver.values import known
from lawnplat.planned import Outcome
from lawnplat.works.types import Quote

_QUOTE = ("line", "kind", "item", "quantity", "unit", "unit_price", "amount", "currency")
_BOOK = (
    "label", "status", "machine_class", "mowable_m2", "perimeter_m", "net", "tax", "total",
    "currency", "valid_until", "missing", "needs_visit",
)  # fmt: skip
_BETWEEN = "; "


def write_quote(property_id: str, quote: Quote | None, folder: Path) -> Path | None:
    """Write ``quote.csv`` and return it; without a quote, take an earlier run's away.

    Raises
    ------
    DeliveryError
        If the file cannot be written, or one that lawnplat did not make is in its place.
    """
    target = folder / QUOTE_FILE
    if quote is None:
        take_away(target, _is_quote)
        return None
    rows = [
        [property_id, str(line.number), line.kind, line.item, _plain(line.quantity), line.unit,
         _plain(line.unit_price), _plain(line.amount), quote.currency]
        for line in quote.lines
    ]  # fmt: skip
    place_file(target, lambda draft: _write(draft, _QUOTE, rows), _is_quote)
    return target


def write_quote_book(outcomes: Sequence[Outcome], out: Path) -> Path:
    """Write ``quotes.csv``, a row a property, and return it.

    ``missing`` names the prices that a quote lacks; ``needs_visit`` the rules of the advisories
    that somebody has to look at on the site.

    Raises
    ------
    DeliveryError
        As for `write_quote`.
    """
    target = out / QUOTE_BOOK_FILE
    rows = [[each.property_id, *_entry(each)] for each in outcomes]
    place_file(target, lambda draft: _write(draft, _BOOK, rows), _is_book)
    return target


def _entry(each: Outcome) -> list[str]:
    sums = each.quote
    money = ["", "", "", "", "", ""]
    if sums is not None:
        amounts = (sums.net, sums.tax, sums.total)
        money = [_plain(amount) for amount in amounts]
        money += [sums.currency, sums.valid_until, _BETWEEN.join(sums.missing)]
    areas = (f"{each.mowable_m2:.2f}", f"{each.perimeter_m:.2f}")
    about = [each.label, str(each.status), each.machine_class, *areas]
    return [*about, *money, _BETWEEN.join(each.needs_visit)]


def _write(path: Path, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow([PROPERTY_ID, *columns])
        table.writerows([cell(known(value)) for value in row] for row in rows)


def _plain(amount: Decimal | None) -> str:
    return "" if amount is None else f"{amount:f}"


def _is_quote(path: Path) -> bool:
    return _begins(path, f"{PROPERTY_ID},line,kind,item,")


def _is_book(path: Path) -> bool:
    return _begins(path, f"{PROPERTY_ID},label,status,machine_class,mowable_m2,")


def _begins(path: Path, header: str) -> bool:
    with path.open("rb") as file:
        return file.readline().startswith(header.encode())
