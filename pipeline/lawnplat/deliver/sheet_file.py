"""Putting the pages for people beside the plans: site sheets, and the index over all of them."""

from __future__ import annotations

from pathlib import Path

from lawnplat.deliver.contract import INDEX_FILE, SHEET_FILE
from lawnplat.deliver.picture_file import is_marked, write_marked
from lawnplat.errors import DeliveryError


def write_sheet(page: str, folder: Path) -> Path:
    """Write a site sheet as ``site_sheet.html`` and return the file.

    Raises
    ------
    DeliveryError
        If the file cannot be written, or one that lawnplat did not make is in its place.
    """
    return write_marked(page, folder / SHEET_FILE)


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
    try:
        ours = target.is_file() and is_marked(target)
        return target.read_text(encoding="utf-8") if ours else None
    except (OSError, UnicodeDecodeError) as error:
        raise DeliveryError(str(target), f"cannot be read ({error})") from error
