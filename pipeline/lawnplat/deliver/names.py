"""Property ids as folder names that are safe on any file system."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from lawnplat.deliver.contract import (
    INDEX_FILE,
    PORTFOLIO_FILE,
    PORTFOLIO_TABLE_FILE,
    QUOTE_BOOK_FILE,
)
from lawnplat.survey.types import Finding

_LONGEST_BYTES = 120
"""Half of what file systems allow, so that names of files beside and below still fit."""
_DIGEST_DIGITS = 8
_RESERVED = re.compile(
    r"(con|prn|aux|nul|conin\$|conout\$|com[0-9¹²³]|lpt[0-9¹²³])(\.|$)", re.IGNORECASE
)
"""Device names that one family of systems keeps to itself, with any ending."""
_TAKEN = frozenset({INDEX_FILE, PORTFOLIO_FILE, PORTFOLIO_TABLE_FILE, QUOTE_BOOK_FILE})


@dataclass(frozen=True)
class FolderName:
    """The folder of one property, and a note where it is not the property's id itself."""

    property_id: str
    folder: str
    finding: Finding | None


def folder_names(property_ids: Sequence[str]) -> tuple[FolderName, ...]:
    """Return one folder name for each property, none of them alike on any file system.

    An id that is safe keeps its name. In any other, unsafe characters become ``_`` and the start
    of the id's SHA-256 is added, so that the name depends on the id alone. Of several ids that a
    file system may take for one (``A1`` and ``a1``), the first in order of code points keeps its
    name and the others get the digest. The same id twice is numbered.

    Parameters
    ----------
    property_ids : sequence of str
        In any order; the result is in the same order.

    Returns
    -------
    tuple of FolderName
        Each ``folder`` is a single path component without separators, never ``.`` or ``..``.
    """
    first_of: dict[str, str] = {}
    for property_id in sorted(property_ids):
        if safe_name(property_id) == property_id:
            first_of.setdefault(_key(property_id), property_id)
    used: set[str] = set()
    return tuple(_name(property_id, first_of, used) for property_id in property_ids)


def safe_name(property_id: str) -> str:
    """Return the id as one safe path component: the id itself wherever that is safe."""
    text = unicodedata.normalize("NFC", property_id)
    text = "".join(c if _is_safe(c) else "_" for c in text)
    text = text.strip(". ")
    if text.startswith(("-", "_")) and text != property_id:
        text = text.lstrip("-_. ")
    if text.startswith("-"):
        text = f"_{text[1:]}"
    text = text or "property"
    unsafe = _RESERVED.match(text) or _key(text) in _TAKEN
    if text == property_id and not unsafe and len(text.encode()) <= _LONGEST_BYTES:
        return text
    return _with_digest(text, property_id)


def _is_safe(character: str) -> bool:
    """Return whether it is a letter, mark or digit of any script, or harmless punctuation."""
    return unicodedata.category(character)[0] in "LMN" or character in "-_.()+ "


def _name(property_id: str, first_of: dict[str, str], used: set[str]) -> FolderName:
    name = safe_name(property_id)
    reason = f"the id '{_shown(property_id)}' is not safe as a folder name"
    if name == property_id and first_of[_key(name)] != property_id:
        name = _with_digest(name, property_id)
        reason = f"'{first_of[_key(property_id)]}' and '{property_id}' differ only in case or form"
    count, single = 1, name
    while _key(name) in used:
        count += 1
        name = f"{single}-{count}"
        reason = f"the folder name '{single}' is another property's"
    used.add(_key(name))
    if name == property_id:
        return FolderName(property_id, name, None)
    finding = Finding("folder_name", "note", f"{reason}: its files are in '{name}'")
    return FolderName(property_id, name, finding)


def _key(name: str) -> str:
    """Return what a file system that folds case and Unicode forms would compare."""
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())


def _with_digest(text: str, property_id: str) -> str:
    digest = hashlib.sha256(property_id.encode("utf-8", "surrogatepass")).hexdigest()
    kept = text.encode()[: _LONGEST_BYTES - _DIGEST_DIGITS - 1].decode("utf-8", "ignore")
    kept = kept.rstrip(". ")
    if _RESERVED.match(kept):
        kept = f"_{kept}"
    return f"{kept}-{digest[:_DIGEST_DIGITS]}"


def _shown(property_id: str) -> str:
    """Return the id short and printable, for a message."""
    longest = 40
    text = property_id.encode("unicode_escape").decode() if not property_id.isprintable() else ""
    text = text or property_id
    return text if len(text) <= longest else f"{text[:longest]}..."
