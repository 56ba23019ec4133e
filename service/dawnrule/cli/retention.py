"""``dawnrule retention``: what is old leaves."""

from __future__ import annotations

from pathlib import Path

import click

from dawnrule.advice.acts import COMMAND_LINE
from dawnrule.advice.retention import apply_retention
from dawnrule.cli.athletes import tell_of_traces
from dawnrule.cli.options import db_option
from dawnrule.store import Store
from dawnrule.world import now


@click.group()
def retention() -> None:
    """Retention: how long is what people reported kept?

    \b
    Example:
      dawnrule retention apply --days 730 --db squad.db
    """


@retention.command()
@click.option(
    "--days",
    envvar="DAWNRULE_RETENTION_DAYS",
    show_envvar=True,
    required=True,
    type=click.IntRange(min=1),
    help="How many days of check-ins, advice, sessions and plans stay.",
)
@click.option(
    "--clock-is-right",
    is_flag=True,
    help="Remove it even if little was recorded lately, as if this machine's clock were ahead.",
)
@db_option
def apply(days: int, clock_is_right: bool, db: Path) -> None:
    """Remove what is older than some days, now; dawnrule serve does it each night if asked.

    Athletes, keys and published rules stay, and so do the digests of advice in the ledger. When
    nothing that would stay is of the first half of these days, nothing is removed unless you say
    that the clock is right: a clock that is years ahead would have everything removed.

    \b
    Example:
      dawnrule retention apply --days 730 --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        forgotten = apply_retention(
            store, days, by=COMMAND_LINE, at=now(), clock_is_right=clock_is_right
        )
    for table, rows in forgotten.removed.items():
        click.echo(f"{table}: {rows}")
    click.echo(f"No row from before {forgotten.before} is left.", err=True)
    if not forgotten.is_wiped:
        tell_of_traces(db)
