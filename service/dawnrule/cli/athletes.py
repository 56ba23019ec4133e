"""``dawnrule athletes``: the squad, and everything stored about one person."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from shlex import quote
from typing import Any

import click
from tabulate import tabulate

from dawnrule.analytics.tombstones import folders_exported_to
from dawnrule.application.athletes import erase as erase_athlete
from dawnrule.application.athletes import export_athlete, put_athlete, require_erasable
from dawnrule.cli.calendar_options import (
    competitions_typed,
    joined,
    next_competition,
    phase_on,
    phases_typed,
    with_moments,
)
from dawnrule.cli.missing import NamesAllMissing
from dawnrule.cli.options import db_option
from dawnrule.clock import now
from dawnrule.facts.plausibility import implausible_athlete
from dawnrule.i18n.catalog import Texts
from dawnrule.model.entities import Athlete
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
    "body_mass_kg": "Mass",
}
_VALUES = tuple(name for name in _COLUMNS if name != "athlete_id")
_CALENDAR = {"Phase": phase_on, "Next competition": next_competition}
_NOT_WIPED = "Traces may remain in the files: they are in use elsewhere, or the disk is full."


@click.group()
def athletes() -> None:
    """Add and list athletes; export or erase everything stored about one.

    \b
    Example:
      dawnrule athletes add a-03 --name Mara --time-zone Europe/Berlin --db squad.db
    """


@athletes.command(cls=NamesAllMissing)
@click.argument("athlete_id", metavar="ID")
@click.option("--name", required=True, help="The name that people see.")
@click.option(
    "--time-zone",
    required=True,
    metavar="ZONE",
    help="The time zone where they live, like Europe/Berlin; it decides which date today is.",
)
@click.option("--born", "date_of_birth", metavar="DATE", help="Date of birth, like 2001-05-17.")
@click.option(
    "--status", "training_status", help="The training status: novice, trained or advanced."
)
@click.option("--language", help="The language of their advice, like de.")
@click.option("--body-mass", "body_mass_kg", type=float, metavar="KG", help="The body mass in kg.")
@click.option(
    "--competition",
    "competitions",
    callback=competitions_typed,
    multiple=True,
    metavar="'DATE [TIME] RANK [NAME]'",
    help="A competition to add, with its rank: main, minor or training. Can be repeated.",
)
@click.option("--no-competitions", is_flag=True, help="Forget the competitions known so far.")
@click.option(
    "--phase",
    "phases",
    callback=phases_typed,
    multiple=True,
    metavar="'DATE DATE PHASE'",
    help="A phase of the plan to add, with its first and last day: build, deload, taper, "
    "competition or off-season. Can be repeated.",
)
@click.option("--no-phases", is_flag=True, help="Forget the phases known so far.")
@db_option
def add(athlete_id: str, db: Path, **options: Any) -> None:
    """Add an athlete, or change one. Options that are left out keep their values.

    A competition replaces those of the same date. Times are those of the athlete's clock.

    Do not use a name as the ID: it stays in the logbook even after the athlete is erased.

    \b
    Example:
      dawnrule athletes add a-03 --name Mara --time-zone Europe/Berlin --db squad.db \\
        --competition '2026-04-18 14:00 main Spring meet' --phase '2026-03-01 2026-04-12 build'
    """

    def put(transaction: Transaction) -> str:
        before = transaction.athletes.get(athlete_id)
        athlete = _with_options(athlete_id, before, options)
        put_athlete(transaction, athlete, by=COMMAND_LINE, at=now())
        if before is None:
            return "was added"
        return "was already there; nothing changed" if before == athlete else "was changed"

    # so that no database is created for a typing error
    faults = list(implausible_athlete(_with_options(athlete_id, None, options), now()))
    if faults:
        raise invalid_input(faults)
    with Store.open(db) as store:
        done = store.write(put)
    click.echo(f"{athlete_id} {done}.", err=True)


def _with_options(athlete_id: str, before: Athlete | None, options: Mapping[str, Any]) -> Athlete:
    """Return the athlete as the options say, and otherwise as they were ``before``. Raises
    ``InvalidInput``."""
    plain = ATHLETE.dump(before) if before else {}
    plain |= {name: options[name] for name in _VALUES if options[name] is not None}
    for name in ("competitions", "phases"):
        if options[f"no_{name}"]:
            plain.pop(name, None)
    if options["competitions"]:
        added = with_moments(options["competitions"], options["time_zone"])
        plain["competitions"] = joined(plain.get("competitions", ()), added)
    if options["phases"]:
        plain["phases"] = [*plain.get("phases", ()), *options["phases"]]
    return load_athlete(plain | {"athlete_id": athlete_id})


@athletes.command("list")
@db_option
def list_(db: Path) -> None:
    """List all athletes, sorted by id, with the phase that they are in and what comes next.

    \b
    Example:
      dawnrule athletes list --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        squad = store.read(lambda transaction: transaction.athletes.all())
    headers = [*_COLUMNS.values(), *_CALENDAR]
    click.echo(tabulate(map(_row, squad), headers=headers, disable_numparse=True))


def _row(athlete: Athlete) -> list[str]:
    plain, today = ATHLETE.dump(athlete), athlete.today_or_utc(now())
    known = [str(plain.get(name, "")) for name in _COLUMNS]
    return [*known, *(write(athlete, today) for write in _CALENDAR.values())]


@athletes.command()
@click.argument("athlete_id", metavar="ID")
@click.option(
    "--output",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.zip",
    help="The file to create; only you will be able to read it.",
)
@db_option
def export(athlete_id: str, output: Path, db: Path) -> None:
    """Write everything stored about an athlete to a zip file, as JSON and CSV with a README.

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
    click.echo(f"{output} contains everything stored about {athlete_id}.", err=True)


@athletes.command()
@click.argument("athlete_id", metavar="ID")
@click.option("--yes", is_flag=True, help="Do not ask for confirmation.")
@db_option
def erase(athlete_id: str, yes: bool, db: Path) -> None:
    """Erase an athlete and everything stored about them, for good.

    The logbook keeps fingerprints of their advice, from which nothing can be read, and the acts
    about them, including this one, with the id. Existing copies, such as backups, are not changed.
    An erasure that was cut off is finished when it is asked for again.

    \b
    Example:
      dawnrule athletes erase a-03 --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        store.read(lambda transaction: require_erasable(transaction, athlete_id))
        if not yes:
            click.confirm(f"Erase {athlete_id} for good?", abort=True, err=True)
        erased = erase_athlete(store, athlete_id, by=COMMAND_LINE, at=now())
        exported_to = folders_exported_to(store)
    click.echo(f"{athlete_id} was erased. Rows deleted, by table:", err=True)
    for table, rows in erased.removed.items():
        click.echo(f"{table}: {rows}")
    for folder in exported_to:
        _tell_to_export_again(athlete_id, folder, db)
    if not erased.is_wiped:
        warn_of_traces(db)


def _tell_to_export_again(athlete_id: str, folder: Path, db: Path) -> None:
    """Say how the mornings of somebody who was erased go from an archive and its copies."""
    to = f"--to {quote(str(folder))} --db {quote(str(db))}"
    click.echo(
        f"Past mornings were exported to {folder}. Export again to remove {athlete_id}'s mornings "
        f"there as well: dawnrule archive export {to}\n"
        "For a copy elsewhere, bring its list of who was erased up to date: "
        f"dawnrule archive erased --to COPY --db {quote(str(db))}",
        err=True,
    )


@athletes.command()
@db_option
@click.pass_context
def wipe(ctx: click.Context, db: Path) -> None:
    """Rewrite the database so that no byte of erased data remains in its files.

    Erasing does this by itself; use this command when it reports that it could not.

    \b
    Example:
      dawnrule athletes wipe --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        if not store.wipe():
            click.echo(_NOT_WIPED, err=True)
            ctx.exit(1)
    click.echo("Nothing that was erased remains in the files.", err=True)


def warn_of_traces(db: Path) -> None:
    """Warn that deleted data may still be in the files, and say what to do."""
    click.echo(f"{_NOT_WIPED} Try later: dawnrule athletes wipe --db {db}", err=True)
