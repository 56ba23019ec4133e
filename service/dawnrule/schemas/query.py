"""What may stand in an address, in its path and behind its question mark?"""

from __future__ import annotations

from datetime import date

from dawnrule.schemas.field_errors import load_value
from dawnrule.schemas.strict import StrictSchema
from dawnrule.schemas.values import CalendarDate, Word


class SquadQuerySchema(StrictSchema):
    """Which date, and in which form."""

    date = CalendarDate(required=True)
    format = Word(lambda: ("json", "csv"), metadata={"description": "Instead of Accept."})


def day_of_address(text: str) -> date:
    """The date that an address names. Raises ``InvalidInput``."""
    return load_value(CalendarDate(), text, "day")
