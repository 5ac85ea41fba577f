"""Lay a settings file over the shipped one: known keys, right types, values within bounds.

A file is a tree of tables. What may stand in it is given by a tree of the same shape, whose leaves
are types. The result is flat: one `Entry` for each dotted key that the file sets.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import Any, get_type_hints
from zoneinfo import ZoneInfo

from lawnplat.settings.faults import Faults, suggest
from lawnplat.settings.limits import IN_ORDER, limit_of
from lawnplat.settings.types import NOMINAL_ZONE, Price, TimeZone, Treatment

Known = Mapping[str, "type | Known"]


_NOUNS: Mapping[type, str] = {Treatment: "treatment"}
_LARGEST_AMOUNT = 1_000_000
_ONE = "piece"
"""What a price is for where neither the file nor the shipped book says."""
_LONGEST_SHOWN = 60
_DIGITS = 28
"""As many as `decimal` reckons with, so that no sum is rounded unseen."""


class MoneyShare:
    """A leaf that holds an exact share between 0 and 1, kept as text."""


@dataclass(frozen=True)
class Entry:
    """One value in force and where it comes from."""

    value: Any
    source: str


class _Unusable(Exception):
    """A raw value that does not do; the text says what was found and what is expected."""


def leaves(cls: type, *, without: tuple[str, ...] = ()) -> dict[str, type]:
    """Return a settings dataclass's fields and their types, as one level of a known tree."""
    hints = get_type_hints(cls)
    return {f.name: hints[f.name] for f in fields(cls) if f.name not in without}


def overlay(
    tree: Mapping[str, Any], known: Known, base: Mapping[str, Entry], origin: str, faults: Faults
) -> dict[str, Entry]:
    """Return the base's entries with those that a file sets laid over them.

    Parameters
    ----------
    tree : mapping
        A file as `read_toml` gives it.
    known : mapping
        What may stand in the file: tables as mappings, leaves as types.
    base : mapping of str to Entry
        What holds where the file says nothing, by dotted key; empty for a shipped file.
    origin : str
        Source of a value that the file gives bare.
    faults : Faults
        Collects every fault; a faulty value leaves the base's in force.
    """
    merged = dict(base)
    seen = set(base)
    for key, kind, raw in _walk(tree, known, known, "", faults):
        seen.add(key)
        value, source = _unwrap(raw, kind, origin)
        try:
            merged[key] = Entry(_convert(value, kind, key, base.get(key)), source)
        except _Unusable as unusable:
            faults.add(key, str(unusable))
    for key in _leaf_keys(known):
        if key not in seen:
            faults.add(key, "missing")
    _check_order(merged, base, faults)
    return merged


def _walk(
    tree: Mapping[str, Any], known: Known, whole: Known, prefix: str, faults: Faults
) -> Iterator[tuple[str, type, Any]]:
    """Yield dotted key, type and raw value of each leaf of the file that is known."""
    for name, raw in tree.items():
        key = f"{prefix}{name}"
        kind = known.get(name)
        if kind is None:
            faults.add(key, _unknown(name, prefix, known, whole, raw))
        elif not isinstance(kind, Mapping):
            yield key, kind, raw
        elif isinstance(raw, dict):
            yield from _walk(raw, kind, whole, f"{key}.", faults)
        else:
            faults.add(key, f"found {_shown(raw)}, expected a table of {', '.join(kind)}")


def _unknown(name: str, prefix: str, known: Known, whole: Known, raw: Any) -> str:
    """Return what is wrong with an unknown key, and the known one that was probably meant."""
    if prefix == "kinds.":
        return f"unknown feature kind; {suggest(name, known, 'kind')}"
    found = "unknown key" if isinstance(raw, dict) else f"unknown key, found {_shown(raw)}"
    elsewhere = [key for key in _leaf_keys(whole) if key.rpartition(".")[2] == name]
    if elsewhere:
        return f"{found}; it belongs at {elsewhere[0]}"
    near = suggest(name, known, "key")
    if near.startswith("no known"):
        near = suggest(name, [key.rpartition(".")[2] for key in _leaf_keys(whole)], "key")
    return f"{found}; {near}"


def _leaf_keys(known: Known, prefix: str = "") -> Iterator[str]:
    for name, kind in known.items():
        if isinstance(kind, Mapping):
            yield from _leaf_keys(kind, f"{prefix}{name}.")
        else:
            yield f"{prefix}{name}"


def _unwrap(raw: Any, kind: type, origin: str) -> tuple[Any, str]:
    """Return the value and its source, given bare or as a table with ``value`` and ``source``."""
    if kind is Price and isinstance(raw, dict):
        return raw, str(raw.get("source", origin))
    if isinstance(raw, dict) and "value" in raw and set(raw) <= {"value", "source"}:
        return raw["value"], str(raw.get("source", origin))
    return raw, origin


def _convert(value: Any, kind: type, key: str, base: Entry | None) -> Any:
    """Return the value in its type, or raise `_Unusable`."""
    if kind is Price:
        return _price(value, base)
    if kind is MoneyShare:
        return _money(value, 1)
    if kind is TimeZone:
        return _time_zone(value)
    if issubclass(kind, StrEnum):
        return _word(value, kind)
    if kind is bool or kind is str:
        return _plain(value, kind)
    return _number(value, kind, key)


def _plain(value: Any, kind: type) -> Any:
    expected = "true or false" if kind is bool else "text in quotes"
    if not isinstance(value, kind):
        raise _Unusable(f"found {_shown(value)}, expected {expected}")
    if isinstance(value, str) and not value.strip():
        raise _Unusable("found empty text, expected some")
    return value


def _number(value: Any, kind: type, key: str) -> float:
    limit = limit_of(key)
    whole = isinstance(value, int) and not isinstance(value, bool)
    if not whole and (kind is int or not isinstance(value, Decimal)):
        noun = "a whole number" if kind is int else "a number"
        raise _Unusable(f"found {_shown(value)}, expected {noun}, {limit.words()}")
    try:
        number: float = int(value) if kind is int else float(value)
    except OverflowError:
        number = math.inf
    if not limit.holds(number):
        raise _Unusable(f"found {_shown(value)}, expected {limit.words()}")
    return number


def _word(value: Any, kind: type[StrEnum]) -> StrEnum:
    """Return one of the words that a setting may be."""
    names = [word.value for word in kind]
    if not isinstance(value, str) or value not in names:
        near = suggest(str(value), names, _NOUNS.get(kind, "word"))
        raise _Unusable(f"found {_shown(value)}, expected one of {', '.join(names)}; {near}")
    return kind(value)


def _time_zone(value: Any) -> TimeZone:
    """Return a time zone's name that this computer knows, or ``nominal``."""
    name = str(_plain(value, str))
    try:
        return TimeZone(name if name == NOMINAL_ZONE else ZoneInfo(name).key)
    except (KeyError, ValueError, OSError):
        expected = f'expected "{NOMINAL_ZONE}" or a time zone such as "Europe/Berlin"'
        raise _Unusable(f"found {_shown(value)}, {expected}") from None


def _money(value: Any, high: int) -> str:
    """Return an exact decimal number, 0 or more, as plain digits."""
    expected = f'expected an exact number such as "0.25", at least 0 and at most {high}'
    if isinstance(value, bool) or not isinstance(value, (int, str, Decimal)):
        raise _Unusable(f"found {_shown(value)}, {expected}")
    try:
        number = Decimal(value)
    except InvalidOperation:
        raise _Unusable(f"found {_shown(value)}, {expected}") from None
    if not number.is_finite() or not 0 <= number <= high:
        raise _Unusable(f"found {_shown(value)}, {expected}")
    _, digits, exponent = number.as_tuple()
    if len(digits) > _DIGITS or abs(int(exponent)) > _DIGITS:
        raise _Unusable(f"found {_shown(value)}, expected at most {_DIGITS} digits")
    return f"{number:f}"


def _price(value: Any, base: Entry | None) -> Price:
    """Return a price from a bare amount or a table; what it leaves out stays as it was."""
    table = value if isinstance(value, dict) else {"amount": value}
    known = ("unit", "amount", "source")
    for name in table:
        if name not in known:
            raise _Unusable(f"unknown key {name}; {suggest(name, known, 'key')}")
    unit = table.get("unit", base.value.unit if base else _ONE)
    amount = table.get("amount", base.value.amount if base else None)
    if amount == "":
        return Price(unit=_plain(unit, str), amount="")
    return Price(unit=_plain(unit, str), amount=_money(amount, _LARGEST_AMOUNT))


def _check_order(merged: Mapping[str, Entry], base: Mapping[str, Entry], faults: Faults) -> None:
    """Add a fault for every pair out of order, at the key of it that the file changed."""
    for lower, upper in IN_ORDER:
        if lower not in merged or upper not in merged:
            continue
        low, high = merged[lower], merged[upper]
        if low.value <= high.value:
            continue
        key, found, expected, other, bound = lower, low, "at most", upper, high
        if base.get(lower) == low:
            key, found, expected, other, bound = upper, high, "at least", lower, low
        faults.add(
            key,
            f"found {found.value:g} ({found.source}), expected {expected} "
            f"{other} = {bound.value:g} ({bound.source})",
        )


def _shown(raw: Any) -> str:
    """Return a raw value as it would be written in the file."""
    if isinstance(raw, bool):
        return str(raw).lower()
    if isinstance(raw, dict):
        return f"a table of {', '.join(raw)}" if raw else "an empty table"
    if isinstance(raw, str):
        raw = f'"{raw}"'
    text = "a list" if isinstance(raw, list) else str(raw)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}..."
