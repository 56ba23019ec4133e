"""Answers that carry over while a stop question stays unanswered."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from dawnrule.model import FactDictionary, Vocabulary
from dawnrule.model.entities import Block, CheckIn, History, Pain
from tests.factories import GROWTH, STRENGTH, facts, morning, part_of

DICTIONARY = FactDictionary.bundled()
LEFT_OPEN = {name for name in DICTIONARY if "left_open" in name}
KNEE = Pain("left knee", "joint", ("quadriceps",))
ELSEWHERE = Pain("somewhere", "other", ())
WRIST = Pain("right wrist", "joint", ("forearms",))

Before = Mapping[int, dict[str, Any]]

SIGN = {"warning_signs": ("chest-pain",)}
ILL = {"illness": "fever"}
HURT = {"pain": (KNEE,)}
CLEARED = {"warning_signs": (), "illness": "none", "pain": ()}


def earlier(before: Before) -> History:
    """The check-ins of earlier mornings, by how many days ago."""
    return History(tuple(morning(days, **reported) for days, reported in before.items()))


def open_on(check_in: CheckIn, history: History) -> dict[str, Any]:
    """What is told as left open, of the day and of the part of the quadriceps."""
    told = part_of(check_in, history).facts
    return {name: value for name, value in told.items() if name in LEFT_OPEN}


def left_open(before: Before, **reported: Any) -> dict[str, Any]:
    return open_on(morning(0, GROWTH, **reported), earlier(before))


@pytest.mark.parametrize(
    ("reported", "told"),
    [
        (SIGN, {"warning_sign_left_open": "chest-pain", "warning_sign_left_open_days": 1}),
        (ILL, {"illness_left_open": "fever", "illness_left_open_days": 1}),
        (HURT, {"pain_left_open": "joint", "pain_left_open_days": 1}),
    ],
)
def test_what_was_reported_yesterday_counts_until_it_is_answered(
    reported: dict[str, Any], told: dict[str, Any]
) -> None:
    assert left_open({1: reported}) == told
    answer = {question: CLEARED[question] for question in reported}
    assert left_open({1: reported}, **answer) == {}
    assert left_open({1: answer, 2: reported}) == {}
    days = {name: 3 if name.endswith("_days") else value for name, value in told.items()}
    assert left_open({1: {}, 2: {}, 3: reported}) == days


@pytest.mark.parametrize("answer", [SIGN, ILL, HURT, {"illness": "above-neck"}])
def test_what_this_morning_answers_is_not_left_open(answer: dict[str, Any]) -> None:
    everything = SIGN | ILL | HURT
    told = left_open({1: everything}, **answer)
    others = left_open({1: {q: a for q, a in everything.items() if q not in answer}})
    assert told == others


@pytest.mark.parametrize(
    ("reported", "fact"),
    [
        (SIGN, "warning_sign_left_open"),
        (ILL, "illness_left_open"),
        (HURT, "pain_left_open"),
    ],
)
def test_the_window_of_what_is_left_open_stands_in_the_dictionary(
    reported: dict[str, Any], fact: str
) -> None:
    days = DICTIONARY[fact].parameters["days"]
    assert fact in left_open({days: reported})
    assert left_open({days + 1: reported}) == {}
    days_ago = left_open({days: reported})[f"{fact}_days"]
    assert DICTIONARY[f"{fact}_days"].greatest == days_ago == days


@pytest.mark.parametrize("first", range(len(Vocabulary.bundled().warning_signs) - 1))
def test_of_several_warning_signs_the_most_urgent_is_told(first: int) -> None:
    signs = Vocabulary.bundled().warning_signs
    reported = {"warning_signs": signs[: first - 1 if first else None : -1]}
    assert left_open({1: reported})["warning_sign_left_open"] == signs[first]


def test_pain_that_was_left_open_counts_for_the_parts_that_it_counted_for() -> None:
    chest = Block("strength", ("chest",))
    told = facts(morning(0, STRENGTH, chest), earlier({1: HURT}))
    assert [part.facts.get("pain_left_open") for part in told.parts] == ["joint", None]
    assert told.day["pain_left_open_days"] == 1
    assert "pain_left_open" not in told.day


def test_of_several_pains_of_a_part_one_that_rests_it_is_told() -> None:
    assert left_open({1: {"pain": (ELSEWHERE, KNEE)}})["pain_left_open"] == "joint"
    assert left_open({1: {"pain": (ELSEWHERE, WRIST)}})["pain_left_open"] == "other"


def test_a_check_in_that_was_followed_by_one_of_its_date_is_not_forgotten() -> None:
    """A phone reports a sign; then a sheet without that column takes the place of the check-in."""
    replaced = morning(0, GROWTH, **SIGN)
    told = open_on(morning(0, GROWTH), History(last_answers=(replaced,)))
    assert told == {"warning_sign_left_open": "chest-pain", "warning_sign_left_open_days": 0}
    yesterday = History((morning(1),), last_answers=(morning(1, **SIGN),))
    assert open_on(morning(0, GROWTH), yesterday)["warning_sign_left_open_days"] == 1


def test_of_the_check_ins_of_one_date_the_one_that_came_last_counts() -> None:
    signs, none = morning(0, **SIGN), morning(0, warning_signs=())
    assert open_on(morning(0, GROWTH), History(last_answers=(signs, none))) == {}
    assert open_on(morning(0, GROWTH), History(last_answers=(none, signs))) != {}
    answered = History((morning(1, warning_signs=()),), last_answers=(morning(1, **SIGN),))
    assert open_on(morning(0, GROWTH), answered) == {}


def test_how_many_questions_were_answered_is_counted() -> None:
    def answered(**reported: Any) -> Any:
        return facts(morning(0, **reported)).day["questions_answered"]

    assert answered() == answered(fatigue=3, resting_hr_bpm=50) == 0
    for reported in (SIGN, ILL, HURT, {"soreness": {"calves": 0}}, {"pain": ()}):
        assert answered(**reported) == 1
    assert answered(**CLEARED, soreness={"calves": 0}) == 4
