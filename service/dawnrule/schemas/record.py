"""What is kept of an advice, and how is it explained?"""

from __future__ import annotations

from marshmallow import fields

from dawnrule.schemas.advice import AdviceSchema, RuleSetNameSchema
from dawnrule.schemas.athlete import AthleteTraitsSchema
from dawnrule.schemas.check_in import CheckInSchema
from dawnrule.schemas.rule_set import RuleHeadSchema
from dawnrule.schemas.strict import Object, StrictSchema
from dawnrule.schemas.values import AthleteId, AwareTime, Word

_FACTS = {"type": "object", "description": "Fact by name; one that is absent was not reported."}


class TestSchema(StrictSchema):
    """One test of a fact, in words too: ``sleep 5.5 h (below 6 h)``."""

    fact = fields.String(required=True)
    operator = fields.String(required=True)
    threshold = fields.Raw(required=True)
    value = fields.Raw(required=True, metadata={"description": "Null when not reported."})
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
        metadata={"description": "Why facts that need earlier days could not be told, by name."},
    )


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
        metadata={"description": "The tests of which each alone kept the rule from firing."},
    )


class ExplainedRuleSchema(RuleHeadSchema):
    """A rule and how it came out."""

    results = fields.List(Object(RuleResultSchema), required=True)


class ExplainedAthleteSchema(AthleteTraitsSchema):
    """The athlete as the advice took them, without the name."""

    id = AthleteId(required=True)


class AdviceRecordSchema(StrictSchema):
    """All that an advice was made of and why it came out so, rule by rule."""

    advice = Object(AdviceSchema, required=True)
    athlete = Object(ExplainedAthleteSchema, required=True)
    check_in = Object(CheckInSchema, required=True)
    facts = Object(MorningFactsSchema, required=True)
    came_from = fields.List(
        Object(RuleSetNameSchema),
        required=True,
        metadata={"description": "The rule sets that the advice's extends, the nearest first."},
    )
    rules = fields.List(
        Object(ExplainedRuleSchema),
        required=True,
        metadata={"description": "Every rule of the rule set, in its order; none when it is gone."},
    )
    reproduced = fields.Boolean(
        required=True,
        metadata={"description": "Whether the rules, evaluated again, fire as recorded."},
    )
    clock = AwareTime(
        required=True, metadata={"description": "The time that the facts were told at."}
    )
    decided_at = AwareTime(required=True)
    posted_by = fields.String(
        required=True, allow_none=True, metadata={"description": "The id of the key."}
    )
    supersedes = fields.String(
        required=True, allow_none=True, metadata={"description": "The advice before it."}
    )
    superseded_by = fields.String(required=True, allow_none=True)
    service_version = fields.String(required=True)
