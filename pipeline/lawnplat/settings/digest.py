"""One short text that tells whether two sets of settings are the same."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any


def digest(*objects: Any) -> str:
    """Return the SHA-256 of settings values, the same on every machine and in every run.

    Parameters
    ----------
    *objects
        Settings dataclasses, or plain values, tuples and mappings of such.

    Returns
    -------
    str
        64 hexadecimal digits. The values and their names count; where a value comes from
        (``sources``) does not, nor does the order of keys.

    Examples
    --------
    >>> digest({"a": 1, "b": 2.0}) == digest({"b": 2.0, "a": 1})
    True
    """
    text = json.dumps([_plain(value) for value in objects], sort_keys=True, allow_nan=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        kept = (field.name for field in fields(value) if field.name != "sources")
        return [type(value).__name__, {name: _plain(getattr(value, name)) for name in kept}]
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if value is None or isinstance(value, (bool, int, float, str)):
        return value
    raise TypeError(f"{type(value).__name__} is no settings value")
