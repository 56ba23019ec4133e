"""``dawnrule sheets``: introduce a coach's own sheet, once."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from pathlib import Path
from shlex import quote
from typing import BinaryIO

import click
from tabulate import tabulate

from dawnrule.application.athletes import next_athlete_id, put_athlete
from dawnrule.application.introductions import (
    LAYOUTS,
    chosen_meanings,
    forget,
    introduce,
    meanings_said,
)
from dawnrule.cli.options import accept_option, db_option, means_option
from dawnrule.clock import now
from dawnrule.model.entities import Athlete
from dawnrule.model.time_zones import time_zone_names
from dawnrule.schemas.introduction import KINDS
from dawnrule.sheet import ColumnMeaning, People, ReadOptions, all_meanings, read_columns
from dawnrule.sheet.words import plain_word
from dawnrule.store import Store, Transaction
from dawnrule.store.activity_log import COMMAND_LINE


@click.group()
def sheets() -> None:
    """Introduce sheets of your own making, once; list and forget them.

    \b
    Example:
      dawnrule sheets introduce squad.csv --db squad.db
    """


@sheets.command("introduce")
@click.argument("file", type=click.File("rb"))
@click.option(
    "--kind", type=click.Choice(KINDS), default=KINDS[0], show_default=True, help="What a row is."
)
@click.option("--sheet", metavar="NAME", help="The sheet of a workbook, instead of its first.")
@click.option(
    "--time-zone", metavar="ZONE", help="Where athletes live who are named there and are new."
)
@accept_option
@means_option
@db_option
def introduce_(
    file: BinaryIO,
    kind: str,
    sheet: str | None,
    time_zone: str | None,
    accept: bool,
    means: tuple[tuple[str, str], ...],
    db: Path,
) -> None:
    """Show each column of FILE with what it is taken to mean and three of its values, and ask.

    Sheets with the same headers are read so from then on, whoever posts them. Nothing of what the
    sheet says of anybody is stored.

    \b
    Example:
      dawnrule sheets introduce squad.csv --means 'Seat=ignore' --db squad.db
    """
    if time_zone is not None and time_zone not in time_zone_names():
        raise click.BadParameter(f"{time_zone!r} is not a time zone like Europe/Berlin.")
    data = file.read()
    with Store.open(db, must_exist=True) as store:

        def options(transaction: Transaction) -> ReadOptions:
            squad = transaction.athletes.all()
            people = People.of((one.id, one.name) for one in squad)
            chosen = chosen_meanings(transaction)
            return ReadOptions(table=sheet, people=people, chosen=chosen, accept=accept)

        found = read_columns(data, LAYOUTS[kind], store.read(options))
        _show(found.columns, dict(means))
        said = dict(means) if accept else _ask(kind, found.columns, dict(means))
        meanings = meanings_said(found.columns, said)
        known, is_new = store.write(
            lambda transaction: introduce(transaction, kind, meanings, by=COMMAND_LINE, at=now())
        )
        _offer_to_add(store, found.unknown_athletes, time_zone, asks=not accept)
    click.echo(f"{known.id} {'was introduced' if is_new else 'was known'}.", err=True)


@sheets.command("list")
@db_option
def list_(db: Path) -> None:
    """List the sheets that were introduced, with their columns.

    \b
    Example:
      dawnrule sheets list --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        known = store.read(lambda transaction: transaction.introduced_sheets.all())
    rows = [
        (one.id, one.layout, ", ".join(f"{word}: {one.meanings[word]}" for word in one.meanings))
        for one in known
    ]
    click.echo(tabulate(rows, headers=("Id", "Kind", "Columns"), disable_numparse=True))


@sheets.command("forget")
@click.argument("sheet_id", metavar="ID")
@db_option
def forget_(sheet_id: str, db: Path) -> None:
    """Forget what was said of the sheet with an ID. What was read from it stays.

    \b
    Example:
      dawnrule sheets forget 0123456789abcdef --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        store.write(lambda transaction: forget(transaction, sheet_id, by=COMMAND_LINE, at=now()))
    click.echo(f"{sheet_id} was forgotten.", err=True)


def _show(columns: tuple[ColumnMeaning, ...], said: Mapping[str, str]) -> None:
    rows = [
        (one.header, said.get(plain_word(one.header)) or _taken_as(one), ", ".join(one.samples))
        for one in columns
        if one.header
    ]
    headers = ("Column", "Taken to mean", "Values")
    click.echo(tabulate(rows, headers=headers, disable_numparse=True), err=True)


def _taken_as(one: ColumnMeaning) -> str:
    if one.how == "asked":
        return f"{one.proposals[0]}?" if one.proposals else "?"
    return one.meaning or "ignore"


def _ask(kind: str, columns: tuple[ColumnMeaning, ...], said: Mapping[str, str]) -> dict[str, str]:
    """Ask what each column is that is not understood, and whether the others are right."""
    answers = dict(said)
    known = all_meanings(LAYOUTS[kind])
    for one in columns:
        word = plain_word(one.header)
        if one.how == "asked" and word not in answers:
            likeliest = one.proposals[0] if one.proposals else None
            question = f"What does {one.header} mean ({', '.join(one.samples)})?"
            answers[word] = click.prompt(
                question, default=likeliest, type=click.Choice(known), show_choices=False, err=True
            )
    click.confirm("Is everything else right?", default=True, abort=True, err=True)
    return answers


def _offer_to_add(
    store: Store, names: tuple[str, ...], time_zone: str | None, *, asks: bool
) -> None:
    """Offer to add whom the sheet names and nobody knows; nobody is added without a yes."""
    for name in names:
        if asks and time_zone and click.confirm(f"{name} is new. Add them?", err=True):
            store.write(partial(_add, name=name, time_zone=time_zone))
        else:
            words = f"--name {quote(name)} --time-zone ZONE --db {quote(str(store.file))}"
            click.echo(
                f"{name} is not known. To add them: dawnrule athletes add ID {words}", err=True
            )


def _add(transaction: Transaction, *, name: str, time_zone: str) -> None:
    athlete = Athlete(next_athlete_id(transaction), name, time_zone)
    put_athlete(transaction, athlete, by=COMMAND_LINE, at=now())
