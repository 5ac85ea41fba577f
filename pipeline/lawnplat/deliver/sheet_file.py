"""Putting the pages for people beside the plans: site sheets, and the index over all of them."""

from __future__ import annotations

from pathlib import Path

from lawnplat.deliver.contract import INDEX_FILE, SHEET_FILE
from lawnplat.deliver.picture_file import is_marked, write_marked, write_text
from lawnplat.deliver.place import place_file
from lawnplat.deliver.quote_page import with_quote
from lawnplat.errors import DeliveryError


def write_sheet(page: str, folder: Path) -> Path:
    """Write a site sheet as ``site_sheet.html`` and return the file.

    Raises
    ------
    DeliveryError
        If the file cannot be written, or one that lawnplat did not make is in its place.
    """
    return write_marked(page, folder / SHEET_FILE)


def write_quote_page(section: str, folder: Path) -> None:
    """Put the client's page into a folder's site sheet, where it has a place for one.

    The place alone marks the sheet: the rest may have been changed by hand, and stays as it is.

    Raises
    ------
    DeliveryError
        If the sheet cannot be read or written.
    """
    target = folder / SHEET_FILE
    page = with_quote(_text_of(target), section) if target.is_file() else None
    if page is not None:
        place_file(target, lambda draft: write_text(draft, page), _has_quote)


def write_index(page: str, out: Path) -> Path:
    """Write the index as ``index.html`` and return the file.

    Raises
    ------
    DeliveryError
        As for `write_sheet`.
    """
    return write_marked(page, out / INDEX_FILE)


def read_index(out: Path) -> str | None:
    """Return the index in a folder; None where there is none of ours.

    Raises
    ------
    DeliveryError
        If the file cannot be read.
    """
    target = out / INDEX_FILE
    ours = target.is_file() and is_marked(target)
    return _text_of(target) if ours else None


def _has_quote(target: Path) -> bool:
    return with_quote(_text_of(target), "") is not None


def _text_of(target: Path) -> str:
    """Return a file's text with its own line ends."""
    try:
        with target.open(encoding="utf-8", newline="") as file:
            return file.read()
    except (OSError, UnicodeDecodeError) as error:
        raise DeliveryError(str(target), f"cannot be read ({error})") from error
