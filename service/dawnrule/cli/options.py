"""Which options do several commands share?"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import click

from dawnrule.settings import Settings, name_and_version

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
