"""Decisions: the verdict that follows from the rules that fire, and the rule it is attributed
to."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from contextlib import closing
from itertools import product

import pytest

from dawnrule.errors import EngineDisagreement, EngineFailure
from dawnrule.model import FactDictionary, FactValue, Verdict
from dawnrule.rules.conditions import Operator, Test
from dawnrule.rules.evaluation.decider import DISAGREEMENT, Decider
from dawnrule.rules.evaluation.decision import Decision, day_decision, day_verdict, decision_of
from dawnrule.rules.rule_set import Rule
from tests.factories import a_rule, a_rule_set

TRAIN, SWAP, REST = Verdict
FEVER = a_rule(Test("illness", Operator.IS, "fever"), "fever", "day", REST)
TIRED = a_rule(Test("fatigue", Operator.AT_LEAST, 7), "tired", "day", SWAP)
SORE = a_rule(Test("soreness", Operator.AT_LEAST, 3), "sore", "part", SWAP)
PAIN = a_rule(Test("joint_pain", Operator.IS, True), "pain", "part", REST)
SHORT_SLEEP = a_rule(Test("sleep_hours", Operator.BELOW, 6), "short-sleep", "part", None)
RULES = (PAIN, TIRED, SHORT_SLEEP, SORE, FEVER)


@pytest.fixture
def decider() -> Iterator[Decider]:
    with closing(Decider(a_rule_set(RULES), FactDictionary.bundled())) as decider:
        yield decider


def ids(decision: Decision) -> list[str]:
    return [rule.id for rule in decision.fired]


def test_nothing_fired_means_train_as_planned_and_no_rule_tells_it() -> None:
    assert decision_of(()) == Decision(TRAIN, None, ())


def test_the_most_protective_verdict_wins_wherever_it_stands() -> None:
    assert decision_of((TIRED, SORE, FEVER)).deciding is FEVER


def test_among_rules_of_one_verdict_the_first_in_the_file_tells_it() -> None:
    assert decision_of((TIRED, SORE)).deciding is TIRED


def test_a_note_changes_no_verdict() -> None:
    assert decision_of((SHORT_SLEEP,)) == Decision(TRAIN, None, (SHORT_SLEEP,))


@pytest.mark.parametrize(
    ("day", "parts", "verdict"),
    [
        (TRAIN, [], TRAIN),
        (SWAP, [], SWAP),
        (REST, [], REST),
        (REST, [REST, REST], REST),
        (TRAIN, [REST, REST], REST),
        (SWAP, [REST, REST], REST),
        (TRAIN, [REST, TRAIN], SWAP),
        (TRAIN, [SWAP, TRAIN], SWAP),
        (TRAIN, [SWAP, SWAP], SWAP),
        (TRAIN, [TRAIN, TRAIN], TRAIN),
    ],
)
def test_a_day_rests_only_when_all_of_it_rests(
    day: Verdict, parts: list[Verdict], verdict: Verdict
) -> None:
    assert day_verdict(day, parts) is verdict


@pytest.mark.parametrize(
    ("parts", "blocks", "verdict"),
    [
        ([REST, TRAIN], [0, 0], REST),
        ([REST, SWAP], [0, 0], REST),
        ([REST, TRAIN, TRAIN], [0, 0, 1], SWAP),
        ([REST, TRAIN, TRAIN, REST], [0, 0, 1, 1], REST),
        ([SWAP, TRAIN], [0, 0], SWAP),
        ([TRAIN, TRAIN], [0, 0], TRAIN),
        ([REST, TRAIN], None, SWAP),
    ],
)
def test_a_block_is_done_or_not_and_counts_with_its_most_protective_verdict(
    parts: list[Verdict], blocks: list[int] | None, verdict: Verdict
) -> None:
    decided = day_decision(
        decision_of(()), [Decision(part, None, ()) for part in parts], RULES, blocks
    )
    assert decided.verdict is verdict


@pytest.mark.parametrize(
    ("day", "parts", "deciding"),
    [
        ((TIRED,), [(TIRED, SORE)], TIRED),
        ((), [(SORE,), (PAIN,)], PAIN),
        ((), [(SORE,), (FEVER,)], FEVER),
        ((), [(SORE,), ()], SORE),
        ((TIRED,), [(PAIN, TIRED)], PAIN),
        ((TIRED,), [], TIRED),
        ((), [(SHORT_SLEEP,)], None),
        ((), [], None),
    ],
)
def test_a_day_is_told_by_a_day_rule_else_by_its_most_protected_part(
    day: tuple[Rule, ...], parts: list[tuple[Rule, ...]], deciding: Rule | None
) -> None:
    assert day_decision(decision_of(day), list(map(decision_of, parts)), RULES).deciding is deciding


def test_of_equally_protected_parts_the_rule_first_in_the_file_tells_the_day() -> None:
    other = a_rule(SORE.when, "later-rest", "part", REST)
    parts = [decision_of((other,)), decision_of((PAIN,))]
    assert day_decision(decision_of(()), parts, (PAIN, other)).deciding is PAIN


def test_a_more_protective_verdict_on_any_subject_never_frees_the_day() -> None:
    """So what is proved of days and of parts by themselves holds for a whole morning."""
    for count in range(4):
        for day, *parts in product(Verdict, repeat=count + 1):
            for place, verdict in enumerate((day, *parts)):
                for stricter in (v for v in Verdict if v.protection > verdict.protection):
                    after = [day, *parts]
                    after[place] = stricter
                    before = day_verdict(day, parts)
                    assert day_verdict(after[0], after[1:]).protection >= before.protection


def test_a_part_is_never_less_protected_than_the_day(decider: Decider) -> None:
    decision = decider.decide({"illness": "fever"}, [{"illness": "fever", "soreness": 0}])
    assert decision.parts[0].verdict is REST
    assert decision.parts[0].deciding is FEVER


def test_what_fires_for_a_part_stands_in_the_files_order(decider: Decider) -> None:
    day: Mapping[str, FactValue] = {"fatigue": 8, "sleep_hours": 5.0}
    decision = decider.decide(day, [{**day, "soreness": 4, "joint_pain": True}])
    assert ids(decision.day) == ["tired"]
    assert ids(decision.parts[0]) == ["pain", "tired", "short-sleep", "sore"]


def test_parts_keep_the_order_that_they_were_given_in(decider: Decider) -> None:
    decision = decider.decide({}, [{"soreness": 4}, {}, {"joint_pain": True}])
    assert [part.verdict for part in decision.parts] == [SWAP, TRAIN, REST]
    assert (decision.verdict, decision.deciding) == (SWAP, PAIN)


def test_the_evaluator_alone_decides_the_same(decider: Decider) -> None:
    day: Mapping[str, FactValue] = {"fatigue": 8}
    parts = [{**day, "soreness": 4}, day]
    assert decider.decide_by_evaluator(day, parts) == decider.decide(day, parts)


def test_a_disagreement_stops_the_decision_and_is_logged_whole(
    decider: Decider, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(Decider, "fired_by_evaluator", lambda *_: (TIRED,))
    with caplog.at_level(logging.CRITICAL, "dawnrule.rules"), pytest.raises(EngineDisagreement):
        decider.decide({"illness": "fever"}, [])
    (logged,) = caplog.records
    whole = logged.__dict__[DISAGREEMENT]
    assert (whole["rule_set"], whole["rule_set_digest"]) == ("drawn@1.0.0", "sha256:drawn")
    assert (whole["engine"], whole["evaluator"]) == (["fever"], ["tired"])
    assert whole["facts"] == {"illness": "fever"}
    assert whole["facts_digest"] in logged.getMessage()
    assert "fever" not in logged.getMessage()


def test_a_closed_decider_decides_nothing_by_the_engine(decider: Decider) -> None:
    decider.close()
    with pytest.raises(EngineFailure):
        decider.decide({}, [])
