"""How does the service say that it is well?"""

from __future__ import annotations

from marshmallow import fields

from dawnrule.schemas.advice import RuleSetNameSchema
from dawnrule.schemas.strict import Object, StrictSchema


class HealthSchema(StrictSchema):
    """The process answers."""

    status = fields.String(required=True, metadata={"enum": ["ok"]})
    version = fields.String(required=True)


class ReadinessSchema(HealthSchema):
    """The store answers, and the engine decides a worked example as it should."""

    rule_set = Object(RuleSetNameSchema, required=True)
