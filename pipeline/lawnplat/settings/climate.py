"""Load a climate table: the shipped one, which is invented, or a firm's own TOML or CSV file."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from lawnplat.errors import SettingsError
from lawnplat.settings.faults import Faults, suggest
from lawnplat.settings.toml_file import read_toml
from lawnplat.settings.types import Climate

_DATA = Path(__file__).parent / "data" / "climate.toml"
_MONTHS = 12
_COLDEST_C, _WARMEST_C = -60.0, 50.0
"""Wide enough for any month anywhere; a summer in degrees Fahrenheit is caught."""
_LONGEST_SHOWN = 60
_KEYS = ("label", "source", "mean_c")
_COLUMNS = ("month", "mean_c")


def load_climate(path: Path | None = None) -> Climate:
    """Return monthly mean temperatures: the shipped, invented ones, or those of a file.

    Parameters
    ----------
    path : Path, optional
        A TOML file with ``mean_c`` (twelve numbers, January first), ``label`` and ``source``; or a
        CSV file with the columns ``month`` (1 to 12) and ``mean_c``, in any order of rows.

    Raises
    ------
    SettingsError
        The file cannot be read, or a month is missing, given twice or not a temperature.
    """
    if path is None:
        return _from_toml(_DATA)
    return _from_csv(path) if path.suffix.lower() == ".csv" else _from_toml(path)


def _from_toml(path: Path) -> Climate:
    tree, faults = read_toml(path), Faults(str(path))
    for key in tree:
        if key not in _KEYS:
            faults.add(key, f"unknown key; {suggest(key, _KEYS, 'key')}")
    raw = tree.get("mean_c")
    if not isinstance(raw, list) or len(raw) != _MONTHS:
        faults.add("mean_c", "expected a list of twelve monthly means, January first")
        raw = []
    mean_c = _checked(enumerate(raw, start=1), faults)
    words = {key: tree.get(key, default) for key, default in _words(path).items()}
    for key, text in words.items():
        if not isinstance(text, str):
            faults.add(key, "expected text")
    faults.raise_any()
    return Climate(label=words["label"], mean_c=mean_c, source=words["source"])


def _from_csv(path: Path) -> Climate:
    faults = Faults(str(path))
    by_month: dict[int, Any] = {}
    for line, row in _csv_rows(path):
        month = _month(row.get("month"))
        if month is None:
            faults.add(f"line {line}", f"month is '{_shown(row.get('month'))}', expected 1 to 12")
        elif month in by_month:
            faults.add(f"line {line}", f"month {month} is given twice")
        else:
            by_month[month] = row.get("mean_c")
    missing = [str(month) for month in range(1, _MONTHS + 1) if month not in by_month]
    if missing:
        faults.add("month", f"missing: {', '.join(missing)}")
    mean_c = _checked(sorted(by_month.items()), faults)
    faults.raise_any()
    return Climate(mean_c=mean_c, **_words(path))


def _words(path: Path) -> dict[str, str]:
    return {"label": path.stem, "source": f"given in {path.name}"}


def _csv_rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    where = str(path)
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except FileNotFoundError as error:
        raise SettingsError(where, "there is no such file", "check the path") from error
    except UnicodeDecodeError as error:
        raise SettingsError(where, "is not UTF-8 text", "save the file as UTF-8") from error
    except OSError as error:
        raise SettingsError(where, f"cannot be read: {error.strerror or error}") from error
    try:
        reader = csv.DictReader(lines)
        found = [(reader.line_num, row) for row in reader]
    except csv.Error as error:
        raise SettingsError(where, f"is not CSV that can be read: {error}") from error
    if not set(_COLUMNS) <= set(reader.fieldnames or ()):
        names = ", ".join(reader.fieldnames or ()) or "none"
        what = f"needs the columns {' and '.join(_COLUMNS)}; found: {_shown(names)}"
        raise SettingsError(where, what, "name the columns in the first line")
    return found


def _month(text: str | None) -> int | None:
    number = (text or "").strip()
    return next((m for m in range(1, _MONTHS + 1) if number in {f"{m}", f"{m:02d}"}), None)


def _shown(raw: Any) -> str:
    """Return a raw value, cut short where it is long."""
    text = str(raw)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}..."


def _checked(values: Iterable[tuple[int, Any]], faults: Faults) -> tuple[float, ...]:
    """Return the means as floats; what is no temperature is a fault and left out."""
    means = []
    for month, raw in values:
        try:
            mean = math.nan if isinstance(raw, bool) else float(raw)
        except (TypeError, ValueError):
            mean = math.nan
        if not _COLDEST_C <= mean <= _WARMEST_C:
            expected = f"expected {_COLDEST_C:g} to {_WARMEST_C:g} degrees Celsius"
            faults.add(f"mean_c of month {month}", f"found '{_shown(raw)}', {expected}")
        means.append(mean)
    return tuple(means)
