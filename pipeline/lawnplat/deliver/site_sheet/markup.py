"""HTML by pieces: a plain text is escaped wherever it is put, only `Html` is taken as it is."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from html import escape

from lawnplat.deliver.picture.canvas import clean

LONGEST = 600
"""Letters of a text from survey or settings that the sheet shows; plan.gpkg holds all of it."""

_TURNING = frozenset(("R", "AL"))
"""Unicode's bidirectional classes of letters that are written from right to left."""
_OVERRIDES = re.compile("[\u202a-\u202e\u2066-\u2069]")
"""Marks that make letters be read another way than they are written."""


class Html(str):
    """Text that is HTML already."""

    __slots__ = ()


def plain_words(text: str) -> str:
    """Return a text on one line, without control letters and marks that turn its reading."""
    return clean(_OVERRIDES.sub("", text))


def html(text: str) -> Html:
    """Return a text as HTML: escaped unless it is `Html`, on one line, without control letters.

    A space at its start or end stays. What is written from right to left keeps its direction to
    itself.
    """
    if isinstance(text, Html):
        return text
    plain = plain_words(text)
    before, after = (" " if text[end : end + 1 or None].isspace() else "" for end in (0, -1))
    words = escape(plain)
    if not plain.isascii() and any(unicodedata.bidirectional(c) in _TURNING for c in plain):
        words = f"<bdi>{words}</bdi>"
    return Html(f"{before}{words}{after}" if plain else "")


def said(text: str, longest: int = LONGEST) -> Html:
    """Return what somebody else wrote: cut, escaped, its direction kept to itself.

    Parameters
    ----------
    text : str
    longest : int
        Letters kept; what is cut off shows as an ellipsis.
    """
    plain = plain_words(text)
    kept = plain if len(plain) <= longest else f"{plain[:longest].rstrip()}…"
    return Html(f"<bdi>{escape(kept)}</bdi>")


def element(tag: str, *pieces: str, **attributes: str) -> Html:
    """Return an element; ``_`` in an attribute's name is ``-``, and ``class_`` is ``class``."""
    named = ((name.rstrip("_").replace("_", "-"), value) for name, value in attributes.items())
    words = "".join(f' {name}="{escape(clean(value))}"' for name, value in named)
    return Html(f"<{tag}{words}>{joined(pieces)}</{tag}>")


def joined(pieces: Iterable[str]) -> Html:
    """Return pieces one after the other."""
    return Html("".join(html(piece) for piece in pieces))


def table(
    caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = ()
) -> Html:
    """Return a table whose first column names its rows.

    Parameters
    ----------
    caption : str
    heads : sequence of str
    rows : iterable of sequences of str
    right : sequence of int
        Columns of figures, set to the right.
    """
    sides = ["figure" if column in right else "words" for column in range(len(heads))]
    top = joined(
        element("th", head, scope="col", class_=side)
        for head, side in zip(heads, sides, strict=True)
    )
    body = joined(element("tr", _row(row, sides)) for row in rows)
    return element(
        "table",
        element("caption", caption),
        element("thead", element("tr", top)),
        element("tbody", body),
    )


def _row(cells: Sequence[str], sides: Sequence[str]) -> Html:
    first = element("th", cells[0], scope="row", class_=sides[0])
    rest = zip(cells[1:], sides[1:], strict=True)
    return joined((first, *(element("td", cell, class_=side) for cell, side in rest)))


def bullets(lines: Iterable[str], tag: str = "ul") -> Html:
    """Return a list, ``ul`` or ``ol``."""
    return element(tag, *(element("li", line) for line in lines))


def section(title: str, *pieces: str, kind: str = "page") -> Html:
    """Return a section with its heading; a ``page`` begins a new one when printed."""
    return element("section", element("h2", title), *pieces, class_=kind)


def figure(value: float, digits: int = 2, missing: str = "-") -> str:
    """Return a number with so many decimals, or a dash where it is not known."""
    return missing if value != value else f"{value:.{digits}f}"  # noqa: PLR0124 - NaN
