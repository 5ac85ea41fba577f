"""What every command shares: options, errors turned into exit statuses, tables and JSON.

A command is written so::

    @click.command()
    @rules_option
    @json_option
    @debug_option
    @reports_errors
    def rules(rules: Path | None, as_json: bool) -> None: ...

``reports_errors`` stands last, next to the function.
"""

from __future__ import annotations

import dataclasses
import functools
import json
import math
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import ParamSpec, TypeVar

import click

from lawnplat.errors import LawnplatError

P = ParamSpec("P")
R = TypeVar("R")

EXIT_DONE = 0
EXIT_SOME_FAILED = 1
"""Done, but some property is not plannable, has bad input, or breaks a rule."""
EXIT_CANNOT = 2
"""The call itself cannot be carried out."""

_DEBUG = "lawnplat.debug"
_TEXT_WIDTH = 92
"""Texts under a table's rows; with their indent they fit a terminal of 96 columns."""


class CannotCarryOut(click.ClickException):
    """An expected error, shown in one or two lines on standard error; exit status 2."""

    exit_code = EXIT_CANNOT


def reports_errors(command: Callable[P, R]) -> Callable[P, R]:
    """Turn a `LawnplatError` into its message on standard error and exit status 2.

    Any other exception is a fault of lawnplat's own: it is named in one line, exit status 2 too.
    With ``--debug`` (see `debug_option`) the exception goes through with its traceback.
    """

    @functools.wraps(command)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
        try:
            return command(*args, **kwargs)
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except LawnplatError as error:
            if is_debug():
                raise
            raise CannotCarryOut(str(error)) from error
        except Exception as error:
            if is_debug():
                raise
            kind = type(error).__name__
            raise CannotCarryOut(
                f"unexpected {kind}: {error}\n"
                "  this is a fault in lawnplat, not in the call: run it again with --debug "
                "and report what it prints"
            ) from error

    return wrapped


def is_debug() -> bool:
    """Return whether the running command was given ``--debug``."""
    context = click.get_current_context(silent=True)
    return context is not None and bool(context.meta.get(_DEBUG, False))


def _keep_debug(context: click.Context, _parameter: click.Parameter, value: bool) -> bool:
    context.meta[_DEBUG] = value
    return value


debug_option = click.option(
    "--debug",
    is_flag=True,
    expose_value=False,
    is_eager=True,
    callback=_keep_debug,
    help="Show the full traceback of an error.",
)
json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print machine-readable JSON on standard output."
)
map_option = click.option(
    "--map",
    "field_map",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="TOML file that says which layers, columns and values stand for lawnplat's.",
)
crs_option = click.option(
    "--crs", metavar="CRS", help="CRS of files that carry none, such as EPSG:25832."
)
elevation_unit_option = click.option(
    "--elevation-unit",
    type=click.Choice(["m", "ft", "us-ft"]),
    default="m",
    show_default=True,
    help="Unit of the raster's heights.",
)
rules_option = click.option(
    "--rules",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="TOML file with the rules that differ from the shipped rule book.",
)
machine_option = click.option(
    "--machine",
    metavar="CLASS|FILE",
    help="A shipped machine class's name, or a TOML file with what differs from one.",
)
prices_option = click.option(
    "--prices",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="TOML file with the prices that differ from the shipped price book.",
)

date_option = click.option(
    "--date",
    "issued",
    metavar="YYYY-MM-DD",
    type=click.DateTime(formats=["%Y-%m-%d"]),
    help="Date of the quotes. Default: today.",
)


def issue_date(given: datetime | None) -> str:
    """Return the date given, else today's, as ISO 8601: only the command line reads a clock."""
    return (given or datetime.now().astimezone()).date().isoformat()


def echo_json(value: object) -> None:
    """Print one value as indented JSON on standard output; dataclasses become objects.

    A number that is none, or infinite, has no form in JSON (RFC 8259, section 6): it becomes null.
    """
    click.echo(json.dumps(_plain(value), indent=2, ensure_ascii=False, allow_nan=False))


def _plain(value: object) -> object:
    """Return what JSON can hold in place of a dataclass, mapping, path or sequence, all through."""
    if value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        names = [field.name for field in dataclasses.fields(value)]
        return {name: _plain(getattr(value, name)) for name in names}
    if isinstance(value, Mapping):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, (Path, Decimal)):
        return str(value)
    if isinstance(value, Iterable):
        return [_plain(each) for each in value]
    raise TypeError(f"{type(value).__name__} has no JSON form")


def printable(text: str) -> str:
    """Return a text that cannot play tricks on a terminal."""
    return "".join(each if each.isprintable() else "?" for each in text)


def echo_table(
    headers: Sequence[str], rows: Iterable[Sequence[str]], texts: Sequence[str] = ()
) -> None:
    """Print an aligned table on standard output, the last column unpadded.

    ``texts`` stand under their rows, one a row, indented and broken into lines.
    """
    lines = [tuple(headers), *(tuple(row) for row in rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(headers))]
    rule = tuple("-" * width for width in widths)
    for number, line in enumerate((lines[0], rule, *lines[1:]), start=-2):
        cells = [cell.ljust(width) for cell, width in zip(line, widths, strict=True)]
        click.echo("  ".join(cells).rstrip())
        if 0 <= number < len(texts):
            text = textwrap.fill(printable(texts[number]), _TEXT_WIDTH)
            click.echo(textwrap.indent(text, "    "))
