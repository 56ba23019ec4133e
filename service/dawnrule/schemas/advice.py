"""Advice, outlook, feed and health in JSON."""

from __future__ import annotations

from marshmallow import fields

from dawnrule.model import Verdict
from dawnrule.schemas.base import Entity, Object, StrictSchema, Timestamp
from dawnrule.schemas.fields import AthleteId, CalendarDate, Count, Word
from dawnrule.schemas.query import Language
from dawnrule.schemas.recovery import OwnForecastSchema

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
    """When a muscle group is ready again for a goal."""

    muscle_group = Word.out_of("muscle_groups", required=True)
    goal = Word.out_of("goals", required=True)
    open_now = fields.Boolean(required=True)
    opens_at = Timestamp(required=True, allow_none=True, metadata=_TIME)
    needs = fields.List(
        Object(NeedSchema),
        required=True,
        metadata={"description": "What it needs where waiting is not enough."},
    )
    needs_from = Timestamp(
        required=True,
        allow_none=True,
        metadata={
            "format": "date-time",
            "description": "From when on that is enough; null when it is enough now.",
        },
    )
    stopped = fields.Boolean(
        required=True,
        metadata={"description": "Neither waiting nor anything that could be named is enough."},
    )


class MovementSchema(StrictSchema):
    """One movement of the balanced session, by the pattern that is ready first."""

    movement = fields.String(required=True)
    goal = Word.out_of("goals", required=True)
    pattern = Word.out_of("patterns", required=True, allow_none=True)
    muscle_groups = fields.List(Word.out_of("muscle_groups"), required=True)
    opens_at = Timestamp(required=True, allow_none=True, metadata=_TIME)


class OutlookSchema(StrictSchema):
    """What is ready when over the days ahead, if nothing is trained until then."""

    athlete_id = AthleteId(required=True)
    start = Timestamp(data_key="from", required=True)
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
    recovery = fields.List(
        Object(OwnForecastSchema),
        required=True,
        metadata={
            "description": "How the athlete's own soreness is likely to go, the longest first; "
            "what opens hangs on the rules alone."
        },
    )


OUTLOOK = OutlookSchema()


class RuleNameSchema(StrictSchema):
    """A rule by its id and its title."""

    id = fields.String(required=True)
    title = fields.String(required=True)


class RuleSetNameSchema(StrictSchema):
    """A rule set by name, version and fingerprint."""

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
    """What could be done instead: a modality, or a goal for another muscle group or pattern."""

    modality = Word.out_of("modalities")
    goal = Word.out_of("goals")
    muscle_group = Word.out_of("muscle_groups")
    pattern = Word.out_of("patterns")
    within_limits = fields.Boolean(
        metadata={"description": "True for the planned session, reduced to its limits."}
    )
    sets = fields.Integer(metadata={"description": "At most so many."})
    reps = fields.Integer(metadata={"description": "Repetitions of a set."})
    minutes = fields.Integer(metadata={"description": "At most so many."})
    effort = fields.Float(metadata={"description": "At most so hard, on the CR10 scale."})
    reps_in_reserve = fields.Float(metadata={"description": "At least so many are left in a set."})
    because = fields.String(metadata={"description": "Why it is allowed."})


class NoteSchema(StrictSchema):
    """A rule that adds a caution and changes no verdict."""

    rule = Object(RuleNameSchema, required=True)
    caution = fields.String(
        required=True,
        metadata={"description": "Empty where it was given a few days ago and has not changed."},
    )
    reason = fields.String(metadata={"description": "What it is about this morning."})
    given_on = CalendarDate(metadata={"description": "When the caution was given in full."})


class LimitsSchema(StrictSchema):
    """How much of a planned block may be done. Shares are of the athlete's usual amount, or of the
    plan where that is not known; the whole numbers are what is left of the plan."""

    share_of_sets = fields.Float()
    share_of_minutes = fields.Float()
    sets_at_most = fields.Integer()
    minutes_at_most = fields.Integer()
    contacts_at_most = fields.Integer()
    effort_at_most = fields.Float(metadata={"description": "On the CR10 scale."})
    reps_in_reserve_at_least = fields.Float()
    no_failure = fields.Boolean()
    no_maximal = fields.Boolean()
    no_contact = fields.Boolean()
    no_landing = fields.Boolean()


class BlockAdviceSchema(StrictSchema):
    """The verdict on one planned block: the most protective of its parts."""

    block = fields.Integer(
        required=True, metadata={"description": "Which block of the plan, counted from 0."}
    )
    goal = Word.out_of("goals", required=True)
    muscle_groups = fields.List(Word.out_of("muscle_groups"), required=True)
    verdict = fields.Enum(Verdict, by_value=True, required=True)
    rule = Object(
        RuleNameSchema,
        required=True,
        allow_none=True,
        metadata={"description": "The deciding rule; null when none asks for more protection."},
    )
    reason = fields.String(required=True)
    limits = Entity(LimitsSchema, required=True)
    limits_said = fields.List(
        fields.String(), required=True, metadata={"description": "The limits in words."}
    )
    alternatives = fields.List(
        Entity(AlternativeSchema),
        required=True,
        metadata={"description": "Less of the planned session first, where that is allowed."},
    )


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
    opens_at = Timestamp(
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
    alternatives = fields.List(Entity(AlternativeSchema), required=True)
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
    notes = fields.List(Entity(NoteSchema), required=True)
    not_reported = fields.List(
        fields.String(),
        required=True,
        metadata={"description": "The facts that were not reported, by name."},
    )
    rule_set = Object(RuleSetNameSchema, required=True, allow_none=True)
    blocks = fields.List(Object(BlockAdviceSchema), required=True)


class SquadAdviceSchema(StrictSchema):
    """The advice of everybody for one date, in the order of their ids."""

    date = CalendarDate(required=True)
    advice = fields.List(Object(AdviceSchema), required=True)


class HealthSchema(StrictSchema):
    """The process answers."""

    status = fields.String(required=True, metadata={"enum": ["ok"]})
    version = fields.String(required=True)


class ReadinessSchema(HealthSchema):
    """The store answers, and the engine decides a worked example as it should."""

    rule_set = Object(RuleSetNameSchema, required=True)


class TodayFeedSchema(StrictSchema):
    """Today's advice, without the parts of the plan and without what was reported.

    Without a check-in there is none: the verdict is null, and the headline says so.
    """

    date = CalendarDate(required=True, metadata={"description": "Where the athlete lives."})
    verdict = fields.Enum(
        Verdict, by_value=True, attribute="advice.verdict", required=True, allow_none=True
    )
    headline = fields.String(attribute="advice.headline", required=True)
    rule = Object(RuleNameSchema, attribute="advice.rule", required=True, allow_none=True)
    reason = fields.String(attribute="advice.reason", required=True)
    caution = fields.String(attribute="advice.caution", required=True)
    as_of = Timestamp(
        required=True,
        allow_none=True,
        metadata={"format": "date-time", "description": "When this advice was given."},
    )
    check_in = Word(lambda: ("present", "missing"), required=True)
