"""``dawnrule addresses``: private addresses for phones, calendars and spreadsheets."""

from __future__ import annotations

from pathlib import Path

import click
from tabulate import tabulate

from dawnrule.application.private_addresses import (
    NewAddress,
    create_address,
    revoke_address,
    rotate_address,
)
from dawnrule.cli.options import db_option
from dawnrule.clock import now
from dawnrule.settings import Settings
from dawnrule.store import PrivateAddress, Purpose, Store
from dawnrule.store.activity_log import COMMAND_LINE
from dawnrule.web.private.addresses import paths_of

_url_option = click.option(
    "--url",
    metavar="URL",
    help="Where the service is reached, like https://dawn.example; the addresses begin with it. "
    "Without it they begin with where it listens by its settings.",
)
_address_argument = click.argument("address_id", metavar="ID")


_ELSE = "for others, put what they reach the service at in its place, or say it with --url."


@click.group()
def addresses() -> None:
    """Private addresses of athletes: make them, list them, replace them, end them.

    \b
    Example:
      dawnrule addresses create --athlete a-03 --purpose check-in --db squad.db
    """


@addresses.command()
@click.option("--athlete", "athlete_id", required=True, metavar="ID", help="Whose it is.")
@click.option(
    "--purpose",
    required=True,
    type=click.Choice([purpose.value for purpose in Purpose]),
    help="read: today's advice and the calendar. check-in: the page for today's check-in.",
)
@click.option("--label", help="A note to know the address by, like the device it is for.")
@_url_option
@db_option
def create(athlete_id: str, purpose: str, label: str | None, url: str | None, db: Path) -> None:
    """Make a private address, and print it alone, a line for each thing that it gives.

    It is shown this once: only its hash is stored. Who has it needs no key.

    \b
    Example:
      dawnrule addresses create --athlete a-03 --purpose read --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        given = store.write(
            lambda transaction: create_address(
                transaction, athlete_id, Purpose(purpose), label, by=COMMAND_LINE, at=now()
            )
        )
    _show(given, url, db)


@addresses.command("list")
@click.option("--athlete", "athlete_id", metavar="ID", help="Of this athlete only.")
@db_option
def list_(athlete_id: str | None, db: Path) -> None:
    """List every private address by its id, revoked ones too.

    \b
    Example:
      dawnrule addresses list --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        known = store.read(lambda transaction: transaction.private_addresses.all())
    rows = [_row(one) for one in known if athlete_id in (None, one.athlete_id)]
    headers = ("Id", "Athlete", "Purpose", "Label", "Made", "Last used", "Revoked")
    click.echo(tabulate(rows, headers=headers, disable_numparse=True))


@addresses.command()
@_address_argument
@_url_option
@db_option
def rotate(address_id: str, url: str | None, db: Path) -> None:
    """Replace the address of an ID by a new one for the same athlete and purpose.

    \b
    Example:
      dawnrule addresses rotate 1f0a6c2e --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        given = store.write(
            lambda transaction: rotate_address(transaction, address_id, by=COMMAND_LINE, at=now())
        )
    _show(given, url, db)


@addresses.command()
@_address_argument
@db_option
def revoke(address_id: str, db: Path) -> None:
    """End the address of an ID, at once and for good.

    \b
    Example:
      dawnrule addresses revoke 1f0a6c2e --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        store.write(
            lambda transaction: revoke_address(transaction, address_id, by=COMMAND_LINE, at=now())
        )
    click.echo(f"The address {address_id} has ended.", err=True)


def _show(given: NewAddress, url: str | None, db: Path) -> None:
    begins = (url or _listening_at()).rstrip("/")
    for path in paths_of(given.address.purpose, given.token):
        click.echo(begins + path)
    if not url:
        click.echo(f"{begins} is reached from this machine only, or not at all: {_ELSE}", err=True)
    end = f"dawnrule addresses revoke {given.address.id} --db {db}"
    click.echo(f"Not shown again. To end it: {end}", err=True)


def _listening_at() -> str:
    settings = Settings.from_environment()
    return f"http://{settings.host}:{settings.port}"


def _row(address: PrivateAddress) -> tuple[str, ...]:
    revoked, used = address.revoked_at, address.last_used_on
    return (
        address.id,
        address.athlete_id,
        address.purpose,
        address.label or "",
        address.created_at.isoformat(timespec="seconds"),
        used.isoformat() if used else "",
        revoked.isoformat(timespec="seconds") if revoked else "",
    )
