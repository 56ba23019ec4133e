"""``dawnrule keys``: keys to the service, by role."""

from __future__ import annotations

from pathlib import Path
from secrets import token_hex

import click
from tabulate import tabulate

from dawnrule.application.athletes import require_athlete
from dawnrule.cli.options import db_option
from dawnrule.clock import now
from dawnrule.errors import NotFound
from dawnrule.schemas.errors import load_value
from dawnrule.schemas.private_address import LABEL
from dawnrule.store import Key, Role, Store, Transaction, hash_key, new_key
from dawnrule.store.activity_log import COMMAND_LINE, record_act

_ID_BYTES = 4


@click.group()
def keys() -> None:
    """Create, list and revoke keys.

    \b
    Example:
      dawnrule keys create --role coach --db squad.db
    """


@keys.command()
@click.option(
    "--role",
    required=True,
    type=click.Choice([role.value for role in Role]),
    help="coach: everything. clinician: sees and clears concerns. poster: posts check-ins, "
    "sessions; reads advice. athlete: own data.",
)
@click.option(
    "--athlete",
    "athlete_id",
    metavar="ID",
    help="Whose key it is; with --role athlete.",
)
@click.option("--label", help="A note that identifies the key, such as its device.")
@db_option
def create(role: str, athlete_id: str | None, label: str | None, db: Path) -> None:
    """Create a key and print it, and nothing else.

    It is shown only this once: only its hash is stored.

    \b
    Example:
      dawnrule keys create --role athlete --athlete a-03 --db squad.db
    """
    if (role == Role.ATHLETE) != (athlete_id is not None):
        raise click.UsageError("--role athlete needs --athlete ID, which no other role accepts.")
    if label is not None:
        label = load_value(LABEL, label, "label")
    key, key_id = new_key(), token_hex(_ID_BYTES)

    def add(transaction: Transaction) -> None:
        if athlete_id is not None:
            require_athlete(transaction, athlete_id)
        at = now()
        transaction.keys.add(Key(key_id, Role(role), athlete_id, label, at), hash_key(key))
        about = {"key": key_id, "role": role} | ({"athlete_id": athlete_id} if athlete_id else {})
        record_act(transaction, "key-made", by=COMMAND_LINE, at=at, about=about)

    with Store.open(db) as store:
        store.write(add)
    click.echo(key)
    click.echo(f"Not shown again. To revoke it: dawnrule keys revoke {key_id} --db {db}", err=True)


@keys.command("list")
@db_option
def list_(db: Path) -> None:
    """List all keys by id, including revoked ones.

    \b
    Example:
      dawnrule keys list --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        rows = [_row(key) for key in store.read(lambda transaction: transaction.keys.all())]
    headers = ("Id", "Role", "Athlete", "Label", "Made", "Revoked")
    click.echo(tabulate(rows, headers=headers, disable_numparse=True))


@keys.command()
@click.argument("key_id", metavar="ID")
@db_option
def revoke(key_id: str, db: Path) -> None:
    """Revoke the key with an ID, immediately and for good.

    \b
    Example:
      dawnrule keys revoke 1f0a6c2e --db squad.db
    """

    def revoke_key(transaction: Transaction) -> None:
        at = now()
        if not transaction.keys.revoke(key_id, at):
            raise NotFound(f"There is no active key {key_id}.")
        record_act(transaction, "key-revoked", by=COMMAND_LINE, at=at, about={"key": key_id})

    with Store.open(db, must_exist=True) as store:
        store.write(revoke_key)
    click.echo(f"The key {key_id} is revoked.", err=True)


def _row(key: Key) -> tuple[str, ...]:
    revoked = key.revoked_at.isoformat(timespec="seconds") if key.revoked_at else ""
    made = key.created_at.isoformat(timespec="seconds")
    return key.id, key.role, key.athlete_id or "", key.label or "", made, revoked
