"""Schemas of private addresses."""

from __future__ import annotations

from marshmallow import fields

from dawnrule.schemas.base import Object, StrictSchema, Timestamp
from dawnrule.schemas.fields import AthleteId, Text, Word

PURPOSES = ("read", "check-in")

_LABEL_CHARACTERS = 60
_TIME = {"format": "date-time"}

LABEL = Text(at_most=_LABEL_CHARACTERS)
"""The note of an address or a key."""


class NewAddressSchema(StrictSchema):
    """What the address is to be for."""

    purpose = Word(
        lambda: PURPOSES,
        required=True,
        metadata={
            "description": "`read`: today's advice as text, JSON and a calendar. `check-in`: the "
            "page on which today's check-in is sent. Neither can do what the other does."
        },
    )
    label = Text(
        at_most=_LABEL_CHARACTERS,
        metadata={"description": "A note to know it by.", "examples": ["phone"]},
    )


class PrivateAddressSchema(StrictSchema):
    """A private address, without what makes it work."""

    address_id = fields.String(attribute="id", required=True)
    athlete_id = AthleteId(required=True)
    purpose = Word(lambda: PURPOSES, required=True)
    label = fields.String(required=True, allow_none=True)
    created_at = Timestamp(required=True, metadata=_TIME)
    created_by = fields.String(
        required=True, allow_none=True, metadata={"description": "The id of a key."}
    )
    revoked_at = Timestamp(required=True, allow_none=True, metadata=_TIME)
    last_used_on = Timestamp(
        required=True,
        allow_none=True,
        metadata={"format": "date", "description": "Where the athlete lives."},
    )


class GivenAddressSchema(PrivateAddressSchema):
    """A new private address. Its paths are shown this once: only their hash is stored."""

    flattened = ("address",)

    paths = fields.List(fields.String(), required=True)
    urls = fields.List(
        fields.String(),
        required=True,
        metadata={
            "description": "The same after the public URL of the service, or the paths alone where "
            "it has none (`DAWNRULE_PUBLIC_URL`)."
        },
    )


class AddressesSchema(StrictSchema):
    """The private addresses of an athlete, revoked ones too."""

    addresses = fields.List(Object(PrivateAddressSchema), required=True)
