"""What was done beside what was advised, in JSON."""

from __future__ import annotations

from marshmallow import fields

from dawnrule.model import Verdict
from dawnrule.schemas.base import Object, StrictSchema
from dawnrule.schemas.fields import AthleteId, CalendarDate, Count, Word

MOST_DAYS = 366


class DoneQuerySchema(StrictSchema):
    """How many days up to the athlete's today."""

    days = Count(1, MOST_DAYS, load_default=28)


class DoneDifferenceSchema(StrictSchema):
    """One way in which a day differs from its advice."""

    what = Word(
        lambda: ("not-advised", "added", "left-out", "minutes", "sets", "effort"),
        required=True,
        metadata={
            "description": "Done although it was not to be, not planned, left out, or the measure "
            "that differs: minutes and sets by more than a tenth, effort by more than a point."
        },
    )
    goal = Word.out_of("goals", required=True)
    is_more = fields.Boolean(required=True)
    advised = fields.Float(required=True, allow_none=True)
    done = fields.Float(required=True, allow_none=True)


class DayDoneSchema(StrictSchema):
    """One day with advice."""

    date = CalendarDate(required=True)
    advice_id = fields.String(required=True)
    verdict = fields.Enum(Verdict, by_value=True, required=True)
    outcome = Word(
        lambda: ("as-advised", "more", "less", "not-logged"),
        required=True,
        metadata={
            "description": "Not logged: something was to be trained and no session is in the log."
        },
    )
    differences = fields.List(Object(DoneDifferenceSchema), required=True)


class DoneSchema(StrictSchema):
    """An athlete's days with advice since the log begins, the newest first; today only once a
    session is logged."""

    athlete_id = AthleteId(required=True)
    days = fields.List(Object(DayDoneSchema), required=True)
