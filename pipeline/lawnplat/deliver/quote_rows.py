"""From a `Quote` to the rows of its layers, for a plan being written and for one priced again."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from types import MappingProxyType

from lawnplat.deliver.values import Value
from lawnplat.works.types import Quote


def _labour(quote: Quote) -> Iterator[tuple[Value, ...]]:
    for each in quote.labour:
        yield each.task, each.quantity, each.unit, each.hours, each.basis


def _lines(quote: Quote) -> Iterator[tuple[Value, ...]]:
    for each in quote.lines:
        prices = (_number(each.unit_price), _number(each.amount))
        yield each.number, each.item, _number(each.quantity), each.unit, *prices, each.kind


def _options(quote: Quote) -> Iterator[tuple[Value, ...]]:
    for each in quote.options:
        what, sums = each.what, (each.net, each.tax, each.total)
        yield (
            what.option,
            what.machine_class,
            what.fits,
            what.reasons,
            *(_number(amount) for amount in sums),
            what.hand_trimming,
            what.cable_m,
            what.cable_size,
            what.cable_supplied_m,
        )


def _number(amount: Decimal | None) -> float | None:
    """Return the nearest float, which prints as the same cents."""
    return None if amount is None else float(amount)


QUOTE_ROWS: Mapping[str, Callable[[Quote], Iterator[tuple[Value, ...]]]] = MappingProxyType(
    {"labour": _labour, "quote_lines": _lines, "quote_options": _options}
)
"""Rows without `PROPERTY_ID`, in the order of the layer's columns."""
