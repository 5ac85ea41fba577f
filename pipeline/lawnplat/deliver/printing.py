"""Printing a site sheet as PDF with a program or package that is there; none is required."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

from lawnplat.deliver.contract import SHEET_FILE, SHEET_PDF_FILE
from lawnplat.deliver.place import place_file, take_away
from lawnplat.errors import DeliveryError, SettingsError

_BROWSERS = ("chromium", "chromium-browser", "google-chrome")
_PACKAGE = "weasyprint"
_PATIENCE_S = 120.0
_MARK = b"% made by lawnplat"
"""Stands after the end of every PDF of ours, where readers pass over it."""
_TAIL_BYTES = 400


@dataclass(frozen=True)
class Printer:
    """What prints: the path of a browser, or empty for the package WeasyPrint."""

    browser: str


def find_printer() -> Printer:
    """Return what can print here.

    Raises
    ------
    SettingsError
        If neither a browser nor WeasyPrint is there.
    """
    browser = next(filter(None, map(shutil.which, _BROWSERS)), "")
    if browser or importlib.util.find_spec(_PACKAGE) is not None:
        return Printer(browser)
    raise SettingsError(
        "--pdf",
        "nothing here can print a PDF",
        "install Chromium (chromium or google-chrome on the path) or the Python package "
        "weasyprint, or leave --pdf out and print site_sheet.html from any browser",
    )


def print_sheet(folder: Path, printer: Printer) -> Path:
    """Print the folder's site sheet as ``site_sheet.pdf`` and return the file.

    Raises
    ------
    DeliveryError
        If it cannot be printed, or a file that lawnplat did not make is in its place.
    """
    target = folder / SHEET_PDF_FILE
    sheet = (folder / SHEET_FILE).resolve()
    place_file(target, lambda draft: _print(sheet, draft, printer), _is_ours)
    return target


def drop_printed(folder: Path) -> None:
    """Take away an earlier run's PDF, so that nobody digs by it beside a new plan.

    Raises
    ------
    DeliveryError
        If it cannot be taken away.
    """
    take_away(folder / SHEET_PDF_FILE, _is_ours)


def _print(sheet: Path, draft: Path, printer: Printer) -> None:
    if printer.browser:
        _by_browser(sheet, draft, printer.browser)
    else:
        _by_package(sheet, draft)
    if not (draft.is_file() and draft.read_bytes().startswith(b"%PDF-")):
        raise DeliveryError(str(sheet), "the printing program wrote no PDF")
    with draft.open("ab") as file:
        file.write(b"\n" + _MARK + b"\n")


def _by_browser(sheet: Path, draft: Path, browser: str) -> None:
    """Print with a browser that keeps nothing; the page itself lets no script run."""
    with tempfile.TemporaryDirectory(prefix="lawnplat-", ignore_cleanup_errors=True) as profile:
        command = [
            browser, "--headless=new", "--disable-gpu", "--no-first-run",
            "--disable-background-networking",
            f"--user-data-dir={profile}", "--no-pdf-header-footer", *_as_root(),
            f"--print-to-pdf={draft.resolve()}", sheet.as_uri(),
        ]  # fmt: skip
        try:
            done = subprocess.run(  # noqa: S603 - a found program, no shell
                command, check=False, capture_output=True, timeout=_PATIENCE_S
            )
        except (OSError, subprocess.TimeoutExpired) as error:
            what = f"cannot be printed ({type(error).__name__})"
            raise DeliveryError(str(sheet), what) from error
    if done.returncode != 0:
        raise DeliveryError(str(sheet), f"cannot be printed (exit status {done.returncode})")


def _as_root() -> list[str]:
    """Return what a browser asks for before it runs as root, as in a container."""
    root = hasattr(os, "geteuid") and os.geteuid() == 0
    return ["--no-sandbox"] if root else []


def _by_package(sheet: Path, draft: Path) -> None:
    from weasyprint import HTML  # type: ignore[import-not-found]  # noqa: PLC0415 - optional

    try:
        HTML(filename=str(sheet)).write_pdf(str(draft))
    except Exception as error:
        raise DeliveryError(str(sheet), f"cannot be printed ({error})") from error


def _is_ours(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - _TAIL_BYTES))
        return _MARK in file.read()
