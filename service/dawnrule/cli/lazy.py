"""A group of commands that reads only the one that is typed."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any

import click


class LazyGroup(click.Group):
    """A group that imports a command when it is asked for: all commands together import the whole
    service, which takes most of the time of a short one.

    ``elsewhere`` gives, for each command of another module, the name of the module in
    ``dawnrule.cli``.
    """

    def __init__(self, *args: Any, elsewhere: Mapping[str, str], **options: Any) -> None:
        super().__init__(*args, **options)
        self._elsewhere = elsewhere

    def list_commands(self, ctx: click.Context) -> list[str]:
        """List the names of the commands in the order of the alphabet."""
        return sorted({*super().list_commands(ctx), *self._elsewhere})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command by its name, or None if there is none."""
        if cmd_name not in self._elsewhere:
            return super().get_command(ctx, cmd_name)
        module = import_module(f"dawnrule.cli.{self._elsewhere[cmd_name]}")
        command: click.Command = getattr(module, cmd_name)
        return command
