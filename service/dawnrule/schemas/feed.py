"""What does a private address tell of today?"""

from __future__ import annotations

from marshmallow import fields

from dawnrule.schemas.advice import RuleNameSchema
from dawnrule.schemas.strict import Object, StrictSchema
from dawnrule.schemas.values import CalendarDate, Word
from dawnrule.vocabulary import Verdict


class TodayFeedSchema(StrictSchema):
    """Today's advice, without the parts of the plan and without what was reported.

    Without a check-in there is none: the verdict is null, and the headline says so.
    """

    date = CalendarDate(required=True, metadata={"description": "Where the athlete lives."})
    verdict = fields.Enum(Verdict, by_value=True, required=True, allow_none=True)
    headline = fields.String(required=True)
    rule = Object(RuleNameSchema, required=True, allow_none=True)
    reason = fields.String(required=True)
    caution = fields.String(required=True)
    as_of = fields.String(
        required=True,
        allow_none=True,
        metadata={"format": "date-time", "description": "When this advice was given."},
    )
    check_in = Word(lambda: ("present", "missing"), required=True)
