"""Read one TOML file, with an error that names the file and the line."""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

from lawnplat.errors import SettingsError

_POSITION = re.compile(r"\s*\(at (?P<place>[^)]*)\)$")


def read_toml(path: Path) -> dict[str, Any]:
    """Return the tables of a TOML file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    dict
        Numbers with a point come as `decimal.Decimal`, so that money keeps its digits.

    Raises
    ------
    SettingsError
        The file cannot be read or is not TOML.
    """
    where = str(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        raise SettingsError(where, "there is no such file", "check the path") from error
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        what = f"line {line} is not UTF-8 text"
        raise SettingsError(where, what, "save the file as UTF-8") from error
    except OSError as error:
        raise SettingsError(where, f"cannot be read: {error.strerror or error}") from error
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise _not_toml(where, str(error), text) from error
    except (ValueError, RecursionError) as error:
        what = f"not TOML that can be read: {error}"
        raise SettingsError(where, what, "write shorter numbers and flatter lists") from error


def _not_toml(where: str, message: str, text: str) -> SettingsError:
    """Turn the parser's message round: place first, then the line itself, then what is wrong."""
    found = _POSITION.search(message)
    place = found["place"] if found else "unknown place"
    what = message[: found.start()] if found else message
    line = re.match(r"line (\d+)", place)
    lines = text.splitlines()
    number = int(line[1]) if line else len(lines)
    found_line = lines[number - 1].strip() if 0 < number <= len(lines) else ""
    shown = "".join(letter if letter.isprintable() else "?" for letter in found_line)
    at = place if line else f"line {number}, at the end of the file"
    remedy = f"the line reads: {shown}" if shown else ""
    return SettingsError(where, f"{at}: not TOML: {what[:1].lower()}{what[1:]}", remedy)
