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
@db_option
def apply(days: int, db: Path) -> None:
    """Remove what is older than some days, now; dawnrule serve does it each night if asked.

    Athletes, keys and published rules stay, and so do the digests of advice in the ledger.

    \b
    Example:
      dawnrule retention apply --days 730 --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        forgotten = apply_retention(store, days, by=COMMAND_LINE, at=now())
    for table, rows in forgotten.removed.items():
        click.echo(f"{table}: {rows}")
    click.echo(f"No row from before {forgotten.before} is left.", err=True)
    if not forgotten.is_wiped:
        tell_of_traces(db)
