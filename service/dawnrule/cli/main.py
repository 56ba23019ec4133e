"""The command ``dawnrule``, and errors as messages with an exit code."""

from __future__ import annotations

from typing import Any

import click

import dawnrule
from dawnrule.cli.advise import advise
from dawnrule.cli.athletes import athletes
from dawnrule.cli.audit import audit
from dawnrule.cli.concerns import concerns
from dawnrule.cli.demo import demo
from dawnrule.cli.keys import keys
from dawnrule.cli.maintenance import backup, restore, retention
from dawnrule.cli.outlook import outlook
from dawnrule.cli.private_addresses import addresses
from dawnrule.cli.publishing import activate, publish, rollback, shadow
from dawnrule.cli.replay import replay
from dawnrule.cli.rules import rules
from dawnrule.cli.serve import openapi, serve
from dawnrule.cli.statistics import scorecard, verify
from dawnrule.cli.tables import refusal_lines
from dawnrule.errors import Conflict, DawnruleError, NotFound, StoreUnusable
from dawnrule.i18n.catalog import Texts

_WRONG_USE = (Conflict, NotFound, StoreUnusable)


class Refused(click.ClickException):
    """An error of the service, in its own words."""

    exit_code = 1


class WronglyUsed(Refused):
    """An error about something that does not exist or is unavailable."""

    exit_code = 2


class DawnruleGroup(click.Group):
    """A group that reports the service's errors as messages, without a traceback."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command."""
        try:
            return super().invoke(ctx)
        except DawnruleError as error:
            kind = WronglyUsed if isinstance(error, _WRONG_USE) else Refused
            raise kind("\n".join(refusal_lines(error, Texts.bundled()))) from error


@click.group(cls=DawnruleGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(dawnrule.__version__, prog_name="dawnrule")
def main() -> None:
    """Decide each morning whether to train as planned.

    Each morning's check-in gets one of three answers: train as planned, swap to low-damage work,
    or rest, with the rule that decided and its reason.

    Start with: dawnrule demo
    """


for _command in (demo, advise, outlook, serve, rules, replay, keys, backup, restore, openapi):
    main.add_command(_command)
for _command in (audit, athletes, addresses, concerns, retention):
    main.add_command(_command)
for _command in (publish, activate, rollback, shadow, scorecard, verify):
    rules.add_command(_command)
