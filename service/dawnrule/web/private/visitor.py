"""The athlete behind a private address, and what a browser may cache."""

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
    """The address of a token and its athlete, to whom this request then speaks. Raises
    ``NotFound``, the same for a token that is unknown, revoked, malformed or for another purpose.
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
    """No search engine, and nothing between here and the reader, may keep an answer; the reader
    asks each time whether it still holds."""
    response.headers["X-Robots-Tag"] = "noindex"
    response.headers.setdefault("Cache-Control", "private, no-cache")
    return response


def _known(transaction: Transaction, hashed: str) -> tuple[PrivateAddress, Athlete] | None:
    address = transaction.private_addresses.by_hash(hashed)
    athlete = address and transaction.athletes.get(address.athlete_id)
    return (address, athlete) if address and athlete else None


def _note_use(address: PrivateAddress, athlete: Athlete) -> None:
    """Once a day. Nobody waits in vain for advice because this could not be written."""
    today = athlete.today(context().clock())
    if address.last_used_on != today:
        with suppress(StoreBusy, StoreUnusable):
            context().store.write(
                lambda transaction: transaction.private_addresses.note_use(address.id, today)
            )
