"""What a file held when it was read, in one line, for a plan's ``run_info``."""

from __future__ import annotations

import hashlib
from pathlib import Path

_WHOLE_BYTES = 256 * 1024 * 1024
_PIECE_BYTES = 1024 * 1024


def fingerprint(path: Path) -> str:
    """Return a file's SHA-256 and size.

    Of a file over 256 MiB only the first and last MiB are hashed, and the line says so: reading a
    country's elevation whole would take longer than planning. Empty where the file cannot be read.

    Parameters
    ----------
    path : pathlib.Path
        One file. What is not a file (a folder, a service) has no fingerprint.
    """
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            if size <= _WHOLE_BYTES:
                return f"sha256 {hashlib.file_digest(file, 'sha256').hexdigest()}, {size} bytes"
            ends = file.read(_PIECE_BYTES)
            file.seek(-_PIECE_BYTES, 2)
            ends += file.read(_PIECE_BYTES)
    except OSError:
        return ""
    return f"sha256 of both ends {hashlib.sha256(ends).hexdigest()}, {size} bytes"
