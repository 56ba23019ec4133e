"""A group of commands that reads only the one that is typed."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any, NamedTuple

import click


class Elsewhere(NamedTuple):
    """A command of another module: the module's name in ``dawnrule.cli``, and the first sentence
    of the command's help, which is listed without reading the module."""

    module: str
    summary: str


class LazyGroup(click.Group):
    """A group that imports a command when it is asked for: all commands together import the whole
    service, which takes most of the time of a short one.

    ``elsewhere`` has the commands of other modules by name.
    """

    def __init__(self, *args: Any, elsewhere: Mapping[str, Elsewhere], **options: Any) -> None:
        super().__init__(*args, **options)
        self._elsewhere = elsewhere

    def list_commands(self, ctx: click.Context) -> list[str]:
        """List the names of the commands in the order of the alphabet."""
        return sorted({*super().list_commands(ctx), *self._elsewhere})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command by its name, or None if there is none."""
        if cmd_name not in self._elsewhere:
            return super().get_command(ctx, cmd_name)
        module = import_module(f"dawnrule.cli.{self._elsewhere[cmd_name].module}")
        command: click.Command = getattr(module, cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of the commands, without importing any."""
        listed = click.Group(commands=self.commands)
        for name, (_, summary) in self._elsewhere.items():
            listed.add_command(click.Command(name, help=summary))
        listed.format_commands(ctx, formatter)
