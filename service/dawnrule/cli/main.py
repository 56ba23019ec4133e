"""The command ``dawnrule``, and errors as messages with an exit code."""

from __future__ import annotations

from typing import Any

import click

import dawnrule
from dawnrule.cli.lazy import LazyGroup
from dawnrule.errors import Conflict, DawnruleError, NotFound, StoreUnusable

_WRONG_USE = (Conflict, NotFound, StoreUnusable)


class Refused(click.ClickException):
    """An error of the service, in its own words."""

    exit_code = 1


class WronglyUsed(Refused):
    """An error about something that does not exist or is unavailable."""

    exit_code = 2


class DawnruleGroup(LazyGroup):
    """A group that reports the service's errors as messages, without a traceback."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command."""
        try:
            return super().invoke(ctx)
        except DawnruleError as error:
            from dawnrule.cli.tables import refusal_lines
            from dawnrule.i18n.catalog import Texts

            kind = WronglyUsed if isinstance(error, _WRONG_USE) else Refused
            raise kind("\n".join(refusal_lines(error, Texts.bundled()))) from error


_MODULES = {
    "addresses": "private_addresses",
    "advise": "advise",
    "athletes": "athletes",
    "audit": "audit",
    "backup": "maintenance",
    "concerns": "concerns",
    "demo": "demo",
    "keys": "keys",
    "openapi": "serve",
    "outlook": "outlook",
    "recovery": "recovery",
    "replay": "replay",
    "restore": "maintenance",
    "retention": "maintenance",
    "rules": "rules",
    "serve": "serve",
}
"""The module of each command."""


@click.group(
    cls=DawnruleGroup,
    elsewhere=_MODULES,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(dawnrule.__version__, prog_name="dawnrule")
def main() -> None:
    """Decide each morning whether to train as planned.

    Each morning's check-in gets one of three answers: train as planned, swap to low-damage work,
    or rest, with the rule that decided and its reason.

    Start with: dawnrule demo
    """
