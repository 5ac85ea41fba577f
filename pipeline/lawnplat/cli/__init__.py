"""The command line. Each command lives in a module of its own, imported only when it is called."""

from __future__ import annotations

import importlib

import click

_COMMANDS = {
    "inspect": "lawnplat.cli.inspect",
    "plan": "lawnplat.cli.plan",
    "quote": "lawnplat.cli.quote",
    "check": "lawnplat.cli.check",
    "locate": "lawnplat.cli.locate",
    "simulate": "lawnplat.cli.simulate",
    "rules": "lawnplat.cli.settings",
    "classes": "lawnplat.cli.settings",
    "prices": "lawnplat.cli.settings",
}


class _LazyGroup(click.Group):
    """A group that imports a command's module when the command is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in _COMMANDS:
            return None
        command: click.Command = getattr(importlib.import_module(_COMMANDS[cmd_name]), cmd_name)
        return command


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="lawnplat")
def main() -> None:
    """Plan perimeter wire, charging station and return line for automatic lawn mowers."""
