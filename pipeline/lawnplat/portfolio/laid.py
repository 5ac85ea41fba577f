"""One plan and the track of its wire as laid: held against each other, and put on record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from lawnplat.deliver.fingerprint import fingerprint
from lawnplat.deliver.laid_contract import LAID_FILE
from lawnplat.deliver.laid_record import is_record, read_laid, write_laid
from lawnplat.deliver.recorded import read_recorded
from lawnplat.errors import SettingsError, SurveyError
from lawnplat.portfolio.checked import Against, evidence_of
from lawnplat.proving.as_laid.build import as_laid
from lawnplat.proving.as_laid.types import AsLaid
from lawnplat.proving.recorded import RecordedPlan
from lawnplat.settings.digest import digest
from lawnplat.settings.limits import limit_of
from lawnplat.survey.track_read import read_track


@dataclass(frozen=True)
class TrackFile:
    """A measured line's file; its CRS and accuracy where the caller states them."""

    path: Path
    crs: str | None = None
    accuracy_m: float | None = None


def prove_laid(
    plan: Path,
    track: TrackFile,
    against: Against,
    sources: Sequence[str] = (),
    record: Path | None = None,
) -> tuple[AsLaid, Path]:
    """Hold a track against a plan, write the as-laid record, and return both.

    Parameters
    ----------
    plan : pathlib.Path
    track : TrackFile
    against : Against
    sources : sequence of str
        The survey's files, if any.
    record : pathlib.Path, optional
        By default ``as_laid.gpkg`` beside the plan.

    Raises
    ------
    SurveyError
        Plan, survey or track cannot be read, or the track lies nowhere near the plan.
    SettingsError
        The accuracy stated cannot be one.
    DeliveryError
        The record cannot be written.
    """
    limit = limit_of("as_laid.accuracy_m")
    if track.accuracy_m is not None and not limit.holds(track.accuracy_m):
        what = f"{track.accuracy_m:g} m is no accuracy: it must be {limit.words()}"
        raise SettingsError("--accuracy", what, "give a standard deviation in metres")
    evidence = evidence_of(plan, against, sources)
    rules = evidence.rules
    read = read_track(
        track.path,
        evidence.plan.crs,
        rules.as_laid,
        track_crs=track.crs,
        accuracy_m=track.accuracy_m,
    )
    laid = as_laid(evidence, read)
    facts = {
        "plan": fingerprint(plan),
        f"track {track.path.name}": fingerprint(track.path),
        "track_accuracy_m": str(track.accuracy_m or rules.as_laid.accuracy_m),
        "rule_book_sha256": digest(rules),
    }
    return laid, write_laid(laid, evidence.plan, facts, record or plan.parent / LAID_FILE)


def read_wires(path: Path) -> RecordedPlan:
    """Read an as-laid record, or a plan where the file is one.

    Raises
    ------
    SurveyError
        The file is neither, or is damaged.
    """
    if not path.is_file():
        what = "is a folder" if path.is_dir() else "there is no such file"
        remedy = "name an as_laid.gpkg that lawnplat check --as-laid wrote, or a plan.gpkg"
        raise SurveyError(str(path), what, remedy)
    return read_laid(path) if is_record(path) else read_recorded(path)
