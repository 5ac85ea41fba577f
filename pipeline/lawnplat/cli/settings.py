"""The commands that print the settings in force, with where each value comes from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

import click

from lawnplat.cli.common import (
    debug_option,
    echo_json,
    echo_table,
    json_option,
    machine_option,
    prices_option,
    reports_errors,
    rules_option,
)
from lawnplat.settings.load import (
    digest,
    load_machine,
    load_price_book,
    load_rule_book,
    shipped_classes,
)
from lawnplat.settings.types import MachineClass, Price


@click.command()
@rules_option
@json_option
@debug_option
@reports_errors
def rules(rules: Path | None, as_json: bool) -> None:
    """Print the rule book in force, with the source of every value.

    Lengths in metres, areas in square metres, gradients in percent.
    """
    book = load_rule_book(rules)
    if as_json:
        echo_json({"rule_book": book, "digest": digest(book)})
        return
    rows = [(key, _shown(_at(book, key)), source) for key, source in book.sources.items()]
    echo_table(("rule", "value", "source"), rows)


@click.command()
@machine_option
@json_option
@debug_option
@reports_errors
def classes(machine: str | None, as_json: bool) -> None:
    """Print the shipped machine classes side by side, or one class with --machine.

    The shipped classes are invented and generic: set the figures from the machine's own papers.
    """
    machines = shipped_classes() if machine is None else (load_machine(machine),)
    if as_json:
        echo_json({"machine_classes": machines, "digest": digest(*machines)})
        return
    keys = [field.name for field in fields(MachineClass) if field.name not in ("name", "sources")]
    headers = ("key", *(each.name for each in machines), "source")
    rows = [
        (key, *(_shown(getattr(each, key)) for each in machines), _joint_source(machines, key))
        for key in keys
    ]
    echo_table(headers, rows)


@click.command()
@prices_option
@json_option
@debug_option
@reports_errors
def prices(prices: Path | None, as_json: bool) -> None:
    """Print the price book in force, with the source of every value.

    The shipped prices are invented: give the firm's own with --prices.
    """
    book = load_price_book(prices)
    if as_json:
        echo_json({"price_book": book, "digest": digest(book)})
        return
    rows = []
    for key, source in book.sources.items():
        value = _at(book, key)
        unit = f"{book.currency} a {value.unit}" if isinstance(value, Price) else ""
        rows.append((key, _shown(value), unit, source))
    echo_table(("key", "value", "unit", "source"), rows)


def _at(book: object, key: str) -> Any:
    """Return the value at a dotted key: fields of dataclasses, keys of mappings.

    A mapping's own key may hold points, as ``low-voltage cable 2 x 0.5 mm2`` does.
    """
    value: Any = book
    rest = key
    while rest:
        if isinstance(value, Mapping):
            name = max((n for n in value if rest == n or rest.startswith(f"{n}.")), key=len)
            value, rest = value[name], rest[len(name) + 1 :]
        else:
            name, _, rest = rest.partition(".")
            value = getattr(value, name)
    return value


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Price):
        return value.amount or "no price"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _joint_source(machines: tuple[MachineClass, ...], key: str) -> str:
    """Return the source that the classes share, or each different one once."""
    return "; ".join(dict.fromkeys(each.sources[key] for each in machines))
