"""Evaluations: a dry run of the rules, of which nothing is stored."""

from __future__ import annotations

from typing import Any

import pytest

from dawnrule.store import Store
from tests.conftest import Client
from tests.factories import DAY_OFF, EXAMPLE, changed

SOON_AGAIN = {"goal": "hypertrophy", "muscle_group": "quadriceps", "hours_since_growth_work": 30}


def ask(client: Client, **question: Any) -> Any:
    return client.post("/v1/evaluations", json=question)


def test_a_dry_run_says_what_advice_would(coach: Client) -> None:
    dry = ask(coach, check_in=EXAMPLE).json
    advice = coach.post("/v1/check-ins", json=EXAMPLE).json
    assert dry["advice"] == advice | {"advice_id": None}
    assert (dry["verdict"], dry["rule"]) == (advice["verdict"], advice["rule"])
    assert dry["facts"]["day"]["sleep_hours"] == 6.5


def test_a_dry_run_stores_nothing(coach: Client, store: Store) -> None:
    ask(coach, check_in=EXAMPLE)
    assert coach.get("/v1/athletes/a-03/advice/today").json["verdict"] is None


def test_somebody_who_is_not_there_can_be_assumed(coach: Client) -> None:
    stranger = changed("/athlete_id", "nobody")
    assert ask(coach, check_in=stranger).status_code == 404
    assumed = ask(coach, check_in=stranger, athlete={"time_zone": "Europe/Berlin"})
    assert assumed.status_code == 200
    assert assumed.json["advice"]["athlete_id"] == "nobody"


@pytest.mark.parametrize(
    ("day", "part", "verdict", "rule"),
    [
        ({}, SOON_AGAIN, "swap-to-low-damage", "growth-work-too-soon"),
        ({}, SOON_AGAIN | {"goal": "strength"}, "train-as-planned", None),
        ({"chest_pain": True}, SOON_AGAIN, "rest", "warning-heart-or-chest"),
    ],
    ids=["30 h after growth work", "the same as strength", "the same with chest pain"],
)
def test_facts_alone_are_enough(
    coach: Client, day: Any, part: Any, verdict: str, rule: str | None
) -> None:
    found = ask(coach, facts={"day": day, "parts": [part]}).json
    assert found["verdict"] == found["parts"][0]["verdict"] == verdict
    assert found["rule"] is None if rule is None else found["rule"]["id"] == rule
    assert found["advice"] is None


def test_a_rule_set_can_be_named(coach: Client) -> None:
    found = ask(coach, check_in=DAY_OFF, rule_set="baseline@1.0.0").json
    assert (found["rule_set"]["name"], found["rule_set"]["version"]) == ("baseline", "1.0.0")


@pytest.mark.parametrize("name", ["baseline", "baseline@9.9.9", "other@1.0.0", "@"])
def test_a_rule_set_that_is_not_there_gets_404(coach: Client, name: str) -> None:
    answer = ask(coach, check_in=DAY_OFF, rule_set=name)
    assert answer.status_code == 404
    assert "baseline@1.0.0" in answer.json["detail"]


@pytest.mark.parametrize(
    ("question", "pointer"),
    [
        ({}, ""),
        ({"check_in": DAY_OFF, "facts": {}}, ""),
        ({"facts": {}, "athlete": {"time_zone": "UTC"}}, "/athlete"),
        ({"check_in": changed("/fatigue", 11)}, "/check_in/fatigue"),
        ({"facts": {"day": {"slep_hours": 7}}}, "/facts/day/slep_hours"),
        ({"facts": {"day": {"goal": "strength"}}}, "/facts/day/goal"),
        ({"facts": {"day": {"sleep_hours": "7"}}}, "/facts/day/sleep_hours"),
        ({"facts": {"day": {"chest_pain": 1}}}, "/facts/day/chest_pain"),
        ({"facts": {"parts": [{"goal": "strenth"}]}}, "/facts/parts/0/goal"),
        ({"facts": {"parts": {}}}, "/facts/parts"),
        ({"facts": []}, "/facts"),
    ],
)
def test_a_question_that_cannot_be_meant_is_refused(
    coach: Client, question: Any, pointer: str
) -> None:
    answer = ask(coach, **question)
    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json["errors"]] == [pointer]


def test_a_dry_run_refuses_what_cannot_be_true(coach: Client) -> None:
    assert ask(coach, check_in=changed("/date", "2026-03-10")).status_code == 422
