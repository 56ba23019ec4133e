"""Schemas of training sessions and the training log."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from marshmallow import ValidationError, fields, post_dump, validates_schema

from dawnrule.facts.last_trained import CUT_SHORT, DROPPED, HELD
from dawnrule.i18n.lazy import lazy
from dawnrule.model import Verdict
from dawnrule.model.entities import Session
from dawnrule.model.serialization import to_json
from dawnrule.schemas.base import ListOf, Object, StrictField, StrictSchema
from dawnrule.schemas.check_in import MOST_KILOMETRES, MOST_LOAD_KG, BlockSchema
from dawnrule.schemas.errors import load
from dawnrule.schemas.fields import (
    AthleteId,
    AwareTime,
    CalendarDate,
    Count,
    Fact,
    Number,
    Word,
    greatest,
)

MOST_RPE = 10  # the end of the CR10 scale
MOST_ON_A_PAGE = 500

_SESSION_ID = re.compile(r"[A-Za-z0-9-]{1,64}")
_BETWEEN = "_"


def refuse_other_than_drop_with_dropped(data: Mapping[str, Any]) -> None:
    """Raise ``ValidationError`` where output dropped without a figure, or the other way round."""
    has_dropped, has_percent = data.get("output") == DROPPED, "output_drop_percent" in data
    if has_dropped is has_percent:
        return
    name = "field.no_drop" if has_dropped else "field.drop_without_dropped"
    raise ValidationError(lazy(name, dropped=DROPPED), "output_drop_percent")


class DoneBlockSchema(BlockSchema):
    """One piece of training that was done. It names muscle groups or a movement pattern, or neither
    when the modality says enough."""

    minutes = Fact("planned_minutes", metadata={"description": "How long it took. Unit: min."})
    sets = Fact("planned_sets", metadata={"description": "Sets that were done."})
    reps = Fact("planned_reps", metadata={"description": "Repetitions a set."})
    rest_seconds = Fact(
        "planned_rest_seconds", metadata={"description": "Rest between sets. Unit: s."}
    )
    load_kg = Number(0, MOST_LOAD_KG, metadata={"description": "The working load. Unit: kg."})
    output = Word(
        lambda: (HELD, CUT_SHORT, DROPPED),
        metadata={"description": "As for the session; once a block says it, that counts alone."},
    )
    output_drop_percent = Fact(
        "output_drop_percent",
        metadata={"description": "By how much output fell. Only and always with dropped."},
    )
    longest_run_km = Number(
        0, MOST_KILOMETRES, metadata={"description": "The longest single run. Unit: km."}
    )

    @validates_schema
    def _block_drop_with_dropped(self, data: dict[str, Any], **_: Any) -> None:
        refuse_other_than_drop_with_dropped(data)


class SessionSchema(StrictSchema):
    """Training that was done. What is left out was not reported."""

    entity = Session

    athlete_id = AthleteId(required=True)
    starts_at = AwareTime(required=True)
    minutes = Fact(
        "planned_minutes", required=True, metadata={"description": "How long it took. Unit: min."}
    )
    rpe = Number(
        0,
        MOST_RPE,
        metadata={"description": "How hard the whole session was (session RPE, CR10)."},
    )
    blocks = ListOf(
        Object(DoneBlockSchema),
        at_least=1,
        at_most=lambda: greatest("planned_blocks"),
        required=True,
    )
    output = Word(
        lambda: (HELD, CUT_SHORT, DROPPED),
        metadata={"description": "Whether output held against the last comparable session."},
    )
    output_drop_percent = Fact(
        "output_drop_percent",
        metadata={"description": "By how much output fell. Only and always with dropped."},
    )

    @validates_schema
    def _drop_with_dropped(self, data: dict[str, Any], **_: Any) -> None:
        refuse_other_than_drop_with_dropped(data)


SESSION = SessionSchema()

EXAMPLE: Mapping[str, Any] = {
    "athlete_id": "a-03",
    "starts_at": "2026-03-08T18:00:00+01:00",
    "minutes": 70,
    "rpe": 7.5,
    "blocks": [
        {
            "goal": "hypertrophy",
            "pattern": "squat",
            "modality": "free-weights",
            "sets": 4,
            "reps": 10,
            "load_kg": 60,
            "rest_seconds": 120,
        },
        {"goal": "steady-endurance", "modality": "cycling", "minutes": 25},
    ],
    "output": "dropped",
    "output_drop_percent": 8,
}
"""A session as it is sent, with most of what it can say."""


class ToldSessionSchema(SessionSchema):
    """A session as it stands in the log."""

    class Meta(SessionSchema.Meta):
        """The order in which a person reads it."""

        fields = ("session_id", *SessionSchema._declared_fields)

    session_id = fields.String(required=True)

    @post_dump(pass_original=True)
    def _with_session(self, data: dict[str, Any], logged: Any, **_: Any) -> dict[str, Any]:
        """Put the session, in its stored form, after its id."""
        session_id = data.pop("session_id")
        return {"session_id": session_id, **to_json(logged.session), **data}


class TodaySchema(StrictSchema):
    """The advice that takes the place of today's, as the log has changed; it can be read by its
    id."""

    flattened = ("advice",)

    advice_id = fields.String(required=True)
    supersedes = fields.String(
        required=True, metadata={"description": "The advice that was given before, which is kept."}
    )
    verdict = fields.Enum(Verdict, by_value=True, required=True)
    headline = fields.String(required=True)


class LoggedSchema(ToldSessionSchema):
    """A session that was written, and what became of the advice of today."""

    class Meta(ToldSessionSchema.Meta):
        """The order in which a person reads it."""

        fields = (*ToldSessionSchema.Meta.fields, "today")

    today = Object(
        TodaySchema,
        required=True,
        allow_none=True,
        metadata={"description": "Null where today's advice stays, or none was given."},
    )


class SessionsSchema(StrictSchema):
    """Sessions of one athlete, the newest first."""

    sessions = fields.List(Object(ToldSessionSchema), required=True)
    next = fields.String(
        required=True,
        allow_none=True,
        metadata={"description": "The cursor of the sessions before these; null at the end."},
    )


class Cursor(StrictField[tuple[datetime, str]]):
    """Behind which session a page begins: its start and its id."""

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return "the next of an earlier answer"

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return {"type": "string"}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> tuple[datetime, str]:
        start, between, session_id = str(value).partition(_BETWEEN)
        if not between or not _SESSION_ID.fullmatch(session_id):
            raise self.make_error("invalid")
        try:
            return AwareTime().deserialize(start), session_id
        except ValidationError as error:
            raise self.make_error("invalid") from error


def cursor_of(starts_at: datetime, session_id: str) -> str:
    """Return the cursor of the page that begins after a session."""
    start = starts_at.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return f"{start}{_BETWEEN}{session_id}"


class SessionsQuerySchema(StrictSchema):
    """Which sessions, by local dates that are both included, and how many at once."""

    first = CalendarDate(data_key="from")
    to = CalendarDate()
    limit = Count(1, MOST_ON_A_PAGE, load_default=100)
    cursor = Cursor(metadata={"description": "The next of an earlier answer."})


def load_session(plain: Any) -> Session:
    """Load a session from plain JSON values. Raises ``InvalidInput`` with every fault."""
    session: Session = load(SESSION, plain)
    return session
