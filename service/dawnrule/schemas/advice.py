"""What does advice look like?"""

from __future__ import annotations

from marshmallow import fields

from dawnrule.schemas.strict import Object, StrictSchema
from dawnrule.schemas.values import AthleteId, CalendarDate, Word
from dawnrule.vocabulary import Verdict


class RuleNameSchema(StrictSchema):
    """A rule by its id and its title."""

    id = fields.String(required=True)
    title = fields.String(required=True)


class RuleSetNameSchema(StrictSchema):
    """A rule set by name, version and digest."""

    name = fields.String(required=True)
    version = fields.String(required=True)
    digest = fields.String(required=True)


class ChangeSchema(StrictSchema):
    """One fact that, changed, would lead to another verdict."""

    fact = fields.String(required=True)
    before = fields.Raw(data_key="from", required=True)
    to = fields.String(required=True)
    verdict = fields.Enum(Verdict, by_value=True, required=True)


class AlternativeSchema(StrictSchema):
    """What could be done instead: a modality, or a goal for another muscle group."""

    modality = Word.out_of("modalities")
    goal = Word.out_of("goals")
    muscle_group = Word.out_of("muscle_groups")


class NoteSchema(StrictSchema):
    """A rule that adds a caution and changes no verdict."""

    rule = Object(RuleNameSchema, required=True)
    caution = fields.String(required=True)


class PartAdviceSchema(StrictSchema):
    """The verdict on one part: one planned block for one muscle group."""

    block = fields.Integer(
        required=True, metadata={"description": "Which block of the plan, counted from 0."}
    )
    goal = Word.out_of("goals", required=True)
    muscle_group = Word.out_of("muscle_groups", required=True, allow_none=True)
    verdict = fields.Enum(Verdict, by_value=True, required=True)
    rule = Object(
        RuleNameSchema,
        required=True,
        allow_none=True,
        metadata={"description": "The deciding rule; null when none asks for more protection."},
    )
    reason = fields.String(required=True)
    caution = fields.String(required=True)
    opens_at = fields.String(
        required=True,
        allow_none=True,
        metadata={
            "format": "date-time",
            "description": "When time alone makes it train-as-planned; null when it does not.",
        },
    )
    opens_note = fields.String(
        required=True,
        allow_none=True,
        metadata={"description": "Why it does not, or what else is needed."},
    )
    would_change = fields.List(
        Object(ChangeSchema),
        required=True,
        metadata={"description": "Each by itself would lead to the verdict that it names."},
    )
    would_change_together = fields.List(
        Object(ChangeSchema),
        required=True,
        metadata={"description": "All of these together would."},
    )
    alternatives = fields.List(Object(AlternativeSchema), required=True)
    also_fired = fields.List(fields.String(), required=True)


class AdviceSchema(StrictSchema):
    """The answer for one athlete and one local date.

    Without a check-in there is no advice: ``verdict`` and all that hangs on it are null or empty,
    and ``headline`` says so in a sentence.
    """

    advice_id = fields.String(required=True, allow_none=True)
    athlete_id = AthleteId(required=True)
    date = CalendarDate(required=True)
    verdict = fields.Enum(Verdict, by_value=True, required=True, allow_none=True)
    headline = fields.String(
        required=True, metadata={"description": "One line of at most 140 characters."}
    )
    rule = Object(RuleNameSchema, required=True, allow_none=True)
    reason = fields.String(required=True)
    caution = fields.String(required=True)
    parts = fields.List(Object(PartAdviceSchema), required=True)
    notes = fields.List(Object(NoteSchema), required=True)
    not_reported = fields.List(
        fields.String(),
        required=True,
        metadata={"description": "The facts that were left open, by name."},
    )
    rule_set = Object(RuleSetNameSchema, required=True, allow_none=True)


class SquadAdviceSchema(StrictSchema):
    """The advice of everybody for one date, in the order of their ids."""

    date = CalendarDate(required=True)
    advice = fields.List(Object(AdviceSchema), required=True)
