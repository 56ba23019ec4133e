"""Which options do several commands share?"""

from __future__ import annotations

from pathlib import Path

import click

from dawnrule.settings import Settings, name_and_version

DEFAULTS = Settings()


def _with_version(ctx: click.Context, parameter: click.Parameter, value: str) -> str:
    if not all(name_and_version(value)):
        raise click.BadParameter(f"write it as name@version, like {DEFAULTS.rule_set}.")
    return value


rule_set_option = click.option(
    "--rule-set",
    envvar="DAWNRULE_RULE_SET",
    show_envvar=True,
    default=DEFAULTS.rule_set,
    show_default=True,
    callback=_with_version,
    metavar="NAME@VERSION",
    help="The rule set that decides; see: dawnrule rules list.",
)

db_option = click.option(
    "--db",
    envvar="DAWNRULE_DB",
    show_envvar=True,
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="The database file.",
)
