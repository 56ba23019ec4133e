"""Batches of check-ins or sessions in JSON, with a result for each row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from marshmallow import fields, post_dump

from dawnrule.schemas.advice import AdviceSchema
from dawnrule.schemas.base import Entity, ListOf, Object, StrictSchema
from dawnrule.schemas.check_in import CheckInSchema
from dawnrule.schemas.errors import FieldErrorSchema, ProblemSchema
from dawnrule.schemas.fields import DateOrder, Switch, Word
from dawnrule.schemas.query import Language, SheetName
from dawnrule.schemas.session import LoggedSchema, SessionSchema


class LookedAtLater(ListOf):
    """A list whose values are described here and looked at one by one later, so that a bad one
    spoils no other."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise self.make_error("invalid")
        return tuple(value)


OUTCOMES = ("created", "superseded", "unchanged", "dangers-only", "rejected", "not-stored")
"""``dangers-only``: a part of a sheet's row cannot be read; what it says of pain, illness and
warning signs is stored, and the problem tells of the rest. ``not-stored``: nothing is wrong with
the row, but another row spoiled the whole batch."""


class CheckInBatchSchema(StrictSchema):
    """Many check-ins."""

    check_ins = LookedAtLater(Object(CheckInSchema), required=True)


class SessionBatchSchema(StrictSchema):
    """Many sessions."""

    sessions = LookedAtLater(Object(SessionSchema), required=True)


CHECK_IN_BATCH = CheckInBatchSchema()
SESSION_BATCH = SessionBatchSchema()


ANSWER_FORMS = ("json", "csv", "xlsx")


@dataclass(frozen=True, slots=True)
class BatchQuery:
    """How a batch is to be read, handled and answered; a None was left out."""

    atomic: bool = False
    format: str | None = None
    date_order: str | None = None
    sheet: str | None = None
    lang: str | None = None


class BatchQuerySchema(StrictSchema):
    """How a batch is to be read, handled and answered."""

    entity = BatchQuery

    atomic = Switch(
        metadata={
            "description": "All or nothing, for at most 50 rows; more get 422 before any is read. "
            "Without it, good rows are kept, and the dangers of a sheet's row with faults."
        }
    )
    format = Word(
        lambda: ANSWER_FORMS,
        metadata={"description": "Instead of Accept. xlsx only for a batch that came as one."},
    )
    date_order = Word(
        lambda: tuple(DateOrder),
        metadata={
            "description": "The order of a sheet's dates like 04/05/2026. Without it those that "
            "have more than one reading are refused."
        },
    )
    sheet = SheetName()
    lang = Language()


class RowFaultSchema(FieldErrorSchema):
    """One wrong field of a row."""

    cell = fields.String(
        metadata={
            "description": "In a sheet the cell that it came from, as F7; empty where the sheet "
            "has no such column."
        }
    )


class RowProblemSchema(StrictSchema):
    """Why a row was rejected; a pointer into a sheet's row names the column, as
    ``/sleep_hours``."""

    title = fields.String(required=True)
    status = fields.Integer(required=True)
    detail = fields.String(required=True)
    errors = fields.List(Object(RowFaultSchema), required=True)


class SheetReadSchema(StrictSchema):
    """How a sheet was read; of a JSON batch there is nothing to say."""

    encoding = fields.String(
        required=True,
        allow_none=True,
        metadata={
            "description": "Of a text file, and whether it was guessed.",
            "examples": ["utf-8", "windows-1252 (guessed)"],
        },
    )
    delimiter = fields.String(required=True, allow_none=True)
    name = fields.String(
        required=True, allow_none=True, metadata={"description": "The workbook's sheet."}
    )
    other_sheets = fields.List(
        fields.String(), required=True, metadata={"description": "Those that were not read."}
    )
    read_as = fields.Dict(
        keys=fields.String(),
        values=fields.String(),
        required=True,
        metadata={"description": "Columns that stand under another word, by that word."},
    )
    unread = fields.List(
        fields.String(),
        required=True,
        metadata={"description": "Columns that mean nothing here; they are given back."},
    )
    remarks = fields.List(
        fields.String(),
        required=True,
        metadata={"description": "All this and how cells were read, in sentences."},
    )


class _AnyRowResultSchema(StrictSchema):
    left_out = ("rows",)

    row = fields.Integer(
        required=True,
        metadata={
            "description": "In a sheet its row, counted from 1, in JSON the place counted from 0."
        },
    )
    rows = fields.List(
        fields.Integer(),
        metadata={"description": "All rows of the sheet that speak of it, where several do."},
    )
    outcome = fields.String(required=True, metadata={"enum": list(OUTCOMES)})
    problem = Object(RowProblemSchema, required=True, allow_none=True)

    @post_dump
    def _with_problem_last(self, data: dict[str, Any], **_: Any) -> dict[str, Any]:
        problem = data.pop("problem")
        return data | {"problem": problem}


class RowResultSchema(_AnyRowResultSchema):
    """What became of one row."""

    advice = Entity(AdviceSchema, attribute="answer", required=True, allow_none=True)


class SessionRowResultSchema(_AnyRowResultSchema):
    """What became of one row that holds a session."""

    session = Object(LoggedSchema, attribute="answer", required=True, allow_none=True)


class _AnyBatchResultSchema(StrictSchema):
    left_out = ("sheet",)

    accepted = fields.Integer(required=True)
    rejected = fields.Integer(required=True)
    sheet = Object(SheetReadSchema)


class BatchResultSchema(_AnyBatchResultSchema):
    """What became of each row, in the order sent."""

    results = fields.List(Object(RowResultSchema), required=True)


class SessionBatchResultSchema(_AnyBatchResultSchema):
    """What became of each row that holds a session, in the order sent."""

    results = fields.List(Object(SessionRowResultSchema), required=True)


class _AnyBatchProblemSchema(ProblemSchema):
    accepted = fields.Integer()
    rejected = fields.Integer()
    sheet = Object(SheetReadSchema)


class BatchProblemSchema(_AnyBatchProblemSchema):
    """A batch of which nothing was stored; with what became of each row, if it could be read."""

    results = fields.List(Object(RowResultSchema))


class SessionBatchProblemSchema(_AnyBatchProblemSchema):
    """A batch of sessions of which nothing was stored; with what became of each row, if it could
    be read."""

    results = fields.List(Object(SessionRowResultSchema))
