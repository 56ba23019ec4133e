"""Private addresses of athletes: create, list, rotate and revoke."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from flask import Response

from dawnrule.application.athletes import require_athlete
from dawnrule.application.private_addresses import (
    NewAddress,
    create_address,
    revoke_address,
    rotate_address,
)
from dawnrule.schemas.private_address import AddressesSchema, GivenAddressSchema, NewAddressSchema
from dawnrule.store import PrivateAddress, Purpose, Transaction
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.requests import ATHLETE_ID, Blueprint
from dawnrule.web.private.addresses import paths_of

addresses = Blueprint(
    "addresses",
    __name__,
    url_prefix="/v1",
    description="Private addresses, for phones, calendars and spreadsheets that send no key.",
)


@dataclass(frozen=True, slots=True)
class GivenAddress:
    """A new private address with its paths, and its URLs where the service knows its own. The host
    that a request names is whatever its sender claims, and would send the token there."""

    address: PrivateAddress
    paths: list[str]
    urls: list[str]


@addresses.route("/athletes/<athlete_id>/addresses", methods=["POST"], parameters=[ATHLETE_ID])
@addresses.arguments(NewAddressSchema(), as_kwargs=True)
@addresses.response(201, GivenAddressSchema)
@addresses.alt_response(404, "NOT_FOUND")
def give_private_address(athlete_id: str, purpose: str, label: str | None = None) -> GivenAddress:
    """Make a private address for an athlete. It is shown this once.

    Who has it needs no key, so it is as good as a password for the one thing that it does.
    """
    by, at = caller().id, _now()
    given = context().store.write(
        lambda transaction: create_address(
            transaction, athlete_id, Purpose(purpose), label, by=by, at=at
        )
    )
    return _given(given)


@addresses.route("/athletes/<athlete_id>/addresses", parameters=[ATHLETE_ID])
@addresses.response(200, AddressesSchema)
@addresses.alt_response(404, "NOT_FOUND")
def list_private_addresses(athlete_id: str) -> dict[str, list[PrivateAddress]]:
    """The private addresses of an athlete, revoked ones too, and when each was last used."""

    def find(transaction: Transaction) -> list[PrivateAddress]:
        require_athlete(transaction, athlete_id)
        return transaction.private_addresses.of_athlete(athlete_id)

    return {"addresses": context().store.read(find)}


@addresses.route("/addresses/<address_id>", methods=["DELETE"])
@addresses.response(204)
@addresses.alt_response(404, "NOT_FOUND")
def revoke_private_address(address_id: str) -> Response:
    """End a private address, at once and for good."""
    by, at = caller().id, _now()
    context().store.write(lambda transaction: revoke_address(transaction, address_id, by=by, at=at))
    return Response(status=204)


@addresses.route("/addresses/<address_id>/rotate", methods=["POST"])
@addresses.response(201, GivenAddressSchema)
@addresses.alt_response(404, "NOT_FOUND")
def rotate_private_address(address_id: str) -> GivenAddress:
    """End a private address and give a new one for the same athlete and purpose."""
    by, at = caller().id, _now()
    given = context().store.write(
        lambda transaction: rotate_address(transaction, address_id, by=by, at=at)
    )
    return _given(given)


def _now() -> datetime:
    return context().clock().astimezone(UTC)


def _given(given: NewAddress) -> GivenAddress:
    paths = paths_of(given.address.purpose, given.token)
    base = context().settings.public_url or ""
    return GivenAddress(given.address, paths, [base + path for path in paths])
