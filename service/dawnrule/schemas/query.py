"""Query parameters and path values that several resources share."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from dawnrule.schemas.base import StrictSchema
from dawnrule.schemas.errors import load_value
from dawnrule.schemas.fields import CalendarDate, Text, Word

_LANGUAGE_CHARACTERS = 35
"""The longest name of a language that all programs must take (RFC 5646, section 4.4.1)."""
_SHEET_NAME_CHARACTERS = 255


class Language(Text):
    """The language to answer in; one that there is not is passed over."""

    def __init__(self) -> None:
        super().__init__(
            at_most=_LANGUAGE_CHARACTERS, metadata={"description": "Instead of Accept-Language."}
        )


class SheetName(Text):
    """Which sheet of a workbook is read."""

    def __init__(self) -> None:
        super().__init__(
            at_most=_SHEET_NAME_CHARACTERS,
            metadata={"description": "The workbook's sheet that is meant, instead of its first."},
        )


@dataclass(frozen=True, slots=True)
class SquadQuery:
    """Which date, and in which form; a None was left out."""

    date: date
    format: str | None = None
    lang: str | None = None


class SquadQuerySchema(StrictSchema):
    """Which date, and in which form."""

    entity = SquadQuery

    date = CalendarDate(required=True)
    format = Word(lambda: ("json", "csv"), metadata={"description": "Instead of Accept."})
    lang = Language()


def day_of_address(text: str) -> date:
    """Parse the date in a path. Raises ``InvalidInput``."""
    return load_value(CalendarDate(), text, "day")
