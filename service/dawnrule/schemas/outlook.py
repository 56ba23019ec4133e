"""When does what open again, and how is it asked for?"""

from __future__ import annotations

from marshmallow import fields

from dawnrule.schemas.query import Language
from dawnrule.schemas.strict import Object, StrictSchema
from dawnrule.schemas.values import AthleteId, Count, Word

MOST_DAYS = 14
USUAL_DAYS = 7
USUAL_GOAL = "hypertrophy"

_TIME = {"format": "date-time", "description": "In the athlete's time zone; null when it does not."}


class OutlookQuerySchema(StrictSchema):
    """How far ahead, and what the balanced session is for."""

    days = Count(1, MOST_DAYS, load_default=USUAL_DAYS)
    goal = Word.out_of("goals", load_default=USUAL_GOAL)
    lang = Language()


class NeedSchema(StrictSchema):
    """What a fact would have to be."""

    fact = fields.String(required=True)
    to = fields.String(required=True)


class ProspectSchema(StrictSchema):
    """When a muscle group opens for a goal."""

    muscle_group = Word.out_of("muscle_groups", required=True)
    goal = Word.out_of("goals", required=True)
    open_now = fields.Boolean(required=True)
    opens_at = fields.String(required=True, allow_none=True, metadata=_TIME)
    needs = fields.List(
        Object(NeedSchema),
        required=True,
        metadata={"description": "What it needs where time alone does not open it."},
    )
    needs_from = fields.String(
        required=True,
        allow_none=True,
        metadata={
            "format": "date-time",
            "description": "From when on that is enough; null when it is enough now.",
        },
    )
    stopped = fields.Boolean(
        required=True,
        metadata={"description": "Neither time nor anything that could be named opens it."},
    )


class MovementSchema(StrictSchema):
    """One movement of the balanced session, by the pattern that opens first."""

    movement = fields.String(required=True)
    goal = Word.out_of("goals", required=True)
    pattern = Word.out_of("patterns", required=True, allow_none=True)
    muscle_groups = fields.List(Word.out_of("muscle_groups"), required=True)
    opens_at = fields.String(required=True, allow_none=True, metadata=_TIME)


class OutlookSchema(StrictSchema):
    """What opens when over the days ahead, if nothing is trained until then."""

    athlete_id = AthleteId(required=True)
    start = fields.String(data_key="from", required=True)
    days = fields.Integer(required=True)
    prospects = fields.List(Object(ProspectSchema), required=True)
    balanced_session = fields.List(Object(MovementSchema), required=True)
    note = fields.String(
        required=True,
        allow_none=True,
        metadata={
            "description": "What is not known, in words, where there is no check-in of today; "
            "null where there is one."
        },
    )
    assumes = fields.String(
        required=True, metadata={"description": "What the outlook takes for granted, in words."}
    )
