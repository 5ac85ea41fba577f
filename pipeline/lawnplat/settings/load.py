"""Load the rule book, machine classes and price book: the shipped ones, or a firm's own over them.

A firm's file need hold only the keys that it changes. A value stands bare (``open_edge_m = 0.4``)
or with its source (``open_edge_m = { value = 0.4, source = "site survey" }``).
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lawnplat.errors import SettingsError
from lawnplat.settings.digest import digest
from lawnplat.settings.faults import Faults, suggest
from lawnplat.settings.overlay import Entry, Known, MoneyShare, leaves, overlay
from lawnplat.settings.toml_file import read_toml
from lawnplat.settings.types import (
    Crew,
    KindRule,
    MachineClass,
    Price,
    PriceBook,
    RuleBook,
    Services,
)

__all__ = [
    "DEFAULT_CLASS",
    "digest",
    "load_machine",
    "load_price_book",
    "load_rule_book",
    "shipped_class",
    "shipped_classes",
]

DEFAULT_CLASS = "medium"
"""The machine class where none is named, and the one that a firm's own file starts from."""

_DATA = Path(__file__).parent / "data"


def load_rule_book(path: Path | None = None) -> RuleBook:
    """Return the shipped rule book, with a firm's own file laid over it.

    Parameters
    ----------
    path : Path, optional
        TOML file that holds the rules that differ.

    Raises
    ------
    SettingsError
        The file cannot be read, or holds an unknown key or a value that cannot be; every fault
        is named.
    """
    shipped = read_toml(_DATA / "rule_book.toml")
    known: dict[str, type | Known] = {"kinds": {k: leaves(KindRule) for k in shipped["kinds"]}}
    groups = leaves(RuleBook, without=("kinds", "sources"))
    known |= {name: leaves(cls) for name, cls in groups.items()}
    entries = _in_force(shipped, _DATA / "rule_book.toml", known, path)
    return RuleBook(
        kinds={k: KindRule(**_part(entries, f"kinds.{k}.")) for k in shipped["kinds"]},
        **{name: cls(**_part(entries, f"{name}.")) for name, cls in groups.items()},
        sources=_sources(entries),
    )


def load_machine(name_or_path: str | None = None) -> MachineClass:
    """Return a machine class by a shipped class's name, or from a firm's own file.

    Parameters
    ----------
    name_or_path : str, optional
        A shipped class's name, or the path of a TOML file that holds the keys that differ from
        the class it names as ``based_on`` (``medium`` where it names none). Its ``name`` is the
        file's own unless it gives one. Default `DEFAULT_CLASS`.

    Raises
    ------
    SettingsError
        There is no such class or file, or the file holds a fault; every fault is named.
    """
    wanted = name_or_path or DEFAULT_CLASS
    path = Path(wanted)
    if wanted in _class_names():
        return shipped_class(wanted)
    if path.suffix.lower() == ".toml" or os.sep in wanted or path.is_file():
        return _own_machine(path)
    raise _no_class(wanted, "name a shipped class, or give the path of a TOML file")


def shipped_class(name: str) -> MachineClass:
    """Return a shipped machine class by its name alone; never looks for a file.

    Raises
    ------
    SettingsError
        There is no class of that name.
    """
    if name not in _class_names():
        raise _no_class(name, "name a shipped class")
    return _machine(name, _class_entries(name))


def shipped_classes() -> tuple[MachineClass, ...]:
    """Return every shipped machine class, the least daily capacity first."""
    classes = [shipped_class(name) for name in _class_names()]
    return tuple(sorted(classes, key=lambda machine: (machine.capacity_m2, machine.name)))


def load_price_book(path: Path | None = None) -> PriceBook:
    """Return the shipped price book, which is invented, with a firm's own file laid over it.

    Parameters
    ----------
    path : Path, optional
        TOML file that holds the prices that differ.

    Raises
    ------
    SettingsError
        As for `load_rule_book`.
    """
    shipped = read_toml(_DATA / "prices.toml")
    own = {} if path is None else read_toml(path)
    known: dict[str, type | Known] = {
        "currency": str,
        "tax_share": MoneyShare,
        "margin_share": MoneyShare,
        "valid_days": int,
        "items": dict.fromkeys(shipped["items"], Price),
        "machines": dict.fromkeys((*shipped["machines"], *_names_in(own, "machines")), Price),
        "labour_rates": dict.fromkeys(shipped["labour_rates"], Price),
        "tasks_per_hour": dict.fromkeys(shipped["tasks_per_hour"], float),
        "paid_as": dict.fromkeys(shipped["paid_as"], str),
        "crew": leaves(Crew),
        "services": leaves(Services),
    }
    entries = _in_force(shipped, _DATA / "prices.toml", known, path)
    _check_words(entries, path)
    return PriceBook(
        currency=entries["currency"].value,
        tax_share=entries["tax_share"].value,
        margin_share=entries["margin_share"].value,
        valid_days=entries["valid_days"].value,
        items=_part(entries, "items."),
        machines=_part(entries, "machines."),
        labour_rates=_part(entries, "labour_rates."),
        tasks_per_hour=_part(entries, "tasks_per_hour."),
        paid_as=_part(entries, "paid_as."),
        crew=Crew(**_part(entries, "crew.")),
        services=Services(**_part(entries, "services.")),
        sources=_sources(entries),
    )


def _names_in(tree: Mapping[str, Any], table: str) -> list[str]:
    """Return the names that a firm's own file gives in a table that takes any name."""
    found = tree.get(table)
    return list(found) if isinstance(found, Mapping) else []


def _check_words(entries: Mapping[str, Entry], path: Path | None) -> None:
    """Raise where a word in a price book is none of those that it may be."""
    faults = Faults(str(path))
    rates = _part(entries, "labour_rates.")
    choices = {key: list(rates) for key in entries if key.startswith("paid_as.")}
    choices["crew.laying"] = ["hand", "machine"]
    for key, words in choices.items():
        word = entries[key].value
        if word not in words:
            faults.add(key, f'found "{word}", expected one of {", ".join(words)}')
    faults.raise_any()


def _in_force(
    shipped: Mapping[str, Any], shipped_path: Path, known: Known, path: Path | None
) -> dict[str, Entry]:
    """Return the shipped entries, and the file's over them where one is given."""
    entries = _laid_over({}, shipped, _shape_of(shipped, known), shipped_path)
    return entries if path is None else _laid_over(entries, read_toml(path), known, path)


def _shape_of(tree: Mapping[str, Any], known: Known) -> Known:
    """Return what is known without the machine classes that only a firm's own file prices."""
    machines = known.get("machines")
    if not isinstance(machines, Mapping):
        return known
    return {**known, "machines": dict.fromkeys(tree["machines"], Price)}


def _laid_over(
    base: Mapping[str, Entry], tree: Mapping[str, Any], known: Known, path: Path
) -> dict[str, Entry]:
    faults = Faults(str(path))
    entries = overlay(tree, known, base, f"set in {path.name}", faults)
    faults.raise_any()
    return entries


def _part(entries: Mapping[str, Entry], prefix: str) -> dict[str, Any]:
    """Return the values below one table, by their last names."""
    return {
        key.removeprefix(prefix): entry.value
        for key, entry in entries.items()
        if key.startswith(prefix)
    }


def _sources(entries: Mapping[str, Entry]) -> dict[str, str]:
    return {key: entry.source for key, entry in entries.items()}


def _class_names() -> list[str]:
    return sorted(path.stem for path in (_DATA / "machines").glob("*.toml"))


def _class_entries(name: str) -> dict[str, Entry]:
    path = _DATA / "machines" / f"{name}.toml"
    return _laid_over({}, read_toml(path), leaves(MachineClass, without=("name", "sources")), path)


def _machine(name: str, entries: Mapping[str, Entry]) -> MachineClass:
    return MachineClass(name=name, **_part(entries, ""), sources=_sources(entries))


def _own_machine(path: Path) -> MachineClass:
    tree = read_toml(path)
    based_on = tree.pop("based_on", DEFAULT_CLASS)
    if based_on not in _class_names():
        raise _no_class(str(based_on), "based_on names a shipped class", f"{path}: based_on")
    known = {"name": str, **leaves(MachineClass, without=("name", "sources"))}
    base = {"name": Entry(path.stem, f"the name of {path.name}"), **_class_entries(based_on)}
    entries = _laid_over(base, tree, known, path)
    name = entries.pop("name")
    return _machine(name.value, entries)


def _no_class(name: str, remedy: str, where: str = "machine class") -> SettingsError:
    names = _class_names()
    near = suggest(name, names, "class")
    hint = f"{near}; shipped: {', '.join(names)}" if "nearest" in near else near
    return SettingsError(where, f"there is no class '{name}'; {hint}", remedy)
