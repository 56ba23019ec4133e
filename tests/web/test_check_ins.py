"""Check-ins over HTTP, and the advice they are answered with."""

from __future__ import annotations

from datetime import date
from math import log
from typing import Any

import pytest

from dawnrule.store import Store
from tests.conftest import Client, Clock
from tests.factories import DAY_OFF, EXAMPLE, changed, without

ADVICE_MEMBERS = [
    "advice_id",
    "athlete_id",
    "date",
    "verdict",
    "headline",
    "rule",
    "reason",
    "caution",
    "parts",
    "notes",
    "not_reported",
    "rule_set",
    "blocks",
]
PART_MEMBERS = [
    "block",
    "goal",
    "muscle_group",
    "verdict",
    "rule",
    "reason",
    "caution",
    "opens_at",
    "opens_note",
    "would_change",
    "would_change_together",
    "alternatives",
    "also_fired",
]
GROWN_UP = {"name": "Mara", "time_zone": "Europe/Berlin", "date_of_birth": "2000-01-01"}
SHORT_NIGHT = DAY_OFF | {"sleep": {"hours": 4}}
GROWTH_TODAY = DAY_OFF | {
    "sleep": {"hours": 7},
    "plan": [{"goal": "hypertrophy", "muscle_groups": ["chest"]}],
}


def post(client: Client, check_in: dict[str, Any]) -> Any:
    return client.post("/v1/check-ins", json=check_in)


def decided(advice: Any) -> Any:
    """What an advice decides: a record keeps the words of its day, an answer has today's."""
    parts = [(part["muscle_group"], part["verdict"], part["rule"]) for part in advice["parts"]]
    return advice["advice_id"], advice["verdict"], advice["rule"], parts


def test_the_example_gets_advice_in_the_order_in_which_it_is_read(coach: Client) -> None:
    answer = post(coach, EXAMPLE)
    assert answer.status_code == 201
    advice = answer.json
    assert list(advice) == ADVICE_MEMBERS
    [part] = advice["parts"]
    assert list(part) == PART_MEMBERS
    assert list(advice["rule"]) == ["id", "title"]
    assert list(advice["rule_set"]) == ["name", "version", "digest"]
    assert advice["rule_set"]["digest"].startswith("sha256:")


def test_a_sore_muscle_with_joint_pain_is_not_trained_for_growth(coach: Client) -> None:
    advice = post(coach, EXAMPLE).json
    assert advice["verdict"] != "train-as-planned"
    assert advice["rule"] == advice["parts"][0]["rule"]
    assert len(advice["headline"]) <= 140


def test_a_sore_squatter_is_offered_other_patterns(coach: Client) -> None:
    """The description of the interface knows them too, or the client fixture would refuse them."""
    plan = [{"goal": "hypertrophy", "pattern": "squat"}]
    advice = post(coach, DAY_OFF | {"soreness": {"quadriceps": 6}, "plan": plan}).json
    quadriceps = advice["parts"][0]
    patterns = [one["pattern"] for one in quadriceps["alternatives"] if "pattern" in one]
    assert len(patterns) == 4
    assert "squat" not in patterns


def test_a_new_check_in_says_where_its_advice_is(coach: Client) -> None:
    answer = post(coach, EXAMPLE)
    location = answer.headers["Location"]
    assert location == f"/v1/advice/{answer.json['advice_id']}"
    assert decided(coach.get(location).json["advice"]) == decided(answer.json)


def test_the_same_check_in_again_changes_nothing(coach: Client, store: Store) -> None:
    first, again = post(coach, EXAMPLE), post(coach, EXAMPLE)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json == first.json
    assert again.headers["Location"] == first.headers["Location"]
    assert _revisions(store) == 1


def test_values_that_mean_the_same_are_the_same_check_in(coach: Client) -> None:
    post(coach, changed("/sleep/hours", 7))
    assert post(coach, changed("/sleep/hours", 7.0)).status_code == 200


def test_a_changed_check_in_supersedes_and_keeps_the_old(coach: Client, store: Store) -> None:
    old = post(coach, EXAMPLE).json
    new = post(coach, changed("/warning_signs", ["chest-pain"]))
    assert new.status_code == 201
    assert new.json["verdict"] == "rest"
    assert _revisions(store) == 2
    kept = coach.get(f"/v1/advice/{old['advice_id']}").json
    assert decided(kept["advice"]) == decided(old)
    assert kept["superseded_by"] == new.json["advice_id"]
    assert coach.get(f"/v1/advice/{new.json['advice_id']}").json["supersedes"] == old["advice_id"]


def test_rr_intervals_tell_the_rmssd(coach: Client) -> None:
    """Differences of 30 and -40 ms: the root of (900 + 1600) / 2, by hand (Task Force 1996)."""
    intervals = changed("/rr_intervals_ms", [800, 830, 790], of=without("hrv_rmssd_ms"))
    advice = post(coach, intervals).json
    day = coach.get(f"/v1/advice/{advice['advice_id']}").json["facts"]["day"]
    assert day["hrv_rmssd_ms"] == pytest.approx(1250**0.5)
    assert "hrv_rmssd_ms" not in advice["not_reported"]


def test_rr_intervals_of_earlier_mornings_count_as_rmssd_does(coach: Client) -> None:
    for day in range(2, 9):
        intervals = {"date": f"2026-03-0{day}", "rr_intervals_ms": [800, 850, 800]}
        assert post(coach, DAY_OFF | intervals).status_code == 201
    advice = post(coach, EXAMPLE | {"hrv_rmssd_ms": 50}).json
    day_facts = coach.get(f"/v1/advice/{advice['advice_id']}").json["facts"]["day"]
    assert day_facts["hrv_mean_7_days_ln"] == pytest.approx(log(50))


def test_a_check_in_for_yesterday_that_comes_late_counts_for_today(coach: Client) -> None:
    coach.put("/v1/athletes/a-03", json=GROWN_UP)
    for day in ("2026-03-06", "2026-03-07"):
        post(coach, SHORT_NIGHT | {"date": day})
    given = post(coach, GROWTH_TODAY).json
    late = post(coach, SHORT_NIGHT | {"date": "2026-03-08"})
    assert (late.status_code, late.json["date"]) == (201, "2026-03-08")
    today = coach.get("/v1/athletes/a-03/advice/today").json
    assert (given["verdict"], today["verdict"]) == ("train-as-planned", "swap-to-low-damage")
    record = coach.get(f"/v1/advice/{today['advice_id']}").json
    assert record["supersedes"] == given["advice_id"]
    assert record["reproduced"]
    kept = coach.get(f"/v1/advice/{given['advice_id']}").json
    assert (decided(kept["advice"]), kept["superseded_by"]) == (
        decided(given),
        today["advice_id"],
    )


def test_a_late_check_in_that_changes_nothing_leaves_today_as_it_is(coach: Client) -> None:
    given = post(coach, EXAMPLE).json
    post(coach, DAY_OFF | {"date": "2026-03-08"})
    assert coach.get("/v1/athletes/a-03/advice/today").json == given


def test_a_day_off_gets_advice_too(coach: Client) -> None:
    advice = post(coach, DAY_OFF).json
    assert advice["verdict"] == "train-as-planned"
    assert advice["parts"] == []


def test_an_unknown_athlete_is_not_created_by_a_typing_error(coach: Client, store: Store) -> None:
    answer = post(coach, changed("/athlete_id", "a-33"))
    assert answer.status_code == 404
    assert store.read(lambda transaction: transaction.athletes.get("a-33")) is None


def test_the_athletes_own_midnight_decides_which_date_is_in_the_future(
    coach: Client, clock: Clock
) -> None:
    clock.set("2026-03-09T16:00:00+00:00")  # 10 March has begun in Tokyo, not in Berlin
    tomorrow = changed("/date", "2026-03-10", of=DAY_OFF)
    assert post(coach, changed("/athlete_id", "a-04", of=tomorrow)).status_code == 201
    refused = post(coach, tomorrow)
    assert refused.status_code == 422
    [error] = refused.json["errors"]
    assert error["pointer"] == "/date"
    assert "today in Europe/Berlin" in error["detail"]


def test_a_refused_check_in_stores_nothing(coach: Client, store: Store) -> None:
    post(coach, changed("/date", "2026-03-10"))
    post(coach, changed("/soreness/chest", 11))
    assert _revisions(store) == 0


def _revisions(store: Store) -> int:
    day = date.fromisoformat(EXAMPLE["date"])
    stored = store.read(lambda transaction: transaction.check_ins.latest("a-03", day))
    return stored.revision if stored else 0
