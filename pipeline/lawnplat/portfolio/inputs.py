"""What a run was given, for every plan's ``run_info``."""

from __future__ import annotations

from pathlib import Path

from lawnplat.deliver.fingerprint import fingerprint
from lawnplat.survey.types import Survey


def input_facts(
    survey: Survey, elevation: Path | None = None, field_map: Path | None = None
) -> tuple[tuple[str, str], ...]:
    """Return the names and fingerprints of a run's files, each file once.

    Parameters
    ----------
    survey : Survey
        Its layers name the files that were read.
    elevation, field_map : pathlib.Path, optional

    Returns
    -------
    tuple of (str, str)
        Such as ``("input survey.gpkg", "sha256 ..., 98304 bytes")``: names without folders, so that
        the same files give the same plan wherever they lie.
    """
    used = {Path(layer.file) for layer in survey.layers if layer.role != "unused"}
    paths = [*sorted(used), *filter(None, (elevation, field_map))]
    facts = ((f"input {path.name}", fingerprint(path)) for path in paths)
    return tuple((key, value or "not a file") for key, value in facts)
