"""``dawnrule athletes``: who trains, and what is stored of one person."""

from __future__ import annotations

import os
from pathlib import Path

import click
from tabulate import tabulate

from dawnrule.application.athletes import erase as erase_athlete
from dawnrule.application.athletes import export_athlete, put_athlete, require_athlete
from dawnrule.cli.options import db_option
from dawnrule.clock import now
from dawnrule.facts.plausibility import implausible_athlete
from dawnrule.i18n.catalog import Texts
from dawnrule.schemas.athlete import ATHLETE, load_athlete
from dawnrule.schemas.errors import invalid_input
from dawnrule.store import Store, Transaction
from dawnrule.store.activity_log import COMMAND_LINE

_OWNER_ONLY = 0o600
_COLUMNS = {
    "athlete_id": "Id",
    "name": "Name",
    "time_zone": "Time zone",
    "date_of_birth": "Born",
    "training_status": "Status",
    "language": "Language",
}
_NOT_WIPED = (
    "Traces may be left in the files: others would not let go of them, or the disk is full."
)


@click.group()
def athletes() -> None:
    """Athletes: add and list them, hand out or erase all that is stored of one.

    \b
    Example:
      dawnrule athletes add a-03 --name Mara --time-zone Europe/Berlin --db squad.db
    """


@athletes.command()
@click.argument("athlete_id", metavar="ID")
@click.option("--name", required=True, help="What people call them; only people see it.")
@click.option(
    "--time-zone",
    required=True,
    metavar="ZONE",
    help="Where they live, like Europe/Berlin; it decides which date today is.",
)
@click.option("--born", "date_of_birth", metavar="DATE", help="Date of birth, like 2001-05-17.")
@click.option(
    "--status", "training_status", help="How trained they are: novice, trained, advanced."
)
@click.option("--language", help="The language that advice is told to them in, like de.")
@db_option
def add(athlete_id: str, db: Path, **known: str | None) -> None:
    """Add an athlete, or change what is known of one. What is not said stays as it is.

    Let the ID be no name: it stays in the ledger even when the athlete is erased.

    \b
    Example:
      dawnrule athletes add a-03 --name Mara --time-zone Europe/Berlin --db squad.db
    """
    said = {name: value for name, value in known.items() if value is not None}

    def put(transaction: Transaction) -> str:
        before = transaction.athletes.get(athlete_id)
        stays = ATHLETE.dump(before) if before else {}
        athlete = load_athlete(stays | {"athlete_id": athlete_id} | said)
        put_athlete(transaction, athlete, by=COMMAND_LINE, at=now())
        if before is None:
            return "was added"
        return "was there already, and nothing changed" if before == athlete else "was changed"

    # before a database is made for a typing error
    faults = list(implausible_athlete(load_athlete({"athlete_id": athlete_id} | said), now()))
    if faults:
        raise invalid_input(faults)
    with Store.open(db) as store:
        done = store.write(put)
    click.echo(f"{athlete_id} {done}.", err=True)


@athletes.command("list")
@db_option
def list_(db: Path) -> None:
    """List everybody, in the order of their ids.

    \b
    Example:
      dawnrule athletes list --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        squad = store.read(lambda transaction: transaction.athletes.all())
    plain = ATHLETE.dump(squad, many=True)
    rows = [[one.get(name, "") for name in _COLUMNS] for one in plain]
    click.echo(tabulate(rows, headers=list(_COLUMNS.values()), disable_numparse=True))


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
        packed = export_athlete(store, athlete_id, Texts.bundled(), by=COMMAND_LINE, at=now())
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

    The ledger keeps digests of their advice, from which nothing can be read, and the acts about
    them, such as this one, with the id. Copies that were made before, such as backups, are not
    touched.

    \b
    Example:
      dawnrule athletes erase a-03 --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        store.read(lambda transaction: require_athlete(transaction, athlete_id))
        if not yes:
            click.confirm(f"Erase {athlete_id} for good?", abort=True, err=True)
        erased = erase_athlete(store, athlete_id, by=COMMAND_LINE, at=now())
    for table, rows in erased.removed.items():
        click.echo(f"{table}: {rows}")
    if not erased.is_wiped:
        tell_of_traces(db)


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


def tell_of_traces(db: Path) -> None:
    """Say that what was removed may not be gone yet, and what to do."""
    click.echo(f"{_NOT_WIPED} Later: dawnrule athletes wipe --db {db}", err=True)
