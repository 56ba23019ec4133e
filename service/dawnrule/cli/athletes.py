"""``dawnrule athletes``: what is stored of one person, to take along or to be erased."""

from __future__ import annotations

import os
from pathlib import Path

import click

from dawnrule.advice.acts import COMMAND_LINE
from dawnrule.advice.erasure import erase as erase_athlete
from dawnrule.advice.export import export_athlete
from dawnrule.advice.morning import known_athlete
from dawnrule.cli.options import db_option
from dawnrule.store import Store
from dawnrule.vocabulary.texts import Texts
from dawnrule.world import now

_OWNER_ONLY = 0o600
_NOT_WIPED = (
    "Traces may be left in the files: others would not let go of them, or the disk is full."
)


@click.group()
def athletes() -> None:
    """Athletes: hand out or erase all that is stored of one.

    \b
    Example:
      dawnrule athletes export a-03 --output a-03.zip --db squad.db
    """


@athletes.command()
@click.argument("athlete_id", metavar="ID")
@click.option(
    "--output",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.zip",
    help="A file that is not there yet; only you will be able to read it.",
)
@db_option
def export(athlete_id: str, output: Path, db: Path) -> None:
    """Write all that is stored of an athlete into a zip, as JSON and CSV with a README.

    \b
    Example:
      dawnrule athletes export a-03 --output a-03.zip --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        packed = export_athlete(store, athlete_id, Texts.shipped(), by=COMMAND_LINE, at=now())
    try:
        handle = os.open(output, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _OWNER_ONLY)
    except OSError as error:
        raise click.UsageError(f"{output} cannot be written: {error.strerror}.") from error
    with open(handle, "wb") as file:
        file.write(packed)
    click.echo(f"{output} has all that is stored of {athlete_id}.", err=True)


@athletes.command()
@click.argument("athlete_id", metavar="ID")
@click.option("--yes", is_flag=True, help="Do not ask first.")
@db_option
def erase(athlete_id: str, yes: bool, db: Path) -> None:
    """Erase an athlete and all that is stored of them, for good.

    The ledger keeps digests of their advice, from which nothing can be read, and the act of
    erasing with the id. Copies that were made before, such as backups, are not touched.

    \b
    Example:
      dawnrule athletes erase a-03 --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        store.read(lambda books: known_athlete(books, athlete_id))
        if not yes:
            click.confirm(f"Erase {athlete_id} for good?", abort=True, err=True)
        erased = erase_athlete(store, athlete_id, by=COMMAND_LINE, at=now())
    for table, rows in erased.removed.items():
        click.echo(f"{table}: {rows}")
    if not erased.is_wiped:
        click.echo(f"{_NOT_WIPED} Later: dawnrule athletes wipe --db {db}", err=True)


@athletes.command()
@db_option
@click.pass_context
def wipe(ctx: click.Context, db: Path) -> None:
    """Write the database anew, so that no byte of what was erased stays in its files.

    Erasing does this by itself; this is for when it says that it could not.

    \b
    Example:
      dawnrule athletes wipe --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        if not store.wipe():
            click.echo(_NOT_WIPED, err=True)
            ctx.exit(1)
    click.echo("Nothing of what was erased is left in the files.", err=True)
