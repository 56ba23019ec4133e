"""Private addresses: create, rotate and revoke.

Each function is to be run inside one transaction, which also holds its act. The token is returned
once, to the caller, and stored nowhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from secrets import token_hex

from dawnrule.application.athletes import require_athlete
from dawnrule.errors import NotFound
from dawnrule.store import PrivateAddress, Purpose, Transaction, hash_token, new_token
from dawnrule.store.activity_log import record_act

_ID_BYTES = 4


@dataclass(frozen=True, slots=True)
class NewAddress:
    """A private address together with its token."""

    address: PrivateAddress
    token: str


def create_address(
    transaction: Transaction,
    athlete_id: str,
    purpose: Purpose,
    label: str | None,
    *,
    by: str,
    at: datetime,
) -> NewAddress:
    """Create an address for an athlete, requested by ``by``. Raises ``NotFound``."""
    require_athlete(transaction, athlete_id)
    given = _added(transaction, athlete_id, purpose, label, by, at)
    record_act(transaction, "address-made", by=by, at=at, about=_about(given.address))
    return given


def revoke_address(transaction: Transaction, address_id: str, *, by: str, at: datetime) -> None:
    """Revoke an address for good. Raises ``NotFound`` for an unknown or revoked one."""
    ended = _ended(transaction, address_id, at)
    record_act(transaction, "address-revoked", by=by, at=at, about=_about(ended))


def end_addresses(
    transaction: Transaction, athlete_id: str, purpose: Purpose, *, by: str, at: datetime
) -> int:
    """Revoke all of an athlete's addresses for a purpose; return how many worked until now."""
    known = transaction.private_addresses.of_athlete(athlete_id)
    working = [one for one in known if one.purpose is purpose and one.revoked_at is None]
    for address in working:
        revoke_address(transaction, address.id, by=by, at=at)
    return len(working)


def rotate_address(
    transaction: Transaction, address_id: str, *, by: str, at: datetime
) -> NewAddress:
    """Revoke an address and create one for the same athlete, purpose and label. Raises
    ``NotFound`` for an unknown or revoked one."""
    before = _ended(transaction, address_id, at)
    given = _added(transaction, before.athlete_id, before.purpose, before.label, by, at)
    about = _about(given.address) | {"replaces": before.id}
    record_act(transaction, "address-rotated", by=by, at=at, about=about)
    return given


def _added(
    transaction: Transaction,
    athlete_id: str,
    purpose: Purpose,
    label: str | None,
    by: str,
    at: datetime,
) -> NewAddress:
    token = new_token()
    address = PrivateAddress(token_hex(_ID_BYTES), purpose, athlete_id, label, at, by)
    transaction.private_addresses.add(address, hash_token(token))
    return NewAddress(address, token)


def _ended(transaction: Transaction, address_id: str, at: datetime) -> PrivateAddress:
    address = transaction.private_addresses.get(address_id)
    if address is None or not transaction.private_addresses.revoke(address_id, at):
        raise NotFound(f"There is no address {address_id!r} that could be ended.")
    return address


def _about(address: PrivateAddress) -> dict[str, str]:
    return {
        "address": address.id,
        "athlete_id": address.athlete_id,
        "purpose": address.purpose.value,
    }
