"""Counts of a replay, step by step and in all."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import pytest

from dawnrule.analytics import replay
from dawnrule.analytics.replay import (
    AthleteCount,
    Dates,
    Replayed,
    RuleCount,
    VerdictCount,
    dates_in_steps,
)
from dawnrule.model import Verdict
from dawnrule.model.serialization import from_json_text, to_json
from dawnrule.rules.columnar import ChangedMorning, ColumnDecider, MorningTable, PastMorning
from dawnrule.rules.conditions import Operator, Test
from tests.factories import DAY, KIM, ONE_DAY, SAM, a_rule, a_rule_set, past_morning, past_subject
from tests.property.rule_strategies import DICTIONARY

TRAIN, SWAP, REST = Verdict

NOW = a_rule_set([a_rule(Test("fatigue", Operator.AT_LEAST, 7), "tired", "day", SWAP)])

LESS = past_morning(
    0, past_subject({"fatigue": 8}, REST, "worn-out"), past_subject({"fatigue": 8}, REST, "sore")
)
SAME = past_morning(1, past_subject({"fatigue": 6}))
MORE = replace(past_morning(2, past_subject({"fatigue": 7})), athlete_id=SAM.id)


def replayed(*mornings: PastMorning) -> Replayed:
    table = MorningTable.of(mornings, DICTIONARY)
    return Replayed.of(ColumnDecider(NOW, DICTIONARY).decide(table))


def steps(*mornings: PastMorning) -> list[Dates]:
    return list(dates_in_steps(MorningTable.of(mornings, DICTIONARY)))


def day(number: int) -> date:
    return DAY + number * ONE_DAY


def test_a_replay_counts_what_changes_by_verdict_rule_and_athlete() -> None:
    result = replayed(LESS, SAME, MORE)
    assert (result.mornings, result.decisions) == (3, 4)
    assert set(result.days) == {
        VerdictCount(REST, SWAP, 1),
        VerdictCount(TRAIN, TRAIN, 1),
        VerdictCount(TRAIN, SWAP, 1),
    }
    assert result.parts == (VerdictCount(REST, SWAP, 1),)
    assert result.fired == (RuleCount("tired", 2),)
    assert result.decided_before == (RuleCount(None, 2), RuleCount("worn-out", 1))
    assert result.decided_now == (RuleCount("tired", 2), RuleCount(None, 1))
    assert set(result.athletes) == {
        AthleteCount(KIM.id, "less", 1),
        AthleteCount(KIM.id, "same", 1),
        AthleteCount(SAM.id, "more", 1),
    }
    assert result.changed == (
        ChangedMorning(KIM.id, day(0), REST, SWAP, "worn-out", "tired", 1),
        ChangedMorning(SAM.id, day(2), TRAIN, SWAP, None, "tired", 0),
    )


def test_the_results_of_steps_add_up_to_that_of_the_whole() -> None:
    assert Replayed.sum(map(replayed, (LESS, SAME, MORE))) == replayed(LESS, SAME, MORE)


def test_a_replay_without_a_step_has_counted_nothing() -> None:
    assert replace(replayed(), fired=()) == Replayed.sum([])
    assert replayed().fired == (RuleCount("tired", 0),)


def test_a_result_comes_back_from_json_as_it_was() -> None:
    result = replayed(LESS, SAME, MORE)
    assert from_json_text(Replayed, json.dumps(to_json(result))) == result


def test_counts_say_what_they_are_by_the_greatest_first() -> None:
    assert to_json(replayed(LESS, SAME, MORE))["decided_before"] == [
        {"rule": None, "count": 2},
        {"rule": "worn-out", "count": 1},
    ]


@pytest.mark.parametrize(
    ("together", "found"),
    [
        (1, [(0, 0, 1), (1, 1, 1), (2, 2, 1)]),
        (3, [(0, 1, 2), (2, 2, 1)]),
        (4, [(0, 2, 3)]),
        (100, [(0, 2, 3)]),
    ],
)
def test_a_step_takes_whole_dates_until_it_has_enough(
    together: int, found: list[tuple[int, int, int]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(replay, "SUBJECTS_IN_A_STEP", together)
    assert steps(LESS, SAME, MORE) == [Dates(day(a), day(b), size) for a, b, size in found]


def test_no_mornings_make_no_step() -> None:
    assert steps() == []
