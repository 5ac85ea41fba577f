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
    target = folder / PICTURE_FILE
    place_file(target, lambda draft: _write(draft, svg), _is_ours)
    return target


def _write(path: Path, svg: str) -> None:
    path.write_text(svg, encoding="utf-8", newline="\n")


def _is_ours(path: Path) -> bool:
    with path.open("rb") as file:
        return MARK.encode() in file.read(_HEAD_BYTES)
