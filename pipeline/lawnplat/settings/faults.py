"""Collect every fault of a settings file and raise them together."""

from __future__ import annotations

from collections.abc import Iterable

from lawnplat.errors import SettingsError

_FEW = 6
"""So many known names are listed in full where none is near."""


class Faults:
    """The faults found so far in one settings file.

    Parameters
    ----------
    file : str
        Named at the head of every fault.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self._lines: list[str] = []

    def add(self, key: str, what: str) -> None:
        """Note one fault of one key."""
        self._lines.append(f"{key}: {what}")

    def raise_any(self) -> None:
        """Raise one `SettingsError` that holds every fault, a line each; none, none raised."""
        if self._lines:
            raise SettingsError(self.file, f"\n{self.file}: ".join(self._lines))


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the known name most like a misspelt one, or None where none is near."""
    from difflib import get_close_matches  # noqa: PLC0415  (only a faulty file needs it)

    by_lower_case = {candidate.lower(): candidate for candidate in known}
    found = get_close_matches(name.lower(), by_lower_case, n=1, cutoff=0.6)
    return by_lower_case[found[0]] if found else None


def suggest(name: str, known: Iterable[str], what: str) -> str:
    """Return words that point from an unknown name to a known one.

    Parameters
    ----------
    name : str
        The name found.
    known : iterable of str
        The names that would do.
    what : str
        What the names stand for: ``key``, ``kind``, ``machine class``.
    """
    names = list(known)
    near = nearest(name, names)
    if near is not None:
        return f"the nearest known {what} is {near}"
    if len(names) <= _FEW:
        return f"known: {', '.join(names)}"
    return f"no known {what} is near it"
