"""Which options do several commands share?"""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import ExitStack
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import Any, TypeAlias, TypeVar

import click

from dawnrule.application.active_rules import StoredTexts
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.settings import Settings, name_and_version
from dawnrule.store import Store


def rule_set_named(named: str, store: Store | None = None) -> RuleSet:
    """The rule set in a file, one that ships with the service, or one that was published in a
    store. Raises ``RuleSetInvalid``, ``NotFound`` and click's ``BadParameter``."""
    library = RuleSetLibrary.bundled()
    if store is not None:
        library = library.with_published(StoredTexts(store))
    file = Path(named)
    if file.is_file():
        return load_rule_set(file, shown_as=named, resolve=library.get)
    if not all(name_and_version(named)):
        raise click.BadParameter(f"{named!r} is neither a file nor a name@version.")
    return library.get(*name_and_version(named))


def counted(number: int, thing: str) -> str:
    """``1 rule``, ``2 rules``; for words that only take an s."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


Show: TypeAlias = Callable[[int, int], None]
Command = TypeVar("Command", bound=Callable[..., Any])


def _as_date(ctx: click.Context, parameter: click.Parameter, value: datetime | None) -> date | None:
    return value.date() if value else None


def date_option(name: str, into: str, says: str) -> Callable[[Command], Command]:
    """An option that takes a date; None when it is left out."""
    return click.option(
        name,
        into,
        type=click.DateTime(["%Y-%m-%d"]),
        callback=_as_date,
        metavar="DATE",
        help=says,
    )


def dates_options(command: Command) -> Command:
    """The options ``--from`` and ``--to``, as ``first`` and ``last``; None when left out."""
    to = date_option("--to", "last", "The last date that counts; the newest when left out.")
    start = date_option("--from", "first", "The first date that counts; the oldest when left out.")
    return start(to(command))


def bar(label: str, shown: ExitStack) -> Show:
    """What to tell how much of how much is done: a bar on standard error, from the first time on
    until ``shown`` ends."""
    bars: list[Any] = []

    def show(done: int, of: int) -> None:
        if not bars:
            bars.append(
                shown.enter_context(click.progressbar(length=of, label=label, file=sys.stderr))
            )
        bars[0].update(done - bars[0].pos)

    return show


F = TypeVar("F", bound=Callable[..., Any])

DEFAULTS = Settings()


def _with_version(ctx: click.Context, parameter: click.Parameter, value: str) -> str:
    if not all(name_and_version(value)):
        raise click.BadParameter(f"write it as name@version, like {DEFAULTS.rule_set}.")
    return value


_one_rule_set = partial(
    click.option,
    envvar="DAWNRULE_RULE_SET",
    show_envvar=True,
    default=DEFAULTS.rule_set,
    show_default=True,
    callback=_with_version,
    metavar="NAME@VERSION",
)

rule_set_option = _one_rule_set(
    "--rule-set", help="The rule set that decides; see: dawnrule rules list."
)

otherwise_option = _one_rule_set(
    "--otherwise", help="What decides where no rule set was activated: the server's --rule-set."
)

db_option = click.option(
    "--db",
    envvar="DAWNRULE_DB",
    show_envvar=True,
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="The database file.",
)


def format_option(*forms: str, says: str) -> Callable[[F], F]:
    """``--format``, as ``form``: one of several, the first where none is asked for. ``says`` is
    what its help says."""
    return click.option(
        "--format",
        "form",
        type=click.Choice(forms),
        default=forms[0],
        show_default=True,
        help=says,
    )
