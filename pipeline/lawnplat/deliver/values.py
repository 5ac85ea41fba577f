"""Values as a file can hold them."""

from __future__ import annotations

import math

Value = str | float | int | bool | None


def as_column(value: Value, column_type: str) -> Value:
    """Return a whole number as a float in a column of floats: the driver would drop it there."""
    return float(value) if column_type == "float" and isinstance(value, int) else value


def known(value: Value) -> Value:
    """Return a value as a file can hold it.

    A number that is not finite becomes None; what no UTF-8 text can hold is replaced.
    """
    if isinstance(value, str):
        return value.replace("\0", "").encode("utf-8", "replace").decode("utf-8")
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
