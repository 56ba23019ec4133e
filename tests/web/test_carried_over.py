"""Warning signs that count until they are cleared, however the next check-in comes.

Common practice, no source: silence is no all-clear, and neither is a "none" on the next day.
"""

from __future__ import annotations

import time
from datetime import date
from typing import Any

import pytest

from dawnrule.i18n.catalog import Texts
from dawnrule.store import PrivateAddress, Purpose, Store, hash_token, new_token
from tests.conftest import Client, Clock

WITHIN_SECONDS = 60
OPEN = "open-heart-or-chest"
MONDAY, TUESDAY = "2026-03-09", "2026-03-10"
TUESDAY_MORNING = "2026-03-10T06:45:00+01:00"
PLAN = [{"goal": "strength", "muscle_groups": ["chest"]}]

SHEET_WITHOUT_THE_COLUMN = f"""\
athlete_id,date,sleep_hours,plan_goal,plan_muscle_groups
a-03,{TUESDAY},8,strength,chest
"""


def check_in(day: str, **reported: Any) -> dict[str, Any]:
    return {"athlete_id": "a-03", "date": day, "plan": PLAN, **reported}


def told(answer: Any) -> tuple[str, str | None]:
    advice = answer.json
    return advice["verdict"], advice["rule"] and advice["rule"]["id"]


@pytest.fixture
def tuesday(coach: Client, clock: Clock) -> None:
    """On Monday chest pain was reported, and now it is Tuesday."""
    monday = coach.post("/v1/check-ins", json=check_in(MONDAY, warning_signs=["chest-pain"]))
    assert told(monday) == ("rest", "warning-heart-or-chest")
    clock.set(TUESDAY_MORNING)


@pytest.mark.usefixtures("tuesday")
def test_a_check_in_that_leaves_the_question_open_rests_and_says_why(coach: Client) -> None:
    answer = coach.post("/v1/check-ins", json=check_in(TUESDAY, sleep={"hours": 8}))
    assert told(answer) == ("rest", OPEN)
    assert answer.json["reason"] == (
        "Reported before, and nobody has cleared it: chest pain or pressure. Until a clearance is "
        "recorded, nobody trains."
    )
    [part] = answer.json["parts"]
    assert (part["verdict"], part["would_change"]) == ("rest", [])
    assert part["opens_note"] == Texts.bundled().say("opens_after_clearance")
    answered = coach.post("/v1/check-ins", json=check_in(TUESDAY, warning_signs=[]))
    assert told(answered) == ("rest", OPEN)


@pytest.mark.usefixtures("tuesday")
def test_a_sheet_without_the_column_rests(coach: Client) -> None:
    sheet = SHEET_WITHOUT_THE_COLUMN.encode()
    answer = coach.post("/v1/check-ins/batch", data=sheet, content_type="text/csv")
    [result] = answer.json["results"]
    assert result["advice"]["rule"]["id"] == OPEN


@pytest.mark.usefixtures("tuesday")
def test_a_sheet_that_replaces_a_check_in_of_the_same_morning_clears_nothing(
    coach: Client, clock: Clock
) -> None:
    coach.post("/v1/check-ins", json=check_in(TUESDAY, warning_signs=["dark-urine"]))
    sheet = SHEET_WITHOUT_THE_COLUMN.encode()
    answer = coach.post("/v1/check-ins/batch", data=sheet, content_type="text/csv")
    [result] = answer.json["results"]
    assert result["advice"]["verdict"] == "rest"
    clock.set("2026-03-11T06:45:00+01:00")
    coach.post("/v1/check-ins", json=check_in("2026-03-11"))
    signs = [one["signs"] for one in coach.get("/v1/concerns").json["concerns"]]
    assert signs == [["chest-pain"], ["dark-urine"]]


@pytest.mark.usefixtures("tuesday")
def test_the_phone_page_rests(coach: Client, client: Client, store: Store, clock: Clock) -> None:
    token = new_token()
    address = PrivateAddress("p-01", Purpose.CHECK_IN, "a-03", "phone", clock(), None)
    store.write(lambda transaction: transaction.private_addresses.add(address, hash_token(token)))
    sent = {"date": TUESDAY, "seen": "0", "plan": "off", "fatigue": "2"}
    client.post(f"/check-in/{token}", data=sent)
    assert "nobody has cleared it: chest pain" in client.get(f"/check-in/{token}").text
    found = store.read(
        lambda transaction: transaction.advice.latest("a-03", date.fromisoformat(TUESDAY))
    )
    assert found is not None
    assert found.rule_id == OPEN


@pytest.mark.usefixtures("tuesday")
def test_the_outlook_stays_closed_before_the_check_in_of_the_day(coach: Client) -> None:
    outlook = coach.get("/v1/athletes/a-03/outlook").json
    assert not any(one["open_now"] for one in outlook["prospects"])


@pytest.mark.usefixtures("tuesday")
def test_a_replay_of_older_rules_tells_what_they_would_have_let_pass(coach: Client) -> None:
    """And one of the newest rules says again what they said."""
    coach.post("/v1/check-ins", json=check_in(TUESDAY, sleep={"hours": 8}))
    for rules, after in (("baseline@1.1.0", "train-as-planned"), ("baseline@2.0.0", "rest")):
        asked = coach.post("/v1/replays", json={"rule_set": rules, "from": TUESDAY})
        [day] = done(coach, asked.json["replay_id"])["days"]
        assert (day["before"], day["after"]) == ("rest", after)


def done(coach: Client, replay_id: str) -> dict[str, Any]:
    give_up_at = time.monotonic() + WITHIN_SECONDS
    while True:
        found: dict[str, Any] = coach.get(f"/v1/replays/{replay_id}").json
        if found["state"] == "done":
            return found
        assert time.monotonic() < give_up_at, found
        time.sleep(0.02)
