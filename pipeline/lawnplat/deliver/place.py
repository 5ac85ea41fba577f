"""Writing a file so that it is there whole or not at all, and never over someone else's."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from lawnplat.errors import DeliveryError

_REMEDY_ELSEWHERE = "Give another output folder, or move that file away."


def place_file(
    target: Path, write: Callable[[Path], None], is_ours: Callable[[Path], bool]
) -> None:
    """Write a file beside its target under a temporary name, then move it into place.

    Parameters
    ----------
    target : Path
        Where the file shall be; its folder is made where it is missing.
    write : callable
        Writes the whole file, and checks it, at the path that it is given.
    is_ours : callable
        Whether an existing file at a path was made by lawnplat and so may be replaced.

    Raises
    ------
    DeliveryError
        If the target is someone else's or cannot be written. Nothing is left half-written.
    """
    make_folder(target.parent)
    if target.is_symlink() or (target.exists() and not (target.is_file() and is_ours(target))):
        raise DeliveryError(str(target), "is not a file that lawnplat made", _REMEDY_ELSEWHERE)
    try:
        with tempfile.TemporaryDirectory(prefix=".lawnplat-", dir=target.parent) as folder:
            draft = Path(folder) / target.name
            write(draft)
            os.replace(draft, target)  # noqa: PTH105 - atomic, also over an existing file
    except DeliveryError:
        raise
    except (OSError, UnicodeError) as error:
        raise DeliveryError(str(target), f"cannot be written ({_plain(error)})") from error


def take_away(target: Path, is_ours: Callable[[Path], bool]) -> None:
    """Take an earlier run's file away, so that nobody works by it beside what is new.

    What is not there, a link, or not ours stays.

    Raises
    ------
    DeliveryError
        If the file cannot be taken away.
    """
    try:
        if target.is_file() and not target.is_symlink() and is_ours(target):
            target.unlink()
    except OSError as error:
        what = f"is an earlier run's and cannot be taken away ({_plain(error)})"
        raise DeliveryError(str(target), what, "Take it away by hand.") from error


def make_folder(folder: Path) -> None:
    """Make a folder and those above it.

    Raises
    ------
    DeliveryError
        If a file is in the way or the folder cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise DeliveryError(
            str(folder),
            f"cannot be made as a folder ({_plain(error)})",
            "Name a folder that may be written to.",
        ) from error


def _plain(error: Exception) -> str:
    """Return the system's own words without its number and path."""
    return getattr(error, "strerror", None) or str(error)
