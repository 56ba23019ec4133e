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
from dawnrule.cli.options import SettingOption, db_option
from dawnrule.clock import now
from dawnrule.schemas.errors import load_value
from dawnrule.schemas.private_address import LABEL
from dawnrule.settings import Settings
from dawnrule.store import PrivateAddress, Purpose, Store
from dawnrule.store.activity_log import COMMAND_LINE
from dawnrule.web.private.addresses import paths_of

_url_option = click.option(
    "--url",
    cls=SettingOption,
    envvar="DAWNRULE_PUBLIC_URL",
    metavar="URL",
    help="The public address of the service, like https://dawn.example; printed addresses start "
    "with it. By default they start with the address that the service listens on.",
)
_address_argument = click.argument("address_id", metavar="ID")


_USE_PUBLIC_ADDRESS = (
    "replace that part by the public address of the service, or pass it with --url."
)


@click.group()
def addresses() -> None:
    """Create, list, replace and revoke private addresses of athletes.

    \b
    Example:
      dawnrule addresses create --athlete a-03 --purpose check-in --db squad.db
    """


@addresses.command()
@click.option("--athlete", "athlete_id", required=True, metavar="ID", help="The athlete.")
@click.option(
    "--purpose",
    required=True,
    type=click.Choice([purpose.value for purpose in Purpose]),
    help="read: today's advice and the calendar. check-in: the page for today's check-in.",
)
@click.option("--label", help="A note that identifies the address, such as its device.")
@_url_option
@db_option
def create(athlete_id: str, purpose: str, label: str | None, url: str | None, db: Path) -> None:
    """Create a private address and print it, one line for each page or feed that it opens.

    It is shown only this once: only its hash is stored. Whoever has it needs no key.

    \b
    Example:
      dawnrule addresses create --athlete a-03 --purpose read --db squad.db
    """
    base = url or _listening_at()
    if label is not None:
        label = load_value(LABEL, label, "label")
    with Store.open(db, must_exist=True) as store:
        created = store.write(
            lambda transaction: create_address(
                transaction, athlete_id, Purpose(purpose), label, by=COMMAND_LINE, at=now()
            )
        )
    _print(created, base, db, is_public=bool(url))


@addresses.command("list")
@click.option("--athlete", "athlete_id", metavar="ID", help="Only those of this athlete.")
@db_option
def list_(athlete_id: str | None, db: Path) -> None:
    """List all private addresses by id, including revoked ones.

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
    """Replace the address with an ID by a new one for the same athlete and purpose.

    \b
    Example:
      dawnrule addresses rotate 1f0a6c2e --db squad.db
    """
    base = url or _listening_at()
    with Store.open(db, must_exist=True) as store:
        created = store.write(
            lambda transaction: rotate_address(transaction, address_id, by=COMMAND_LINE, at=now())
        )
    _print(created, base, db, is_public=bool(url))


@addresses.command()
@_address_argument
@db_option
def revoke(address_id: str, db: Path) -> None:
    """Revoke the address with an ID, immediately and for good.

    \b
    Example:
      dawnrule addresses revoke 1f0a6c2e --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        store.write(
            lambda transaction: revoke_address(transaction, address_id, by=COMMAND_LINE, at=now())
        )
    click.echo(f"The address {address_id} is revoked.", err=True)


def _print(created: NewAddress, base: str, db: Path, *, is_public: bool) -> None:
    base = base.rstrip("/")
    for path in paths_of(created.address.purpose, created.token):
        click.echo(base + path)
    if not is_public:
        click.echo(
            f"{base} can be reached from this machine only, if at all: {_USE_PUBLIC_ADDRESS}",
            err=True,
        )
    revoke_command = f"dawnrule addresses revoke {created.address.id} --db {db}"
    click.echo(f"Not shown again. To revoke it: {revoke_command}", err=True)


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
