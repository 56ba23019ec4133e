"""How is a rule set told?"""

from __future__ import annotations

from marshmallow import fields

from dawnrule.schemas.advice import RuleSetNameSchema
from dawnrule.schemas.publishing import ActivationSchema
from dawnrule.schemas.strict import Object, StrictSchema

_CONDITION = {
    "type": "object",
    "description": "A condition in the words of the rule files.",
    "additionalProperties": True,
}


class BasisSchema(StrictSchema):
    """Where a rule comes from."""

    kind = fields.String(
        required=True, metadata={"enum": ["published", "common-practice", "house"]}
    )
    source = fields.String(required=True)
    note = fields.String(required=True, allow_none=True)


class ExampleSchema(StrictSchema):
    """A worked example: with these facts and no others, the rule fires or it does not."""

    facts = fields.Raw(required=True, metadata={"type": "object"})
    fires = fields.Boolean(required=True)


class RuleHeadSchema(StrictSchema):
    """What a rule is, besides its condition."""

    id = fields.String(required=True)
    title = fields.String(required=True)
    scope = fields.String(required=True, metadata={"enum": ["day", "part"]})
    verdict = fields.String(
        required=True,
        metadata={"enum": ["train-as-planned", "swap-to-low-damage", "rest", "note"]},
    )
    caution = fields.String(required=True)
    basis = Object(BasisSchema, required=True)
    wrong_when = fields.String(
        required=True, metadata={"description": "The honest case in which the rule misleads."}
    )


class RuleSchema(RuleHeadSchema):
    """A rule in full; ``reason`` is a template."""

    reason = fields.String(required=True)
    when = fields.Raw(required=True, metadata=_CONDITION)
    examples = fields.List(Object(ExampleSchema), required=True)


class RuleSetSummarySchema(RuleSetNameSchema):
    """A rule set in short."""

    summary = fields.String(required=True)
    active = fields.Boolean(
        required=True,
        metadata={"description": "Whether it decides today for all who have none of their own."},
    )
    published_at = fields.AwareDateTime(
        required=True, allow_none=True, metadata={"description": "Null for one that ships."}
    )
    published_by = fields.String(
        required=True, allow_none=True, metadata={"description": "The id of a key."}
    )


class RuleSetsSchema(StrictSchema):
    """Every rule set there is."""

    rule_sets = fields.List(Object(RuleSetSummarySchema), required=True)


class ChangedSchema(StrictSchema):
    """A test of one rule that an extension gave another value."""

    rule = fields.String(required=True)
    before = fields.Raw(required=True, metadata=_CONDITION)
    after = fields.Raw(required=True, metadata=_CONDITION)
    because = fields.String(required=True)


class SwitchedOffSchema(StrictSchema):
    """A rule that an extension leaves out."""

    rule = fields.String(required=True)
    because = fields.String(required=True)


class RuleSetSchema(RuleSetSummarySchema):
    """A rule set in full. ``signals`` are conditions that rules call by name; ``came_from`` are the
    rule sets that it extends, the nearest first, and ``changed`` and ``off`` what it made of the
    nearest, besides adding rules; ``activations`` are its own, the newest first."""

    came_from = fields.List(Object(RuleSetNameSchema), required=True)
    changed = fields.List(Object(ChangedSchema), required=True)
    off = fields.List(Object(SwitchedOffSchema), required=True)
    signals = fields.Dict(fields.String(), fields.Raw(metadata=_CONDITION), required=True)
    rules = fields.List(Object(RuleSchema), required=True)
    activations = fields.List(Object(ActivationSchema), required=True)
