"""Schema of a plan that was set, and of what became of today's advice."""

from __future__ import annotations

from typing import Any

from marshmallow import post_dump

from dawnrule.model.serialization import to_json
from dawnrule.schemas.base import Object
from dawnrule.schemas.check_in import PlannedDaySchema
from dawnrule.schemas.session import TodaySchema


class PlanSetSchema(PlannedDaySchema):
    """What was planned, and what became of today's advice."""

    flattened = ("plan",)

    class Meta(PlannedDaySchema.Meta):
        """The order in which a person reads it."""

        fields = (*PlannedDaySchema.Meta.fields, "today")

    today = Object(
        TodaySchema,
        required=True,
        allow_none=True,
        metadata={"description": "Null where today's advice stays, or none was given."},
    )

    @post_dump(pass_original=True)
    def _in_stored_form(self, data: dict[str, Any], done: Any, **_: Any) -> dict[str, Any]:
        """Write the blocks as a check-in has them, without what they do not say."""
        return {**data, "plan": [to_json(block) for block in done.plan.blocks]}
