"""The field map: which layers, columns and values of other people's data stand for ours.

A TOML file such as::

    [layers]
    parcels = "plots"
    features = ["buildings", "trees"]

    [columns.parcels]              # ours = theirs; a role, or one of the layers named above
    property_id = "ID"

    [columns.trees]
    radius_m = "trunk"

    [kinds]
    column = "landuse"
    default = "building"           # where the column is missing, empty or says nothing known
    ignore = ["street_lamp"]       # left out on purpose

    [kinds.layers]                 # a default for one layer
    trees = "tree"

    [kinds.values]
    flowerbed = "flower_bed"
"""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from lawnplat.settings.faults import Faults, suggest
from lawnplat.settings.toml_file import read_toml

ROLES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "parcels": ("property_id", "label", "machine_class"),
        "lawns": ("property_id", "label"),
        "features": (
            "kind",
            "property_id",
            "height_m",
            "radius_m",
            "width_m",
            "setback_m",
            "note",
        ),
        "spot_heights": ("elevation_m",),
    }
)
"""What a layer can be, and the columns that are read of each."""

_TABLES = ("layers", "columns", "kinds")
_KINDS_KEYS = ("column", "default", "ignore", "layers", "values")
_NOTHING: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True)
class FieldMap:
    """Which layers, columns and values stand for ours; empty where the data uses our names.

    Attributes
    ----------
    file : str
        Where the map came from, for messages.
    layers : mapping of str to tuple of str
        Names of the layers of each role.
    columns : mapping of str to mapping of str to str
        By role or by layer name: our column name to theirs.
    kind_column : str or None
        Column of the features that holds the kind.
    kind_default : str or None
        Our kind where a feature's own says nothing known.
    kind_layers : mapping of str to str
        The same for one layer.
    kind_values : mapping of str to str
        Their value to our kind.
    kind_ignore : collection of str
        Their values of features that are left out on purpose.
    """

    file: str = "field map"
    layers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    kind_column: str | None = None
    kind_default: str | None = None
    kind_layers: Mapping[str, str] = field(default_factory=dict)
    kind_values: Mapping[str, str] = field(default_factory=dict)
    kind_ignore: Collection[str] = ()

    def column(self, ours: str, role: str, layer: str) -> tuple[str, str] | None:
        """Return their name of a column and the key of the map that says so, or None."""
        for table in (layer, role):
            if ours in self.columns.get(table, _NOTHING):
                return self.columns[table][ours], f"columns.{table}.{ours}"
        if role == "features" and ours == "kind" and self.kind_column is not None:
            return self.kind_column, "kinds.column"
        return None

    def default_kind(self, layer: str) -> str | None:
        """Return our kind for features of a layer whose own kind says nothing known."""
        return self.kind_layers.get(layer, self.kind_default)

    def check_kinds(self, known: Collection[str]) -> None:
        """Hold the kinds that the map gives against the rule book's.

        Raises
        ------
        SettingsError
            A kind is not one of the rule book's; every fault is named.
        """
        faults = Faults(self.file)
        given = {"kinds.default": self.kind_default} if self.kind_default is not None else {}
        given |= {f"kinds.layers.{name}": kind for name, kind in self.kind_layers.items()}
        given |= {f"kinds.values.{name}": kind for name, kind in self.kind_values.items()}
        for key, kind in given.items():
            if kind not in known:
                faults.add(key, f"unknown kind '{kind}'; {suggest(kind, known, 'kind')}")
        faults.raise_any()


def load_field_map(path: str | os.PathLike[str]) -> FieldMap:
    """Return the field map in a TOML file.

    Parameters
    ----------
    path : str or path-like

    Raises
    ------
    SettingsError
        The file cannot be read, or holds an unknown name or a value of the wrong type; every fault
        is named with the nearest known name. Kinds are held against a rule book later, by
        `FieldMap.check_kinds`.
    """
    tree = read_toml(Path(path))
    faults = Faults(str(path))
    _known_keys(tree, _TABLES, "", "table", faults)
    layers = _layers(_table(tree, "layers", "", faults), faults)
    columns = _columns(_table(tree, "columns", "", faults), layers, faults)
    kinds = _table(tree, "kinds", "", faults)
    _known_keys(kinds, _KINDS_KEYS, "kinds.", "key", faults)
    found = FieldMap(
        file=str(path),
        layers=layers,
        columns=columns,
        kind_column=_text(kinds, "column", "kinds.", faults),
        kind_default=_text(kinds, "default", "kinds.", faults),
        kind_layers=_texts(_table(kinds, "layers", "kinds.", faults), "kinds.layers.", faults),
        kind_values=_texts(_table(kinds, "values", "kinds.", faults), "kinds.values.", faults),
        kind_ignore=_names(kinds.get("ignore", []), "kinds.ignore", faults),
    )
    _known_layers(found, faults)
    faults.raise_any()
    return found


def _layers(table: Mapping[str, Any], faults: Faults) -> dict[str, tuple[str, ...]]:
    _known_keys(table, ROLES, "layers.", "layer", faults)
    return {r: _names(raw, f"layers.{r}", faults) for r, raw in table.items() if r in ROLES}


def _columns(
    table: Mapping[str, Any], layers: Mapping[str, tuple[str, ...]], faults: Faults
) -> dict[str, dict[str, str]]:
    """Return the columns of each role or named layer, each held against what its role reads."""
    role_of = {name: role for role, names in layers.items() for name in names}
    role_of |= {role: role for role in ROLES}
    found = {}
    for name in table:
        prefix = f"columns.{name}."
        columns = _texts(_table(table, name, "columns.", faults), prefix, faults)
        if name not in role_of:
            hint = suggest(name, role_of, "layer")
            faults.add(f"columns.{name}", f"neither a role nor a layer of this map; {hint}")
            continue
        _known_keys(columns, ROLES[role_of[name]], prefix, "column", faults)
        found[name] = columns
    return found


def _known_layers(found: FieldMap, faults: Faults) -> None:
    """Hold the layers of ``kinds.layers`` against those that the map calls features."""
    features = found.layers.get("features", ("features",))
    _known_keys(found.kind_layers, features, "kinds.layers.", "layer of features", faults)


def _known_keys(
    table: Mapping[str, Any], known: Collection[str], prefix: str, what: str, faults: Faults
) -> None:
    for name in table:
        if name not in known:
            faults.add(f"{prefix}{name}", f"unknown {what}; {suggest(name, known, what)}")


def _table(tree: Mapping[str, Any], name: str, prefix: str, faults: Faults) -> Mapping[str, Any]:
    found = tree.get(name, {})
    if isinstance(found, dict):
        return found
    faults.add(f"{prefix}{name}", f"found {found!r}, expected a table")
    return {}


def _text(table: Mapping[str, Any], name: str, prefix: str, faults: Faults) -> str | None:
    found = table.get(name)
    if found is None or (isinstance(found, str) and found):
        return found
    faults.add(f"{prefix}{name}", f"found {found!r}, expected text in quotes")
    return None


def _texts(table: Mapping[str, Any], prefix: str, faults: Faults) -> dict[str, str]:
    pairs = {name: _text(table, name, prefix, faults) for name in table}
    return {name: text for name, text in pairs.items() if text is not None}


def _names(raw: object, key: str, faults: Faults) -> tuple[str, ...]:
    names = raw if isinstance(raw, list) else [raw]
    if all(isinstance(name, str) and name for name in names):
        return tuple(names)
    faults.add(key, f"found {raw!r}, expected a name or a list of names in quotes")
    return ()
