"""A bill of quantities priced from a price book: labour, quote lines, options.

Money is `decimal.Decimal`. Every amount is a quantity as shown times a price as shown, rounded
once, half up, to the cent; sums add rounded amounts, so that a client's pocket calculator agrees.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal

from lawnplat.settings.types import Price, PriceBook
from lawnplat.works.cable import LOW_VOLTAGE_CABLE
from lawnplat.works.labour import TRAVEL, WorkTime, work_time
from lawnplat.works.types import (
    Alternative,
    BillOfQuantities,
    Material,
    Quote,
    QuoteLine,
    QuoteOption,
)

_CENT = Decimal("0.01")
_HUNDREDTH = Decimal("0.01")
_INVENTED = "invented for the demonstration"
"""How the shipped price book's sources begin."""
ELECTRICIAN = "electrician"


@dataclass(frozen=True)
class _Asked:
    """One price asked of the price book: what stands on the line, and what was found."""

    kind: str
    item: str
    quantity: Decimal
    unit: str
    price: Decimal | None
    lacks: str
    """What the price book has to say before the line has an amount; empty where it has one."""
    invented: bool

    @property
    def amount(self) -> Decimal | None:
        """The quantity times the price, rounded to the cent."""
        return None if self.price is None else cents(self.quantity * self.price)


def cents(amount: Decimal) -> Decimal:
    """Return an amount rounded half up to the cent.

    Examples
    --------
    >>> cents(Decimal("2.675")), cents(Decimal("0.005"))
    (Decimal('2.68'), Decimal('0.01'))
    """
    return amount.quantize(_CENT, ROUND_HALF_UP)


def quote_of(bill: BillOfQuantities, prices: PriceBook, issued: str = "") -> Quote:
    """Price a bill of quantities.

    Parameters
    ----------
    bill : BillOfQuantities
    prices : PriceBook
    issued : str
        Date of the quote, ISO 8601, or empty.

    Returns
    -------
    Quote
        Where the price book lacks a price that is needed, its line has no amount, nor have the
        sums, and ``missing`` names it.
    """
    time = work_time(bill.tasks, prices)
    asked = _asked(bill, time, prices)
    lines = _lines(asked, prices)
    missing = (*time.missing, *dict.fromkeys(each.lacks for each in asked if each.lacks))
    if time.missing:
        lines = _without_sums(lines)
    return Quote(
        currency=prices.currency,
        lines=lines,
        options=tuple(_option(each, bill, time, prices) for each in bill.alternatives),
        labour=time.labour,
        crew_days=time.crew_days,
        total=lines[-1].amount,
        valid_days=prices.valid_days,
        issued=issued,
        missing=missing,
        invented=tuple(dict.fromkeys(each.item for each in asked if each.invented)),
    )


def _option(
    what: Alternative, bill: BillOfQuantities, time: WorkTime, prices: PriceBook
) -> QuoteOption:
    """Price the bill with another machine and its cable, or with hand trimming."""
    materials = tuple(
        replace(each, quantity=what.cable_m, size=what.cable_size, supplied=what.cable_supplied_m)
        if each.item == LOW_VOLTAGE_CABLE
        else each
        for each in bill.materials
    )
    changed = replace(bill, materials=materials, machine_class=what.machine_class)
    asked = _asked(changed, time, prices)
    if what.hand_trimming:
        asked = (*asked, _trimming(bill, prices))
    lines = _lines(asked, prices)
    if time.missing:
        lines = _without_sums(lines)
    net, tax, total = lines[-3:]
    return QuoteOption(what, net.amount, tax.amount, total.amount)


def _asked(
    bill: BillOfQuantities, time: WorkTime, prices: PriceBook
) -> tuple[_Asked, ...]:
    """Return every line but the sums; what there is none of has no line."""
    machine = _ask(
        prices, "machines", bill.machine_class, kind="machine",
        item=f"machine, class {bill.machine_class}", quantity=Decimal(bill.machines), unit="piece",
    )  # fmt: skip
    lines = (*_materials(bill.materials, prices), machine, *_work(time, prices))
    return tuple(each for each in lines if each.quantity > 0)


def _materials(materials: Sequence[Material], prices: PriceBook) -> list[_Asked]:
    return [
        _ask(
            prices, "items", _priced_as(each, prices), kind="material",
            item=f"{each.item} {each.size}".strip(),
            quantity=_shown(each.quantity - each.supplied), unit=each.unit,
        )
        for each in materials
    ]  # fmt: skip


def _priced_as(material: Material, prices: PriceBook) -> str:
    """Return the item's name with its size where the price book has that, else without."""
    sized = f"{material.item} {material.size}"
    return sized if material.size and sized in prices.items else material.item


def _work(time: WorkTime, prices: PriceBook) -> list[_Asked]:
    found = [
        _ask(
            prices, "labour_rates", rate, kind=ELECTRICIAN if rate == ELECTRICIAN else "labour",
            item="licensed electrician" if rate == ELECTRICIAN else rate, quantity=hours, unit="h",
        )
        for rate, hours in time.hours_by_rate
    ]  # fmt: skip
    travel = _ask(
        prices, "labour_rates", TRAVEL, kind=TRAVEL, item=TRAVEL,
        quantity=Decimal(time.visits), unit="visit",
    )  # fmt: skip
    return [*found, travel]


def _trimming(bill: BillOfQuantities, prices: PriceBook) -> _Asked:
    visits = prices.services.visits_a_season
    return _priced(
        prices.services.hand_trimming, "services.hand_trimming", prices, kind="service",
        item=f"hand trimming, {visits} visits a season",
        quantity=_shown(bill.hand_trim_m2) * visits, unit="m2",
    )  # fmt: skip


def _ask(
    prices: PriceBook, table: str, name: str, *, kind: str, item: str, quantity: Decimal, unit: str
) -> _Asked:
    """Ask one of the price book's tables for a price."""
    book = {
        "items": prices.items, "machines": prices.machines, "labour_rates": prices.labour_rates,
    }[table]  # fmt: skip
    key = f"{table}.{name}"
    return _priced(
        book.get(name), key, prices, kind=kind, item=item, quantity=quantity, unit=unit
    )


def _priced(
    price: Price | None, key: str, prices: PriceBook, *, kind: str, item: str, quantity: Decimal,
    unit: str,
) -> _Asked:  # fmt: skip
    """Return the line; a price for another unit is no price for it."""
    lacks = ""
    if price is None or not price.amount:
        lacks = key
    elif price.unit != unit:
        lacks = f"{key} (priced by the {price.unit}, counted by the {unit})"
    amount = Decimal(price.amount) if price is not None and not lacks else None
    invented = amount is not None and prices.sources.get(key, "").startswith(_INVENTED)
    return _Asked(kind, item, quantity, unit, amount, lacks, invented)


def _lines(asked: Sequence[_Asked], prices: PriceBook) -> tuple[QuoteLine, ...]:
    """Return numbered lines and below them margin, net, tax and total."""
    found = [
        QuoteLine(number, each.kind, each.item, each.quantity, each.unit, each.price, each.amount)
        for number, each in enumerate(asked, start=1)
    ]
    share, rate = Decimal(prices.margin_share), Decimal(prices.tax_share)
    materials = _sum([line.amount for line in found if line.kind == "material"])
    margin = None if materials is None else cents(materials * share)
    net = _sum([*(line.amount for line in found), margin])
    tax = None if net is None else cents(net * rate)
    sums = (
        ("margin", f"margin on materials, {_percent(share)} %", margin),
        ("net", "net", net),
        ("tax", f"tax, {_percent(rate)} %", tax),
        ("total", "total", _sum([net, tax])),
    )
    found += [
        QuoteLine(number, kind, item, None, "", None, amount)
        for number, (kind, item, amount) in enumerate(sums, start=len(found) + 1)
    ]
    return tuple(found)


def _without_sums(lines: Sequence[QuoteLine]) -> tuple[QuoteLine, ...]:
    """Return lines whose net, tax and total are open: hours are missing that no line shows."""
    sums = {"net", "tax", "total"}
    return tuple(replace(line, amount=None) if line.kind in sums else line for line in lines)


def _sum(amounts: Sequence[Decimal | None]) -> Decimal | None:
    """Return the sum, or None as soon as one is not known."""
    total = Decimal("0.00")
    for amount in amounts:
        if amount is None:
            return None
        total += amount
    return total


def _shown(quantity: float) -> Decimal:
    """Return a quantity to a hundredth, as it stands on the quote."""
    return Decimal(repr(float(quantity))).quantize(_HUNDREDTH, ROUND_HALF_UP)


def _percent(share: Decimal) -> str:
    return f"{(share * 100).normalize():f}"
