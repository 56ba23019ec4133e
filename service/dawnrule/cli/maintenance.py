"""``dawnrule backup`` and ``dawnrule restore``: all of it kept a second time, and brought back."""

from __future__ import annotations

from pathlib import Path

import click

from dawnrule.application.backups import back_up
from dawnrule.application.backups import restore as restore_backup
from dawnrule.application.retention import apply_retention
from dawnrule.cli.athletes import tell_of_traces
from dawnrule.cli.options import db_option
from dawnrule.clock import now
from dawnrule.store import Store
from dawnrule.store.activity_log import COMMAND_LINE


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
    help="Delete it even if more than 31 days go at once, as if this machine's clock were ahead.",
)
@db_option
def apply(days: int, clock_is_right: bool, db: Path) -> None:
    """Remove what is older than some days, now; dawnrule serve does it each night if asked.

    Athletes, keys and published rules stay, and so do the digests of advice in the ledger. When
    more than 31 days of dates would go at once, nothing is deleted unless you say that the clock is
    right: a clock that is years ahead would have everything deleted.

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


_OWNER_ONLY = 0o700
_ENDING = ".db"


@click.command()
@db_option
@click.option(
    "--to",
    required=True,
    type=click.Path(),
    help="A folder, in which the back-up is named by the time (UTC), or the name of a new file. "
    "A folder that ends with a slash is made where there is none.",
)
@click.option(
    "--keep",
    type=click.IntRange(min=1),
    metavar="N",
    help="Delete all but the newest N back-ups of this database in the folder.",
)
def backup(db: Path, to: str, keep: int | None) -> None:
    """Back up the database, also while it is served, and print the file.

    The copy is checked before it gets its name: SQLite's integrity check, every reference, and
    the chain of the ledger. Only you may read it: keep it as private as the database. It holds
    health data and the secret that signs cookies; of keys it holds the hashes.

    \b
    Example:
      dawnrule backup --db squad.db --to backups/ --keep 14
    """
    place = Path(to)
    if keep is not None and _is_named_as_a_file(to, place):
        raise click.UsageError(f"--keep needs a folder, and {place} is the name of a file.")
    if db.exists() and to.endswith("/"):
        _make_folder(place)
    elif keep is not None and not place.exists():
        raise click.UsageError(f"There is no folder {place}; with a slash, {place}/, it is made.")
    click.echo(back_up(db, place, now(), keep))


@click.command()
@click.argument("backup", type=click.Path(path_type=Path))
@db_option
@click.option("--replace", is_flag=True, help="Put the database that is there aside first.")
def restore(backup: Path, db: Path, replace: bool) -> None:
    """Put a BACKUP in the place of the database. Stop the service first.

    The back-up is checked as when it was made; one that is damaged, or was made by a newer
    version, is refused, and nothing changes. The database of before is kept beside it. Whoever was
    erased from it after the back-up was made is named, to be erased once more.

    \b
    Example:
      dawnrule restore backups/squad-20260309T021500.000Z.db --db squad.db --replace
    """
    restored = restore_backup(backup, db, now(), replace=replace)
    if restored.aside is not None:
        click.echo(f"What was there is kept as {restored.aside}.", err=True)
    click.echo(f"{db} is as it was when {backup} was made.", err=True)
    for athlete_id in restored.erased_since:
        again = f"dawnrule athletes erase {athlete_id} --db {db}"
        click.echo(
            f"{athlete_id} was erased after this back-up was made, and is there again. To erase "
            f"them once more: {again}",
            err=True,
        )


def _is_named_as_a_file(to: str, place: Path) -> bool:
    is_new = not place.exists() and not to.endswith("/")
    return place.is_file() or (is_new and place.suffix == _ENDING)


def _make_folder(place: Path) -> None:
    try:
        place.mkdir(_OWNER_ONLY, parents=True, exist_ok=True)
    except OSError as error:
        raise click.UsageError(f"{place} cannot be made: {error.strerror}.") from error
