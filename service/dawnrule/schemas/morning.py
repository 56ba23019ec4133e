"""A squad's morning in JSON."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from marshmallow import fields

from dawnrule.model import Verdict
from dawnrule.schemas.base import Object, StrictSchema, Timestamp
from dawnrule.schemas.fields import AthleteId, AwareTime, CalendarDate, Word
from dawnrule.schemas.query import Language


@dataclass(frozen=True, slots=True)
class MorningQuery:
    """Whose morning, on which date, and since when something is new; a None was left out."""

    date: date | None = None
    group: str | None = None
    since: datetime | None = None
    format: str | None = None
    lang: str | None = None


class MorningQuerySchema(StrictSchema):
    """Whose morning, and since when something is new."""

    entity = MorningQuery

    date = CalendarDate(metadata={"description": "Left out: each athlete's own today."})
    group = AthleteId(metadata={"description": "The id of a group; left out: everybody."})
    since = AwareTime(metadata={"description": "What was advised after it is new."})
    format = Word(lambda: ("json", "txt"), metadata={"description": "Instead of Accept."})
    lang = Language()


class AthleteMorningSchema(StrictSchema):
    """One athlete's morning in a line."""

    athlete_id = AthleteId(required=True)
    name = fields.String(required=True)
    date = CalendarDate(
        attribute="on", required=True, metadata={"description": "Where the athlete lives."}
    )
    place = Word(
        lambda: (
            "warning-sign",
            "rest",
            "swap-to-low-damage",
            "not-checked-in",
            "train-as-planned",
        ),
        required=True,
        metadata={
            "description": "An open warning sign comes first, whatever else is known; then the "
            "verdict, or that there is no check-in."
        },
    )
    verdict = fields.Enum(Verdict, by_value=True, required=True, allow_none=True)
    headline = fields.String(required=True)
    also = fields.String(
        required=True,
        metadata={
            "description": "What may be done instead, within which limits, or what to mind; may be "
            "empty."
        },
    )
    advice_id = fields.String(required=True, allow_none=True)
    given_at = Timestamp(required=True, allow_none=True, metadata={"format": "date-time"})
    last_check_in = CalendarDate(
        required=True, allow_none=True, metadata={"description": "The last one before this date."}
    )
    is_new = fields.Boolean(
        required=True, metadata={"description": "Advised after `since`; false without one."}
    )
    verdict_before = fields.Enum(
        Verdict,
        by_value=True,
        required=True,
        allow_none=True,
        metadata={"description": "What held at `since`."},
    )
    concern_ids = fields.List(
        fields.String(), required=True, metadata={"description": "What is open about the athlete."}
    )
    group_ids = fields.List(fields.String(), required=True)


class MorningSchema(StrictSchema):
    """A squad's morning, the most urgent first."""

    athletes = fields.List(Object(AthleteMorningSchema), required=True)
    read_out = fields.String(
        required=True,
        metadata={
            "description": "What each one does, to be printed or read out; it never says why."
        },
    )
