"""The command ``dawnrule``, and errors as messages with an exit code."""

from __future__ import annotations

import gc
from typing import Any

import click

import dawnrule
from dawnrule.cli.lazy import Elsewhere, LazyGroup
from dawnrule.errors import Conflict, DawnruleError, NotFound, StoreUnusable

_WRONG_USE = (Conflict, NotFound, StoreUnusable)


_OBJECTS_BETWEEN_COLLECTIONS = 50_000
"""Nearly all that a command reads when it starts it keeps: looking for rubbish among it after each
700 objects, as Python does, takes a twentieth of the time of a short command."""


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
        gc.set_threshold(_OBJECTS_BETWEEN_COLLECTIONS)
        try:
            return super().invoke(ctx)
        except DawnruleError as error:
            from dawnrule.cli.tables import refusal_lines
            from dawnrule.i18n.catalog import Texts

            kind = WronglyUsed if isinstance(error, _WRONG_USE) else Refused
            raise kind("\n".join(refusal_lines(error, Texts.bundled()))) from error


_COMMANDS = {
    "addresses": Elsewhere(
        "private_addresses", "Create, list, replace and revoke private addresses of athletes."
    ),
    "advise": Elsewhere("advise", "Advise on the check-ins in FILE, without a server."),
    "archive": Elsewhere(
        "archive", "Export past mornings without names, for replays over many clubs."
    ),
    "athletes": Elsewhere(
        "athletes", "Add and list athletes; export or erase everything stored about one."
    ),
    "audit": Elsewhere("audit", "Check that the record is unchanged, and list who did what."),
    "backup": Elsewhere(
        "maintenance", "Back up the database, also while it is served, and print the file's name."
    ),
    "concerns": Elsewhere(
        "concerns", "Concerns: what is open about athletes until somebody lifts it."
    ),
    "demo": Elsewhere("demo", "Show a real morning with an invented squad, and keep serving it."),
    "keys": Elsewhere("keys", "Create, list and revoke keys."),
    "openapi": Elsewhere(
        "serve", "Print the description of the HTTP interface (OpenAPI 3.1, YAML)."
    ),
    "sheets": Elsewhere(
        "sheets", "Introduce sheets of your own making, once; list and forget them."
    ),
    "outlook": Elsewhere(
        "outlook", "Show when each muscle group is ready again, and a balanced session."
    ),
    "recovery": Elsewhere(
        "recovery", "Show how long each muscle group is sore after growth and landing work."
    ),
    "replay": Elsewhere("replay", "Decide past mornings again under another rule set."),
    "restore": Elsewhere("maintenance", "Replace the database by a BACKUP."),
    "retention": Elsewhere("maintenance", "Delete data that is older than the retention period."),
    "rules": Elsewhere("rules", "List, check, compare, try out and publish rule sets."),
    "serve": Elsewhere("serve", "Serve the API and its documentation until stopped (Ctrl-C)."),
    "targets": Elsewhere(
        "targets", "Show build, deload and taper up to the next main competition."
    ),
    "week": Elsewhere("week", "Lay out the week that FILE asks for."),
}


@click.group(
    cls=DawnruleGroup,
    elsewhere=_COMMANDS,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(dawnrule.__version__, prog_name="dawnrule")
def main() -> None:
    """Decide each morning whether to train as planned.

    Each morning's check-in gets one of three answers: train as planned, swap to low-damage work,
    or rest, with the rule that decided and its reason.

    Start with: dawnrule demo
    """
