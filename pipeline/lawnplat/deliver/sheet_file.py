"""Putting the pages for people beside the plans: site sheets, and the index over all of them."""

from __future__ import annotations

from pathlib import Path

from lawnplat.deliver.contract import INDEX_FILE, SHEET_FILE
from lawnplat.deliver.picture_file import MARK
from lawnplat.deliver.place import place_file
from lawnplat.errors import DeliveryError

_HEAD_BYTES = 400


def write_sheet(page: str, folder: Path) -> Path:
    """Write a site sheet as ``site_sheet.html`` and return the file.

    Raises
    ------
    DeliveryError
        If the file cannot be written, or one that lawnplat did not make is in its place.
    """
    return _write(page, folder / SHEET_FILE)


def write_index(page: str, out: Path) -> Path:
    """Write the index as ``index.html`` and return the file.

    Raises
    ------
    DeliveryError
        As for `write_sheet`.
    """
    return _write(page, out / INDEX_FILE)


def read_index(out: Path) -> str | None:
    """Return the index in a folder; None where there is none of ours.

    Raises
    ------
    DeliveryError
        If the file cannot be read.
    """
    target = out / INDEX_FILE
    try:
        return target.read_text(encoding="utf-8") if target.is_file() and _is_ours(target) else None
    except (OSError, UnicodeDecodeError) as error:
        raise DeliveryError(str(target), f"cannot be read ({error})") from error


def _write(page: str, target: Path) -> Path:
    place_file(target, lambda draft: _put(draft, page), _is_ours)
    return target


def _put(path: Path, page: str) -> None:
    path.write_text(page, encoding="utf-8", newline="\n")


def _is_ours(path: Path) -> bool:
    with path.open("rb") as file:
        return MARK.encode() in file.read(_HEAD_BYTES)
