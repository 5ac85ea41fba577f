"""Money and quantities as they stand in a plan's tables, exact to the last digit shown."""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal

from lawnplat.proving.recorded import RecordedPlan, Row
from lawnplat.settings.digest import digest
from lawnplat.settings.types import PriceBook

_CENT = Decimal("0.01")


def as_told(number: float) -> Decimal:
    """Return the decimal number that a float prints as."""
    return Decimal(repr(float(number)))


def amount(row: Row, column: str) -> Decimal | None:
    """Return a column's amount; None where there is none."""
    value = row.number(column)
    return None if math.isnan(value) else as_told(value)


def cents(exact: Decimal) -> Decimal:
    """Return an amount rounded half up to the cent."""
    return exact.quantize(_CENT, ROUND_HALF_UP)


def total(amounts: Iterable[Decimal | None]) -> Decimal | None:
    """Return the sum; None where one amount is missing."""
    found = list(amounts)
    known = [each for each in found if each is not None]
    return sum(known, Decimal(0)) if len(known) == len(found) else None


def priced_by(plan: RecordedPlan, prices: PriceBook) -> bool:
    """Return whether the plan's record says that it was priced from this price book."""
    return plan.facts.get("quote_price_book_sha256") == digest(prices)
