"""The quote: every amount and sum worked out again in decimals, to the cent."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.money import amount, as_told, cents, priced_by, total
from lawnplat.proving.recorded import Row
from lawnplat.settings.types import Price, PriceBook
from lawnplat.survey.types import Finding

_SUMS = ("margin", "net", "tax", "total")
_PERCENT = re.compile(r"([\d.]+) %$")
_CENT = Decimal("0.005")
"""Amounts that differ by less print as the same cents."""


def quote_sum(evidence: Evidence) -> Iterator[Finding]:
    """Yield amounts and sums that do not follow from the lines above them, and wrong prices."""
    rows = evidence.plan.rows("quote_lines")
    if not rows:
        if evidence.plan.loops:
            yield breach(evidence, "quote_sum", "the plan holds no quote")
        return
    lines = [row for row in rows if row.text("kind") not in _SUMS]
    for row in lines:
        yield from _line(evidence, row)
    yield from _sums(evidence, lines, {row.text("kind"): row for row in rows})
    yield from _options(evidence, rows)
    yield from _quantities(evidence, lines)
    if evidence.prices is not None and priced_by(evidence.plan, evidence.prices):
        for row in lines:
            yield from _price(evidence, row, evidence.prices)


def _line(evidence: Evidence, row: Row) -> Iterator[Finding]:
    quantity, price = amount(row, "quantity"), amount(row, "unit_price")
    wanted = None if quantity is None or price is None else cents(quantity * price)
    yield from _differs(
        evidence, f"line {row.text('line')}, {row.text('item')}", amount(row, "amount"), wanted
    )


def _sums(evidence: Evidence, lines: list[Row], by_kind: dict[str, Row]) -> Iterator[Finding]:
    missing = [kind for kind in _SUMS if kind not in by_kind]
    if missing:
        yield breach(evidence, "quote_sum", f"the quote has no line {', '.join(missing)}")
        return
    told = {kind: amount(by_kind[kind], "amount") for kind in _SUMS}
    unpriced = "price_missing" in {row.text("rule") for row in evidence.plan.rows("advisories")}
    if told["net"] is None and unpriced:
        return
    shares = {kind: _share(by_kind[kind].text("item")) for kind in ("margin", "tax")}
    if evidence.prices is not None and priced_by(evidence.plan, evidence.prices):
        shares = {
            "margin": Decimal(evidence.prices.margin_share),
            "tax": Decimal(evidence.prices.tax_share),
        }
    goods = total(amount(row, "amount") for row in lines if row.text("kind") == "material")
    wanted = {
        "margin": _part(goods, shares["margin"]),
        "net": total([*(amount(row, "amount") for row in lines), told["margin"]]),
        "tax": _part(told["net"], shares["tax"]),
        "total": total([told["net"], told["tax"]]),
    }
    for kind in _SUMS:
        yield from _differs(evidence, kind, told[kind], wanted[kind])


def _share(words: str) -> Decimal:
    """Return the share that a line's words name: ``tax, 20 %``."""
    found = _PERCENT.search(words)
    return Decimal(found[1]) / 100 if found else Decimal(0)


def _part(whole: Decimal | None, share: Decimal) -> Decimal | None:
    return None if whole is None else cents(whole * share)


def _differs(
    evidence: Evidence, words: str, told: Decimal | None, wanted: Decimal | None
) -> Iterator[Finding]:
    if (told is None) != (wanted is None):
        text = f"{words}: told {_shown(told)}, worked out {_shown(wanted)}"
        yield breach(evidence, "quote_sum", text)
    elif told is not None and wanted is not None and abs(told - wanted) >= _CENT:
        yield breach(
            evidence, "quote_sum", f"{words}: told as {_shown(told)}, the sum is {_shown(wanted)}",
            measured=float(told), limit=float(wanted),
        )  # fmt: skip


def _shown(value: Decimal | None) -> str:
    return "no amount" if value is None else f"{value:.2f}"


def _options(evidence: Evidence, rows: tuple[Row, ...]) -> Iterator[Finding]:
    """Yield options whose tax or total do not follow, and a first that is not the quote itself."""
    by_kind = {row.text("kind"): row for row in rows}
    share = _share(by_kind["tax"].text("item")) if "tax" in by_kind else Decimal(0)
    for place, row in enumerate(evidence.plan.rows("quote_options")):
        name = f"option '{row.text('option')}'"
        net, tax = amount(row, "net"), amount(row, "tax")
        yield from _differs(evidence, f"tax of {name}", tax, _part(net, share))
        yield from _differs(evidence, f"total of {name}", amount(row, "total"), total([net, tax]))
        if place == 0 and "net" in by_kind:
            yield from _differs(evidence, f"net of {name}", net, amount(by_kind["net"], "amount"))


def _quantities(evidence: Evidence, lines: list[Row]) -> Iterator[Finding]:
    """Yield materials of which the quote has another quantity than the materials list."""
    told = {row.text("item"): amount(row, "quantity") for row in lines
            if row.text("kind") == "material"}  # fmt: skip
    for row in evidence.plan.rows("materials"):
        brought, supplied = amount(row, "quantity"), amount(row, "supplied") or Decimal(0)
        item = f"{row.text('item')} {row.text('size')}".strip()
        wanted = None if brought is None else cents(brought - supplied)
        found = told.get(item)
        if wanted and (found is None or abs(found - wanted) >= _CENT):
            yield breach(
                evidence, "quote_sum",
                f"{item}: {_shown(found)} are quoted, {_shown(wanted)} are to be bought",
            )  # fmt: skip
    yield from _hours(evidence, lines)


def _hours(evidence: Evidence, lines: list[Row]) -> Iterator[Finding]:
    worked = total(amount(row, "hours") for row in evidence.plan.rows("labour"))
    quoted = total(
        amount(row, "quantity") for row in lines if row.text("kind") in ("labour", "electrician")
    )
    if worked is not None and quoted is not None and abs(worked - quoted) >= _CENT:
        yield breach(
            evidence, "quote_sum", f"{quoted} h of work are quoted, {worked} h are listed",
            measured=float(quoted), limit=float(worked),
        )  # fmt: skip


def _price(evidence: Evidence, row: Row, prices: PriceBook) -> Iterator[Finding]:
    """Yield a line whose price is not the price book's."""
    found = _in_book(row, evidence, prices)
    told = amount(row, "unit_price")
    if found is None or not found.amount or found.unit != row.text("unit"):
        wanted = None
    else:
        wanted = Decimal(found.amount)
    if told is None and wanted is None:
        return
    if told is None or wanted is None or told != as_told(float(wanted)):
        yield breach(
            evidence, "quote_sum",
            f"price of {row.text('item')}: quoted at {told}, the price book has {wanted}",
            measured=None if told is None else float(told),
            limit=None if wanted is None else float(wanted),
        )  # fmt: skip


def _in_book(row: Row, evidence: Evidence, prices: PriceBook) -> Price | None:
    kind, item = row.text("kind"), row.text("item")
    if kind == "material":
        bare = (
            each.text("item")
            for each in evidence.plan.rows("materials")
            if f"{each.text('item')} {each.text('size')}".strip() == item
        )
        return prices.items.get(item) or prices.items.get(next(bare, item))
    if kind == "machine":
        return prices.machines.get(evidence.plan.facts.get("machine_class", ""))
    rate = {"electrician": "electrician", "travel": "travel"}.get(kind, item)
    return prices.labour_rates.get(rate)
