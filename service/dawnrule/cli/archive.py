"""``dawnrule archive``: past mornings for others to count, without names."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path

import click

from dawnrule.analytics.tombstones import list_erased_in
from dawnrule.application.archives import export_archive, read_archives
from dawnrule.cli.options import bar, count_of, db_option
from dawnrule.clock import now
from dawnrule.rules.columnar import MorningTable
from dawnrule.store import Store
from dawnrule.store.activity_log import COMMAND_LINE

_to_option = click.option(
    "--to",
    "folder",
    required=True,
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="The folder of the archive; each club has a folder in it.",
)


@click.group()
def archive() -> None:
    """Export past mornings without names, for replays over many clubs.

    \b
    Example:
      dawnrule archive export --to /srv/archive --db squad.db
    """


@archive.command()
@_to_option
@db_option
def export(folder: Path, db: Path) -> None:
    """Write all past mornings to DIR, without names.

    Facts and decisions are written as Parquet files, one a month, in a folder of the club, with
    their sums (SHA256SUMS); what was exported there before is replaced. It is written in a hidden
    folder (.new-club=…) until it is whole; another export waits as long. Names, ids and free text
    stay here: an athlete is known by a fingerprint that nobody can compute without this database.
    It is still health data. Whoever is erased later is put on a list in the folder, and replays
    leave them out.

    \b
    Example:
      dawnrule archive export --to /srv/archive --db squad.db
    """
    with Store.open(db, must_exist=True) as store, ExitStack() as stack:
        progress = bar("Reading the logbook", stack)
        exported = export_archive(store, folder, by=COMMAND_LINE, at=now(), progress=progress)
    click.echo(f"{exported.folder}: {count_of(exported.mornings, 'morning')}")


@archive.command()
@_to_option
@db_option
def erased(folder: Path, db: Path) -> None:
    """Bring the list of who was erased up to date in DIR.

    Erasing an athlete does so wherever this database was exported to. Use it for a copy elsewhere,
    a list that could not be written then, or one that was cut short or written by an earlier
    version: replays refuse such lists.

    \b
    Example:
      dawnrule archive erased --to /mnt/association/archive --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        list_erased_in(store, folder, now())
    click.echo(f"{folder}: the list of who was erased is up to date")


def mornings_of(archives: Iterable[str]) -> MorningTable:
    """Read archives as one table, and say on stderr how many clubs and archives they were."""
    paths = list(map(Path, archives))
    read = read_archives(paths)
    if paths:
        clubs, of = count_of(len(read.clubs), "club"), count_of(len(paths), "archive")
        click.echo(f"{clubs} read, in {of}: {', '.join(map(str, paths))}", err=True)
    return read.table
