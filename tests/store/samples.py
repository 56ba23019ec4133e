"""A small squad's mornings, for the tests of the store."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from dawnrule.model.entities import Athlete, Block, CheckIn, Session
from dawnrule.model.serialization import to_json
from dawnrule.store import StoredAdvice, StoredCheckIn, Transaction

DAY = date(2026, 3, 9)
NOW = datetime(2026, 3, 9, 6, 40, tzinfo=UTC)
KIM = Athlete("a-01", "Kim", "Europe/Berlin", date(1999, 2, 28), "trained")
SAM = Athlete("a-02", "Sam", "UTC")
SQUATS = Block("strength", ("quadriceps",), sets=5)


def check_in_body(date: date = DAY, **reported: Any) -> dict[str, Any]:
    return to_json(CheckIn(KIM.id, date, plan=(SQUATS,), **reported))


def session(starts_at: datetime = NOW, minutes: float = 60) -> Session:
    return Session(KIM.id, starts_at, minutes, (SQUATS,))


def session_body(starts_at: datetime = NOW, minutes: float = 60) -> dict[str, Any]:
    return to_json(session(starts_at, minutes))


def add_check_in(
    transaction: Transaction, check_in_id: str, date: date = DAY, **reported: Any
) -> int:
    body = check_in_body(date, **reported)
    return transaction.check_ins.add(StoredCheckIn(check_in_id, KIM.id, date, body, NOW, "k-01"))


def add_advice(
    transaction: Transaction, advice_id: str, check_in_id: str, **changed: Any
) -> StoredAdvice:
    values: dict[str, Any] = {
        "athlete_id": KIM.id,
        "date": DAY,
        "verdict": "rest",
        "rule_id": "fever",
        "rule_set_digest": "sha256:00",
        "record": '{"verdict":"rest"}',
        "decided_at": NOW,
    }
    advice = StoredAdvice(advice_id, check_in_id, **(values | changed))
    transaction.advice.add(advice)
    return advice
