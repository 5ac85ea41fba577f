"""Pricing written plans again, from what stands in them; nothing is planned."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from lawnplat.deliver.contract import PLAN_FILE, QUOTE_BOOK_FILE
from lawnplat.deliver.gpkg import is_ours
from lawnplat.deliver.index_page import with_prices
from lawnplat.deliver.printing import drop_printed
from lawnplat.deliver.quote_files import write_quote, write_quote_book
from lawnplat.deliver.quote_layers import WrittenPlan, read_written, write_quote_layers
from lawnplat.deliver.quote_page import QuoteAbout, quote_section
from lawnplat.deliver.sheet_file import read_index, write_index, write_quote_page
from lawnplat.errors import DeliveryError, LawnplatError
from lawnplat.planned import Outcome, Status
from lawnplat.portfolio.outcomes import quote_sums, visits
from lawnplat.settings.types import PriceBook
from lawnplat.works.labour import tasks_behind
from lawnplat.works.priced import quote_findings, quote_record
from lawnplat.works.quote import quote_of
from lawnplat.works.types import PRICE_MISSING, BillOfQuantities, Quote

Report = Callable[[Outcome], None]
"""Told each outcome in order, as it comes."""


@dataclass(frozen=True)
class _Terms:
    prices: PriceBook
    issued: str


def requote(
    out: Path, prices: PriceBook, issued: str, *, report: Report | None = None
) -> tuple[Outcome, ...]:
    """Price every plan below a folder again, and rewrite its quotes.

    Of each ``plan.gpkg`` the layers ``labour``, ``quote_lines`` and ``quote_options`` are
    rewritten, the advisory on missing prices, and what ``run_info`` says of the price book; beside
    it ``quote.csv`` and the client's page in ``site_sheet.html``, whose PDF is taken away; in
    ``out``, ``quotes.csv`` and the prices in ``index.html``.

    Parameters
    ----------
    out : pathlib.Path
        An output folder of `lawnplat plan`.
    prices : PriceBook
    issued : str
        Date of the quotes, ISO 8601, or empty.
    report : callable, optional

    Returns
    -------
    tuple of Outcome
        One a plan, by folder. One that cannot be priced says why in ``reason`` and stops no other.

    Raises
    ------
    DeliveryError
        There is no plan below the folder, or ``quotes.csv`` cannot be written.
    """
    folders = [
        path.parent for path in sorted(out.glob(f"*/{PLAN_FILE}")) if is_ours(path)
    ]
    if not folders:
        what = f"holds no plan: no folder in it has a {PLAN_FILE} that lawnplat made"
        raise DeliveryError(str(out), what, "Name the folder that lawnplat plan wrote to.")
    outcomes = []
    for folder in folders:
        outcomes.append(_one(folder, _Terms(prices, issued)))
        if report is not None:
            report(outcomes[-1])
    write_quote_book([*outcomes, *_never_planned(out, outcomes)], out)
    index = read_index(out)
    if index is not None:
        write_index(with_prices(index, outcomes), out)
    return tuple(outcomes)


def _one(folder: Path, terms: _Terms) -> Outcome:
    """Price one plan; whatever goes wrong becomes its outcome."""
    try:
        written = read_written(folder / PLAN_FILE)
        quote = _priced(written, terms) if written.loops else None
        if quote is not None:
            _write(folder, written, quote, terms)
    except LawnplatError as error:
        reason = " ".join(f"{error.where}: {error.what}".split())
        return Outcome(folder.name, "", folder.name, Status.BAD_INPUT, reason, None, None)
    return _outcome(folder.name, written, quote)


def _priced(written: WrittenPlan, terms: _Terms) -> Quote:
    bill = BillOfQuantities(
        materials=written.materials,
        tasks=tasks_behind(written.labour),
        machine_class=written.machine_class,
        machines=written.loops,
        hand_trim_m2=written.hand_trim_m2,
        alternatives=written.alternatives,
    )
    return quote_of(bill, terms.prices, terms.issued)


def _write(folder: Path, written: WrittenPlan, quote: Quote, terms: _Terms) -> None:
    write_quote_layers(
        folder / PLAN_FILE,
        written.property_id,
        quote,
        record=quote_record(terms.prices, terms.issued),
        instead_of=PRICE_MISSING,
        findings=quote_findings(quote),
    )
    write_quote(written.property_id, quote, folder)
    about = QuoteAbout(
        property_id=written.property_id,
        label=written.label,
        machine_class=written.machine_class,
        mowable_m2=written.mowable_m2,
        perimeter_m=written.perimeter_m,
        hand_trim_m2=written.hand_trim_m2,
    )
    # A PDF of the sheet holds the old quote: nobody may sign by it.
    drop_printed(folder)
    write_quote_page(quote_section(quote, about), folder)


def _outcome(folder: str, written: WrittenPlan, quote: Quote | None) -> Outcome:
    lacking = quote_findings(quote) if quote is not None else ()
    said = [each for each in written.advisories if each[0] != PRICE_MISSING]
    said += [(each.rule, each.severity) for each in lacking]
    severities = {severity for _, severity in said}
    status = Status.PLANNED_WITH_ADVISORIES if "warn" in severities else Status.PLANNED
    if "stop" in severities or not written.loops:
        status = Status.NOT_PLANNABLE
    return Outcome(
        property_id=written.property_id,
        label=written.label,
        folder=folder,
        status=status,
        reason="; ".join(each.text for each in lacking),
        outline=None,
        crs=None,
        machine_class=written.machine_class,
        mowable_m2=written.mowable_m2,
        hand_trim_m2=written.hand_trim_m2,
        perimeter_m=written.perimeter_m,
        quote=quote_sums(quote) if quote is not None else None,
        needs_visit=visits(said),
    )


def _never_planned(out: Path, outcomes: list[Outcome]) -> list[Outcome]:
    """Return the properties that the quote book lists without a plan: their files were bad."""
    book = out / QUOTE_BOOK_FILE
    if not book.is_file():
        return []
    priced = {each.property_id for each in outcomes}
    try:
        with book.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error):
        return []
    return [
        Outcome(row["property_id"], row["label"], "", Status.BAD_INPUT, "", None, None,
                needs_visit=tuple(filter(None, (row.get("needs_visit") or "").split("; "))))
        for row in rows
        if row.get("status") == Status.BAD_INPUT and row["property_id"] not in priced
    ]  # fmt: skip
