"""Who drifts, in JSON."""

from __future__ import annotations

from marshmallow import fields

from dawnrule.schemas.base import Object, StrictSchema
from dawnrule.schemas.fields import AthleteId, CalendarDate, Word


class DriftQuerySchema(StrictSchema):
    """Whose drifts."""

    group = AthleteId(
        load_default=None, metadata={"description": "The id of a group; left out: everybody."}
    )


class StandingSchema(StrictSchema):
    """How one measure stands. With too few mornings, the values are null."""

    measure = fields.String(attribute="measure.name", required=True)
    muscle_group = Word.out_of(
        "muscle_groups",
        required=True,
        allow_none=True,
        metadata={"description": "Of soreness, the one that is farthest off; else null."},
    )
    unit = fields.String(attribute="measure.unit", required=True)
    recent = fields.Float(
        required=True, allow_none=True, metadata={"description": "Mean of the last 7 days."}
    )
    usual = fields.Float(
        required=True,
        allow_none=True,
        metadata={"description": "The own usual of the 28 days before those."},
    )
    standard_deviations = fields.Float(
        attribute="sds",
        required=True,
        allow_none=True,
        metadata={
            "description": "How many standard deviations of the usual mornings lie between; above "
            "0 in the worse direction."
        },
    )
    drifts = fields.Boolean(required=True)
    days = fields.Integer(
        required=True, allow_none=True, metadata={"description": "For how long; at most 28."}
    )
    since = CalendarDate(required=True, allow_none=True)
    mornings = fields.Integer(required=True, metadata={"description": "Known of the last 7 days."})
    usual_mornings = fields.Integer(required=True)
    usual_is = fields.String(
        attribute="measure.middle", required=True, metadata={"enum": ["mean", "median"]}
    )
    drifts_from = fields.Float(
        attribute="measure.beyond_sd",
        required=True,
        metadata={"description": "From how many standard deviations on it counts as a drift."},
    )
    source = fields.String(attribute="measure.source", required=True)


class AthleteDriftSchema(StrictSchema):
    """One athlete; each measure stands for itself."""

    athlete_id = AthleteId(attribute="athlete.id", required=True)
    name = fields.String(attribute="athlete.name", required=True)
    date = CalendarDate(attribute="on", required=True)
    standings = fields.List(Object(StandingSchema), required=True)


class DriftsSchema(StrictSchema):
    """The squad; whose measure drifts farthest comes first."""

    athletes = fields.List(Object(AthleteDriftSchema), required=True)
