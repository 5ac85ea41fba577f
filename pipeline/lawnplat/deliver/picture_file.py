"""Putting a plan's picture beside its plan file."""

from __future__ import annotations

from pathlib import Path

from lawnplat.deliver.contract import PICTURE_FILE
from lawnplat.deliver.place import place_file

MARK = "<!-- made by lawnplat -->"
"""Stands near the start of every picture: by it a file is known as ours."""
_HEAD_BYTES = 400


def write_picture(svg: str, folder: Path) -> Path:
    """Write a picture as ``plan.svg`` and return the file.

    Raises
    ------
    DeliveryError
        If the file cannot be written, or one that lawnplat did not make is in its place.
    """
    return write_marked(svg, folder / PICTURE_FILE)


def write_marked(text: str, target: Path) -> Path:
    """Write a text that holds `MARK` near its start, and return the file.

    Raises
    ------
    DeliveryError
        As for `write_picture`.
    """
    place_file(target, lambda draft: write_text(draft, text), is_marked)
    return target


def is_marked(path: Path) -> bool:
    """Return whether a file holds `MARK` near its start."""
    with path.open("rb") as file:
        return MARK.encode() in file.read(_HEAD_BYTES)


def write_text(path: Path, text: str) -> None:
    """Write a text as it is, its line ends too."""
    path.write_text(text, encoding="utf-8", newline="\n")
