"""How are many check-ins or sessions sent at once, and what comes back for each?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import fields

from dawnrule.schemas.advice import AdviceSchema
from dawnrule.schemas.check_in import CheckInSchema
from dawnrule.schemas.problem import FieldErrorSchema, ProblemSchema
from dawnrule.schemas.session import LoggedSchema, SessionSchema
from dawnrule.schemas.strict import ListOf, Object, StrictSchema
from dawnrule.schemas.values import Switch, Word


class LookedAtLater(ListOf):
    """A list whose values are described here and looked at one by one later, so that a bad one
    spoils no other."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise self.make_error("invalid")
        return tuple(value)


OUTCOMES = ("created", "superseded", "unchanged", "rejected", "not-stored")
"""``not-stored``: nothing is wrong with the row, but another row spoiled the whole batch."""


class CheckInBatchSchema(StrictSchema):
    """Many check-ins."""

    check_ins = LookedAtLater(Object(CheckInSchema), required=True)


class SessionBatchSchema(StrictSchema):
    """Many sessions."""

    sessions = LookedAtLater(Object(SessionSchema), required=True)


CHECK_IN_BATCH = CheckInBatchSchema()
SESSION_BATCH = SessionBatchSchema()


class BatchQuerySchema(StrictSchema):
    """How a batch is to be handled and answered."""

    atomic = Switch(metadata={"description": "All or nothing; otherwise good rows are kept."})
    format = Word(lambda: ("json", "csv"), metadata={"description": "Instead of Accept."})


class RowProblemSchema(StrictSchema):
    """Why a row was rejected; a pointer into a CSV row names the column, as ``/sleep_hours``."""

    title = fields.String(required=True)
    status = fields.Integer(required=True)
    detail = fields.String(required=True)
    errors = fields.List(Object(FieldErrorSchema), required=True)


class _AnyRowResultSchema(StrictSchema):
    row = fields.Integer(
        required=True,
        metadata={"description": "In CSV the row of the sheet, in JSON the place counted from 0."},
    )
    outcome = fields.String(required=True, metadata={"enum": list(OUTCOMES)})
    problem = Object(RowProblemSchema, required=True, allow_none=True)


class RowResultSchema(_AnyRowResultSchema):
    """What became of one row."""

    advice = Object(AdviceSchema, required=True, allow_none=True)


class SessionRowResultSchema(_AnyRowResultSchema):
    """What became of one row that holds a session."""

    session = Object(LoggedSchema, required=True, allow_none=True)


class _AnyBatchResultSchema(StrictSchema):
    accepted = fields.Integer(required=True)
    rejected = fields.Integer(required=True)


class BatchResultSchema(_AnyBatchResultSchema):
    """What became of each row, in the order sent."""

    results = fields.List(Object(RowResultSchema), required=True)


class SessionBatchResultSchema(_AnyBatchResultSchema):
    """What became of each row that holds a session, in the order sent."""

    results = fields.List(Object(SessionRowResultSchema), required=True)


class _AnyBatchProblemSchema(ProblemSchema):
    accepted = fields.Integer()
    rejected = fields.Integer()


class BatchProblemSchema(_AnyBatchProblemSchema):
    """A batch of which nothing was stored; with what became of each row, if it could be read."""

    results = fields.List(Object(RowResultSchema))


class SessionBatchProblemSchema(_AnyBatchProblemSchema):
    """A batch of sessions of which nothing was stored; with what became of each row, if it could
    be read."""

    results = fields.List(Object(SessionRowResultSchema))
