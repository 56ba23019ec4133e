"""Who gets a private address, and how does it end or make way for a new one?

Run each inside one transaction, which also holds the act of doing so. The token is given once, to
whoever asked, and kept nowhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from secrets import token_hex

from dawnrule.advice.acts import note_act
from dawnrule.advice.morning import known_athlete
from dawnrule.errors import NotFound
from dawnrule.store import Books, PrivateAddress, Purpose, hash_token, new_token

_ID_BYTES = 4


@dataclass(frozen=True, slots=True)
class GivenAddress:
    """A private address together with its token."""

    address: PrivateAddress
    token: str


def give_address(
    books: Books, athlete_id: str, purpose: Purpose, label: str | None, *, by: str, at: datetime
) -> GivenAddress:
    """Make an address for an athlete. ``by`` is who asked for it. Raises ``NotFound``."""
    known_athlete(books, athlete_id)
    given = _added(books, athlete_id, purpose, label, by, at)
    note_act(books, "address-made", by=by, at=at, about=_about(given.address))
    return given


def revoke_address(books: Books, address_id: str, *, by: str, at: datetime) -> None:
    """End an address at once and for good. Raises ``NotFound`` when there is none that has not
    ended."""
    ended = _ended(books, address_id, at)
    note_act(books, "address-revoked", by=by, at=at, about=_about(ended))


def rotate_address(books: Books, address_id: str, *, by: str, at: datetime) -> GivenAddress:
    """End an address and make one for the same athlete, purpose and label. Raises ``NotFound``
    when there is none that has not ended."""
    before = _ended(books, address_id, at)
    given = _added(books, before.athlete_id, before.purpose, before.label, by, at)
    about = _about(given.address) | {"replaces": before.id}
    note_act(books, "address-rotated", by=by, at=at, about=about)
    return given


def _added(
    books: Books, athlete_id: str, purpose: Purpose, label: str | None, by: str, at: datetime
) -> GivenAddress:
    token = new_token()
    address = PrivateAddress(token_hex(_ID_BYTES), purpose, athlete_id, label, at, by)
    books.private_addresses.add(address, hash_token(token))
    return GivenAddress(address, token)


def _ended(books: Books, address_id: str, at: datetime) -> PrivateAddress:
    address = books.private_addresses.get(address_id)
    if address is None or not books.private_addresses.revoke(address_id, at):
        raise NotFound(f"There is no address {address_id!r} that could be ended.")
    return address


def _about(address: PrivateAddress) -> dict[str, str]:
    return {
        "address": address.id,
        "athlete_id": address.athlete_id,
        "purpose": address.purpose.value,
    }
