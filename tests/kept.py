"""Plans that several modules look at: made once a run, and kept where every worker finds them.

Each run has a folder of its own, so that nothing is kept from one run to the next: what is seen
was always planned by the code at hand. Two workers that want the same at once may both make it; it
is put in its place whole, and both made the same.
"""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable
from pathlib import Path
from tempfile import mkdtemp
from typing import TypeVar

Made = TypeVar("Made")
FOLDER = "LAWNPLAT_TEST_PLANS"
"""The variable by which the first process of a run tells its workers the folder."""


def kept(name: str, make: Callable[[], Made]) -> Made:
    """Return what ``make`` gives, made once a run for each ``name``."""
    place = _folder() / f"{name}.pickle"
    if place.is_file():
        return pickle.loads(place.read_bytes())
    made = make()
    draft = Path(mkdtemp(dir=_folder())) / "made"
    draft.write_bytes(pickle.dumps(made))
    draft.replace(place)
    return made


def kept_folder(name: str, fill: Callable[[Path], None]) -> Path:
    """Return a folder as ``fill`` left it, filled once a run for each ``name``; only to be read."""
    place = _folder() / name
    if not place.is_dir():
        draft = Path(mkdtemp(dir=_folder())) / "filled"
        draft.mkdir()
        fill(draft)
        if not place.is_dir():
            try:
                draft.rename(place)
            except OSError:  # another worker was a moment faster
                assert place.is_dir()
    return place


def _folder() -> Path:
    return Path(os.environ[FOLDER])
