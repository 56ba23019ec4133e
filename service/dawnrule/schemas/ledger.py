"""Schemas of the logbook: head, proofs and acts."""

from __future__ import annotations

from marshmallow import fields

from dawnrule.schemas.base import Object, StrictSchema
from dawnrule.schemas.fields import CalendarDate, Count, Text

ENTRIES_AT_MOST = 10_000
ACTS_AT_MOST = 500
_ENTRIES, _ACTS = 1_000, 100
_POSITION_AT_MOST = 999_999_999
_ACT_CHARACTERS = 40

_DIGEST = {"pattern": "^[0-9a-f]{64}$"}


class HeadSchema(StrictSchema):
    """The newest entry: position 0, and a fingerprint of noughts, before the first."""

    position = fields.Integer(required=True)
    digest = fields.String(required=True, metadata=_DIGEST)


class FollowingSchema(StrictSchema):
    """What of an entry is hashed, besides the fingerprint of the one before it."""

    position = fields.Integer(required=True)
    kind = fields.String(required=True, metadata={"enum": ["advice", "act"]})
    at = fields.String(required=True, metadata={"format": "date-time"})
    record_digest = fields.String(required=True, metadata=_DIGEST)


class EntrySchema(FollowingSchema):
    """An entry. Its digest (fingerprint) is the SHA-256 of its other members in RFC 8785 JSON."""

    previous_digest = fields.String(required=True, metadata=_DIGEST)
    digest = fields.String(required=True, metadata=_DIGEST)


class ProofQuerySchema(StrictSchema):
    """Which of the entries behind an advice's own are asked for."""

    after = Count(
        0,
        _POSITION_AT_MOST,
        load_default=0,
        metadata={"description": "The next of the page before."},
    )
    to = Count(
        1,
        _POSITION_AT_MOST,
        load_default=_POSITION_AT_MOST,
        metadata={"description": "The position of the head that is known; the newest if left out."},
    )
    limit = Count(1, ENTRIES_AT_MOST, load_default=_ENTRIES)


class ProofSchema(StrictSchema):
    """What an outsider needs to check one advice against a head that they were given."""

    flattened = ("page",)

    record = fields.String(
        required=True, metadata={"description": "The record as it was entered, as JSON text."}
    )
    salt = fields.String(
        required=True,
        metadata={"description": "The SHA-256 of salt and record is the entry's record_digest."},
    )
    entry = Object(EntrySchema, required=True)
    following = fields.List(
        Object(FollowingSchema),
        required=True,
        metadata={"description": "The entries that come next, without gaps."},
    )
    next = fields.Integer(
        required=True,
        allow_none=True,
        metadata={"description": "The after of the next page; null at the end."},
    )
    head = Object(HeadSchema, required=True)


class ActsQuerySchema(StrictSchema):
    """Which acts, by UTC dates that are both included, and how many at once."""

    first = CalendarDate(data_key="from", load_default=None)
    last = CalendarDate(data_key="to", load_default=None)
    act = Text(at_most=_ACT_CHARACTERS, load_default=None)
    limit = Count(1, ACTS_AT_MOST, load_default=_ACTS)
    after = Count(
        1,
        _POSITION_AT_MOST,
        load_default=None,
        metadata={"description": "The next of the page before."},
    )


class ActSchema(StrictSchema):
    """Who did what, and when."""

    position = fields.Integer(required=True, metadata={"description": "Of its logbook entry."})
    act = fields.String(required=True, metadata={"examples": ["rule-set-activated"]})
    by = fields.String(
        required=True,
        metadata={"description": "The id of a key, or `command-line`, or `service`."},
    )
    at = fields.String(required=True, metadata={"format": "date-time"})
    about = fields.Dict(
        fields.String(),
        fields.String(),
        required=True,
        metadata={"description": "Of what it was, by ids: never what anybody reported."},
    )


class ActsSchema(StrictSchema):
    """Acts, the newest first."""

    acts = fields.List(Object(ActSchema), required=True)
    next = fields.Integer(
        required=True,
        allow_none=True,
        metadata={"description": "The after of the next page; null at the end."},
    )
