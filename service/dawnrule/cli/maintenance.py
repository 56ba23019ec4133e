"""``dawnrule backup``, ``restore`` and ``retention``: copies of the database, and deletion of old
data."""

from __future__ import annotations

from pathlib import Path

import click

from dawnrule.application.backups import back_up
from dawnrule.application.backups import restore as restore_backup
from dawnrule.application.heads import head_text
from dawnrule.application.retention import apply_retention
from dawnrule.cli.athletes import warn_of_traces
from dawnrule.cli.options import SettingOption, db_option
from dawnrule.clock import now
from dawnrule.store import Store
from dawnrule.store.activity_log import COMMAND_LINE
from dawnrule.store.backup import head_in


@click.group()
def retention() -> None:
    """Delete data that is older than the retention period.

    \b
    Example:
      dawnrule retention apply --days 730 --db squad.db
    """


@retention.command()
@click.option(
    "--days",
    cls=SettingOption,
    envvar="DAWNRULE_RETENTION_DAYS",
    required=True,
    type=click.IntRange(min=1),
    help="The number of days for which check-ins, advice, sessions and plans are kept.",
)
@click.option(
    "--clock-is-right",
    is_flag=True,
    help="Delete even if more than 31 days go at once, which may mean that the clock is ahead.",
)
@db_option
def apply(days: int, clock_is_right: bool, db: Path) -> None:
    """Delete data older than a number of days, now; dawnrule serve does so nightly if configured.

    Athletes, keys and published rules stay, and so do the fingerprints of advice in the logbook. If
    more than 31 days of dates are due at once, nothing is deleted unless you confirm that the clock
    is right: a clock that is years ahead would delete everything.

    \b
    Example:
      dawnrule retention apply --days 730 --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        deleted = apply_retention(
            store, days, by=COMMAND_LINE, at=now(), clock_is_right=clock_is_right
        )
    for table, rows in deleted.removed.items():
        click.echo(f"{table}: {rows}")
    click.echo(f"Nothing from before {deleted.before} remains.", err=True)
    if not deleted.is_wiped:
        warn_of_traces(db)


_OWNER_ONLY = 0o700
_ENDING = ".db"
_NOTHING_KNOWN = (
    "Nothing here says who was erased after this backup was made: there is no list beside it, and "
    "no earlier database. If anybody was, erase them again: dawnrule athletes erase"
)
_NO_EXPORTS_KNOWN = (
    "Nothing here says where mornings were exported to after this backup was made, as no earlier "
    "database of this club can be read. If any were, export them again (dawnrule archive export), "
    "and delete the club's folder of before (club=…) if the new one has another name."
)


@click.command()
@db_option
@click.option(
    "--to",
    required=True,
    type=click.Path(),
    help="A folder, where the backup is named by the time (UTC), or a new file. A folder that ends "
    "with a slash is created if necessary.",
)
@click.option(
    "--keep",
    type=click.IntRange(min=1),
    metavar="N",
    help="Delete all but the newest N backups of this database in the folder.",
)
def backup(db: Path, to: str, keep: int | None) -> None:
    """Back up the database, also while it is served, and print the file's name.

    The copy is checked before it gets its name: SQLite's integrity check, every reference, and the
    chain of the logbook. Only you can read it: keep it as private as the database. It contains
    health data, the secret that signs cookies, and the hashes of keys.

    \b
    Example:
      dawnrule backup --db squad.db --to backups/ --keep 14
    """
    place = Path(to)
    if keep is not None and _is_named_as_a_file(to, place):
        raise click.UsageError(f"--keep needs a folder, but {place} is a file.")
    if db.exists() and to.endswith("/"):
        _make_folder(place)
    elif keep is not None and not place.exists():
        raise click.UsageError(f"There is no folder {place}; write {place}/ to create it.")
    file = back_up(db, place, now(), keep)
    click.echo(file)
    click.echo(f"Its newest entry, to be kept elsewhere: {head_text(head_in(file))}", err=True)


@click.command()
@click.argument("backup", type=click.Path(path_type=Path))
@db_option
@click.option("--replace", is_flag=True, help="Move the existing database aside first.")
def restore(backup: Path, db: Path, replace: bool) -> None:
    """Replace the database by a BACKUP. Stop the service first.

    The backup is checked as when it was made; one that is damaged, or was made by a newer version,
    is refused, and nothing changes. The previous database is kept beside it. Athletes who were
    erased after the backup was made are erased again, as the list beside the backups and the
    previous database say.

    \b
    Example:
      dawnrule restore backups/squad-20260309T021500.000Z.db --db squad.db --replace
    """
    restored = restore_backup(backup, db, now(), replace=replace)
    if restored.aside is not None:
        click.echo(f"The previous database is kept as {restored.aside}.", err=True)
    click.echo(f"{db} is restored from {backup}.", err=True)
    for athlete_id in restored.erased_again:
        click.echo(
            f"{athlete_id} was erased after this backup was made, and was erased again.", err=True
        )
    if not restored.knows_erased:
        click.echo(_NOTHING_KNOWN, err=True)
    if not restored.knows_exports:
        click.echo(_NO_EXPORTS_KNOWN, err=True)


def _is_named_as_a_file(to: str, place: Path) -> bool:
    is_new = not place.exists() and not to.endswith("/")
    return place.is_file() or (is_new and place.suffix == _ENDING)


def _make_folder(place: Path) -> None:
    try:
        place.mkdir(_OWNER_ONLY, parents=True, exist_ok=True)
    except OSError as error:
        raise click.UsageError(f"{place} cannot be created: {error.strerror}.") from error
