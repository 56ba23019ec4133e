"""Visitors of private addresses: the athlete of a token, and what browsers may cache."""

from __future__ import annotations

from contextlib import suppress

from flask import Response

from dawnrule.errors import NotFound, StoreBusy, StoreUnusable
from dawnrule.model.entities import Athlete
from dawnrule.store import PrivateAddress, Purpose, Transaction, hash_token
from dawnrule.web.context import context
from dawnrule.web.http.locale import prefer_language
from dawnrule.web.http.rate_limits import wrong_guess


def visitor(token: str, purpose: Purpose) -> tuple[PrivateAddress, Athlete]:
    """Find the address of a token and its athlete, and answer in the athlete's language.

    Raises ``NotFound``, the same for a token that is unknown, revoked, malformed or for another
    purpose.
    """
    hashed = hash_token(token)
    known = context().store.read(lambda transaction: _known(transaction, hashed))
    if known is None or known[0].purpose is not purpose:
        wrong_guess()
        raise NotFound("There is nothing at this address. It may have been replaced by a new one.")
    _note_use(*known)
    prefer_language(known[1].language)
    return known


def keep_private(response: Response) -> Response:
    """Keep search engines and shared caches away from an answer; the reader revalidates it each
    time."""
    response.headers["X-Robots-Tag"] = "noindex"
    response.headers.setdefault("Cache-Control", "private, no-cache")
    return response


def _known(transaction: Transaction, hashed: str) -> tuple[PrivateAddress, Athlete] | None:
    address = transaction.private_addresses.by_hash(hashed)
    athlete = address and transaction.athletes.get(address.athlete_id)
    return (address, athlete) if address and athlete else None


def _note_use(address: PrivateAddress, athlete: Athlete) -> None:
    """Note the use once a day; a failed write does not hold up the answer."""
    today = athlete.today(context().clock())
    if address.last_used_on != today:
        with suppress(StoreBusy, StoreUnusable):
            context().store.write(
                lambda transaction: transaction.private_addresses.note_use(address.id, today)
            )
