"""What may be asked without anything being stored, and what is the answer?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from marshmallow import ValidationError, fields, post_load, validates_schema

from dawnrule.facts.check_in import Athlete, CheckIn
from dawnrule.schemas.advice import AdviceSchema, RuleNameSchema, RuleSetNameSchema
from dawnrule.schemas.athlete import AthleteTraitsSchema
from dawnrule.schemas.check_in import CheckInSchema
from dawnrule.schemas.facts import FactsOf, greatest
from dawnrule.schemas.record import MorningFactsSchema
from dawnrule.schemas.strict import ListOf, Object, StrictSchema
from dawnrule.schemas.values import Text
from dawnrule.vocabulary import Facts, Verdict

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

    day = FactsOf("day", load_default=dict)
    parts = ListOf(FactsOf("part"), at_most=lambda: greatest("planned_blocks"), load_default=tuple)

    @post_load
    def _facts(self, data: dict[str, Any], **_: Any) -> AssumedFacts:
        return AssumedFacts(**data)


class QuestionSchema(StrictSchema):
    """A check-in or facts, and by which rule set; the active one unless another is named. An
    ``athlete`` is needed when nobody of the check-in's id is known."""

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

    @post_load
    def _question(self, data: dict[str, Any], **_: Any) -> Question:
        return Question(**data)


class SubjectDecisionSchema(StrictSchema):
    """The verdict on the day or on a part, and the rules that fired."""

    verdict = fields.Enum(Verdict, by_value=True, required=True)
    rule = Object(RuleNameSchema, required=True, allow_none=True)
    fired = fields.List(fields.String(), required=True)


class EvaluationSchema(StrictSchema):
    """What the rules say. ``advice`` is there for a check-in, null for facts; nothing is stored,
    and its id leads nowhere."""

    verdict = fields.Enum(Verdict, by_value=True, required=True)
    rule = Object(RuleNameSchema, required=True, allow_none=True)
    day = Object(SubjectDecisionSchema, required=True)
    parts = fields.List(Object(SubjectDecisionSchema), required=True)
    facts = Object(MorningFactsSchema, required=True, allow_none=True)
    advice = Object(AdviceSchema, required=True, allow_none=True)
    rule_set = Object(RuleSetNameSchema, required=True)
