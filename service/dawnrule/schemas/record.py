"""Records and evaluations in JSON, with the trace of every rule."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from marshmallow import ValidationError, fields, validates_schema

from dawnrule.model import Facts, Verdict
from dawnrule.model.entities import Athlete, CheckIn
from dawnrule.schemas.advice import AdviceSchema, RuleNameSchema, RuleSetNameSchema
from dawnrule.schemas.athlete import AthleteTraitsSchema
from dawnrule.schemas.base import Entity, ListOf, Object, StrictSchema
from dawnrule.schemas.check_in import CheckInSchema
from dawnrule.schemas.fields import AthleteId, AwareTime, FactsOf, Text, Word, greatest
from dawnrule.schemas.rule_set import RuleHeadSchema

_FACTS = {"type": "object", "description": "Fact by name; one that is absent was not reported."}


class TestSchema(StrictSchema):
    """One test of a fact, in words too: ``sleep 5.5 h (below 6 h)``."""

    fact = fields.String(required=True)
    operator = fields.String(required=True)
    threshold = fields.Raw(required=True)
    value = fields.Raw(
        required=True, allow_none=True, metadata={"description": "Null when not reported."}
    )
    said = fields.String(required=True)


class PartFactsSchema(StrictSchema):
    """The facts of one part, besides those of the day, which count here too."""

    block = fields.Integer(required=True)
    muscle_group = Word.out_of("muscle_groups", required=True, allow_none=True)
    facts = fields.Raw(required=True, metadata=_FACTS)


class MorningFactsSchema(StrictSchema):
    """What a morning said, by the names of the fact dictionary."""

    day = fields.Raw(required=True, metadata=_FACTS)
    parts = fields.List(Object(PartFactsSchema), required=True)
    missing = fields.Dict(
        fields.String(),
        fields.String(),
        required=True,
        metadata={"description": "Why facts that need earlier days could not be known, by name."},
    )


class _ToldInFull(Object):
    """An object that converts itself, as a record has hundreds of rules and outcomes."""

    def _serialize(self, *args: Any, **_: Any) -> Any:
        value, *_names = args
        return value.to_json()


class RuleResultSchema(StrictSchema):
    """How one rule came out for the day, or for one part."""

    block = fields.Integer(
        required=True, allow_none=True, metadata={"description": "Null for the day."}
    )
    muscle_group = Word.out_of("muscle_groups", required=True, allow_none=True)
    fired = fields.Boolean(required=True)
    decided = fields.Boolean(
        required=True, metadata={"description": "Whether the verdict there is this rule's."}
    )
    conditions = fields.Raw(
        required=True,
        metadata={
            "type": "object",
            "description": "Each test with its fact, operator, threshold, the value that came, "
            "whether it holds, and by how much (margin); combined as in the rule file.",
        },
    )
    near_miss = fields.List(
        Object(TestSchema),
        required=True,
        metadata={"description": "The tests of which each alone kept the rule from applying."},
    )


class ExplainedRuleSchema(RuleHeadSchema):
    """A rule and how it came out."""

    results = fields.List(Object(RuleResultSchema), required=True)


class ExplainedAthleteSchema(AthleteTraitsSchema):
    """The athlete as the advice took them, without the name."""

    id = AthleteId(required=True)


class RecordedConcernSchema(StrictSchema):
    """A concern as a morning knew it."""

    id = fields.String(required=True)
    kind = fields.String(required=True)
    state = fields.String(required=True)
    began_on = fields.Date(required=True)
    last_reported_on = fields.Date(required=True)
    stage = fields.Integer(required=True, allow_none=True)


class AdviceRecordSchema(StrictSchema):
    """All that an advice was made of and why it came out so, rule by rule."""

    flattened = ("record", "explanation")

    advice = Object(AdviceSchema, required=True)
    athlete = Entity(ExplainedAthleteSchema, required=True)
    check_in = Entity(CheckInSchema, required=True)
    facts = Object(MorningFactsSchema, required=True)
    concerns = fields.List(
        Object(RecordedConcernSchema),
        required=True,
        metadata={"description": "What was open about the athlete, or restricted, that morning."},
    )
    came_from = fields.List(
        Object(RuleSetNameSchema),
        required=True,
        metadata={"description": "The rule sets that the advice's extends, the nearest first."},
    )
    rules = fields.List(
        _ToldInFull(ExplainedRuleSchema),
        required=True,
        metadata={"description": "Every rule of the rule set, in its order; none when it is gone."},
    )
    reproduced = fields.Boolean(
        required=True,
        metadata={"description": "Whether the rules, evaluated again, apply as recorded."},
    )
    clock = AwareTime(required=True, metadata={"description": "The time that the facts are of."})
    decided_at = AwareTime(required=True)
    posted_by = fields.String(
        required=True, allow_none=True, metadata={"description": "The id of the key."}
    )
    supersedes = fields.String(
        required=True, allow_none=True, metadata={"description": "The advice before it."}
    )
    superseded_by = fields.String(required=True, allow_none=True)
    service_version = fields.String(required=True)


_RULE_SET_CHARACTERS = 100


@dataclass(frozen=True, slots=True)
class AssumedFacts:
    """Facts of a day and of parts, taken as they are; those of a part hold without the day's."""

    day: Facts
    parts: tuple[Facts, ...]


@dataclass(frozen=True, slots=True)
class Question:
    """What is to be evaluated: a check-in, perhaps of an assumed athlete, or assumed facts."""

    check_in: CheckIn | None = None
    athlete: Athlete | None = None
    facts: AssumedFacts | None = None
    rule_set: str | None = None


class AssumedFactsSchema(StrictSchema):
    """Facts by the names of the fact dictionary."""

    entity = AssumedFacts

    day = FactsOf("day", load_default=dict)
    parts = ListOf(FactsOf("part"), at_most=lambda: greatest("planned_blocks"), load_default=tuple)


class QuestionSchema(StrictSchema):
    """A check-in or facts, and by which rule set; the active one unless another is named. An
    ``athlete`` is needed when nobody of the check-in's id is known."""

    entity = Question

    check_in = Object(CheckInSchema)
    athlete = Object(AthleteTraitsSchema)
    facts = Object(AssumedFactsSchema)
    rule_set = Text(
        at_most=_RULE_SET_CHARACTERS,
        metadata={"description": "As name@version.", "examples": ["baseline@1.0.0"]},
    )

    @validates_schema
    def _one_of_both(self, data: dict[str, Any], **_: Any) -> None:
        if ("check_in" in data) == ("facts" in data):
            raise ValidationError("must have check_in or facts, and not both")
        if "athlete" in data and "facts" in data:
            raise ValidationError("must be left out when facts are given", "athlete")


class _RuleId(fields.String):
    def _serialize(self, value: Any, attr: str | None, obj: Any, **_: Any) -> str:
        return str(value.id)


class SubjectDecisionSchema(StrictSchema):
    """The verdict on the day or on a part, and the rules that applied."""

    verdict = fields.Enum(Verdict, by_value=True, required=True)
    rule = Object(RuleNameSchema, attribute="deciding", required=True, allow_none=True)
    fired = fields.List(_RuleId(), required=True)


class EvaluationSchema(StrictSchema):
    """What the rules say. ``advice`` is there for a check-in, null for facts; nothing is stored,
    and its id leads nowhere."""

    verdict = fields.Enum(Verdict, by_value=True, attribute="decision.verdict", required=True)
    rule = Object(RuleNameSchema, attribute="decision.deciding", required=True, allow_none=True)
    day = Object(SubjectDecisionSchema, attribute="decision.day", required=True)
    parts = fields.List(Object(SubjectDecisionSchema), attribute="decision.parts", required=True)
    facts = Object(MorningFactsSchema, required=True, allow_none=True)
    advice = Object(AdviceSchema, required=True, allow_none=True)
    rule_set = Object(RuleSetNameSchema, required=True)
