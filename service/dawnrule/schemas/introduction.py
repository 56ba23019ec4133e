"""Schemas of introduced sheets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from marshmallow import ValidationError, fields

from dawnrule.schemas.base import Object, StrictSchema, Timestamp
from dawnrule.schemas.fields import Word
from dawnrule.schemas.query import SheetName

KINDS = ("check-ins", "sessions")
_MOST_COLUMNS = 256


class Meanings(fields.Dict):
    """Headers with their meanings, all text."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> dict[str, str]:
        if not isinstance(value, dict) or not 0 < len(value) <= _MOST_COLUMNS:
            raise ValidationError(f"must be an object with 1 to {_MOST_COLUMNS} members")
        if not all(isinstance(meaning, str) for meaning in value.values()):
            raise ValidationError("must have the id of a meaning as text for each header")
        return value


@dataclass(frozen=True, slots=True)
class ColumnsQuery:
    """Which sheet of a file is looked at, and what its rows are."""

    kind: str = "check-ins"
    sheet: str | None = None


class ColumnsQuerySchema(StrictSchema):
    """Which sheet of a file is looked at, and what its rows are."""

    entity = ColumnsQuery

    kind = Word(lambda: KINDS, metadata={"description": "What a row of the sheet is."})
    sheet = SheetName()


class ColumnSchema(StrictSchema):
    """A column of a sheet, and what it is taken to mean."""

    header = fields.String(required=True)
    meaning = fields.String(
        required=True,
        allow_none=True,
        metadata={"description": "The id of a meaning; null where it has none here."},
    )
    how = fields.String(
        required=True,
        metadata={
            "enum": ["known", "chosen", "accepted", "comment", "unread", "asked"],
            "description": "asked: the sheet is not taken until somebody has said what it is.",
        },
    )
    proposals = fields.List(
        fields.String(), required=True, metadata={"description": "The likeliest meanings first."}
    )
    samples = fields.List(
        fields.String(), required=True, metadata={"description": "Three of its values."}
    )


class ColumnsSchema(StrictSchema):
    """The columns of a sheet, and every meaning that they may be given."""

    kind = fields.String(required=True)
    columns = fields.List(Object(ColumnSchema), required=True)
    unknown_athletes = fields.List(
        fields.String(),
        required=True,
        metadata={"description": "Who is named in the sheet and must be added first."},
    )
    meanings = fields.List(
        fields.String(),
        required=True,
        metadata={"description": "ignore is for a column of one's own."},
    )


class NewIntroductionSchema(StrictSchema):
    """What the columns of a sheet mean."""

    kind = Word(lambda: KINDS, required=True)
    columns = Meanings(
        keys=fields.String(),
        values=fields.String(),
        required=True,
        metadata={
            "description": "The meaning of each header.",
            "examples": [{"Name": "athlete_id", "Date": "date", "Legs": "soreness_legs"}],
        },
    )


class IntroducedSchema(StrictSchema):
    """A sheet that was introduced: sheets with these headers are read so."""

    sheet_id = fields.String(attribute="id", required=True)
    kind = fields.String(attribute="layout", required=True)
    columns = fields.Dict(
        keys=fields.String(), values=fields.String(), attribute="meanings", required=True
    )
    introduced_at = Timestamp(required=True, metadata={"format": "date-time"})
    introduced_by = fields.String(
        required=True, allow_none=True, metadata={"description": "The id of a key."}
    )


class IntroducedSheetsSchema(StrictSchema):
    """All sheets that were introduced."""

    sheets = fields.List(Object(IntroducedSchema), required=True)


NEW_INTRODUCTION = NewIntroductionSchema()
