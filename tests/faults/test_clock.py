"""Clocks that jump: today's advice stays right, and the record in the order of events."""

from __future__ import annotations

import random
from datetime import timedelta
from typing import Any

import pytest

from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.audit import audit
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import Store
from tests.conftest import SQUAD, Client, Clock
from tests.effort import tries

PLAN = [{"goal": "hypertrophy", "muscle_groups": ["quadriceps"]}]


def advised(coach: Client, day: str, **reported: Any) -> dict[str, Any]:
    """The advice on a check-in of a-03, who lives in Berlin."""
    body = {"athlete_id": "a-03", "date": day, "plan": PLAN, **reported}
    answer = coach.post("/v1/check-ins", json=body)
    assert answer.status_code == 201, answer.text
    told: dict[str, Any] = answer.json
    return told


def decided_at(store: Store) -> list[str]:
    """When each advice says that it was decided, in the order of the ledger, which must verify."""
    audited = audit(store, RuleSetLibrary.bundled().with_published(StoredTexts(store)))
    assert audited.is_clean
    entries = store.read(lambda transaction: transaction.ledger.after(0, 1000))
    assert [entry.position for entry in entries] == list(range(1, len(entries) + 1))
    return [entry.at[:16] for entry in entries if entry.kind == "advice"]


@pytest.mark.parametrize(
    ("jumped", "at"),
    [
        ("2026-03-09T05:45:00+01:00", "2026-03-09T04:45"),
        ("2026-03-09T07:45:00+01:00", "2026-03-09T06:45"),
    ],
    ids=["an hour back", "an hour forward"],
)
def test_after_a_jump_within_the_day_the_later_correction_holds(
    coach: Client, store: Store, clock: Clock, jumped: str, at: str
) -> None:
    first = advised(coach, "2026-03-09", fatigue=2)
    clock.set(jumped)
    second = advised(coach, "2026-03-09", fatigue=2, illness="fever")
    assert coach.get("/v1/athletes/a-03/advice/today").json["advice_id"] == second["advice_id"]
    assert (first["verdict"], second["verdict"]) == ("train-as-planned", "rest")
    assert decided_at(store) == ["2026-03-09T05:45", at]


def test_a_clock_that_is_a_day_behind_takes_no_check_in_of_tomorrow_and_keeps_what_it_has(
    coach: Client, store: Store, clock: Clock
) -> None:
    given = advised(coach, "2026-03-09")
    clock.set("2026-03-08T06:45:00+01:00")
    answer = coach.post(
        "/v1/check-ins", json={"athlete_id": "a-03", "date": "2026-03-09", "plan": [], "stress": 1}
    )
    assert answer.status_code == 422
    assert answer.json["errors"][0]["pointer"] == "/date"
    assert coach.get("/v1/athletes/a-03/advice/today").json["verdict"] is None
    yesterday = advised(coach, "2026-03-08")
    assert coach.get("/v1/athletes/a-03/advice/today").json["advice_id"] == yesterday["advice_id"]
    clock.set("2026-03-09T06:50:00+01:00")
    assert coach.get("/v1/athletes/a-03/advice/today").json["advice_id"] == given["advice_id"]
    assert decided_at(store) == ["2026-03-09T05:45", "2026-03-08T05:45"]


def test_a_day_that_the_clock_skipped_and_came_back_from_is_history_only_once_it_has_come(
    coach: Client, store: Store, clock: Clock
) -> None:
    clock.set("2026-03-10T06:45:00+01:00")
    advised(coach, "2026-03-10", soreness={"quadriceps": 9})
    clock.set("2026-03-09T06:45:00+01:00")
    alone = advised(coach, "2026-03-09")
    assert alone["verdict"] == "train-as-planned"
    assert len(decided_at(store)) == 2


@pytest.mark.parametrize(
    ("before", "after", "day"),
    [
        ("2026-03-29T01:59:00+01:00", "2026-03-29T03:01:00+02:00", "2026-03-29"),
        ("2026-10-25T02:59:00+02:00", "2026-10-25T02:01:00+01:00", "2026-10-25"),
    ],
    ids=["spring", "autumn"],
)
def test_when_summer_time_begins_or_ends_today_stays_today(
    coach: Client, store: Store, clock: Clock, before: str, after: str, day: str
) -> None:
    clock.set(before)
    advised(coach, day, fatigue=2)
    clock.set(after)
    second = advised(coach, day, fatigue=3)
    today = coach.get("/v1/athletes/a-03/advice/today").json
    assert (today["advice_id"], today["date"]) == (second["advice_id"], day)
    first_at, second_at = decided_at(store)
    assert first_at < second_at


JUMPS = [
    timedelta(seconds=1),
    *(timedelta(hours=hours) for hours in (1, -1, 25, -25, 9_000, -9_000)),
]
JUMPED = tries(20, 2_000)


def test_wherever_a_clock_jumps_each_day_has_its_latest_check_in(
    coach: Client, store: Store, clock: Clock
) -> None:
    """Of athletes in three time zones; what comes the day after tomorrow is refused."""
    chance = random.Random(JUMPED)
    newest: dict[tuple[str, str], str] = {}
    for _ in range(JUMPED):
        clock.now += chance.choice(JUMPS) * chance.random() * 3
        athlete = chance.choice(SQUAD)
        today = athlete.today(clock.now)
        body = {"athlete_id": athlete.id, "plan": PLAN, "sleep": {"hours": chance.uniform(4, 9)}}
        too_soon = body | {"date": (today + timedelta(days=2)).isoformat()}
        assert coach.post("/v1/check-ins", json=too_soon).status_code == 422
        answer = coach.post("/v1/check-ins", json=body | {"date": today.isoformat()})
        assert answer.status_code == 201, answer.text
        newest[athlete.id, today.isoformat()] = answer.json["advice_id"]
        for other in SQUAD:
            there = coach.get(f"/v1/athletes/{other.id}/advice/today").json
            day = other.today(clock.now).isoformat()
            assert (there["date"], there.get("advice_id")) == (day, newest.get((other.id, day)))
    audited = audit(store, RuleSetLibrary.bundled())
    assert (audited.is_clean, audited.records) == (True, JUMPED)
