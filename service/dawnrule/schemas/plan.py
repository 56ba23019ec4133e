"""What does a coach plan for an athlete and a date?"""

from __future__ import annotations

from typing import Any

from marshmallow import fields, validates

from dawnrule.facts.check_in import Block
from dawnrule.schemas.check_in import BlockSchema, refuse_longer_than_a_day
from dawnrule.schemas.facts import greatest
from dawnrule.schemas.strict import ListOf, Object, StrictSchema
from dawnrule.schemas.values import AthleteId, CalendarDate


class PlanSchema(StrictSchema):
    """The day's blocks, as a check-in has them; an empty list is a day off."""

    plan = ListOf(Object(BlockSchema), at_most=lambda: greatest("planned_blocks"), required=True)

    @validates("plan")
    def _fits_into_a_day(self, plan: tuple[Block, ...], **_: Any) -> None:
        refuse_longer_than_a_day(plan)


class PlannedDaySchema(PlanSchema):
    """What is planned for an athlete and a date, and who said so when."""

    class Meta(PlanSchema.Meta):
        """The order in which a person reads it."""

        fields = ("athlete_id", "date", "plan", "posted_at", "posted_by")

    athlete_id = AthleteId(required=True)
    date = CalendarDate(required=True)
    posted_at = fields.String(required=True, metadata={"format": "date-time"})
    posted_by = fields.String(
        required=True, allow_none=True, metadata={"description": "The id of a key."}
    )
