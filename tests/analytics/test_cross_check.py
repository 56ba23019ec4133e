"""Columns against the engine on every stored morning, and differences that must show."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.analytics import replay
from dawnrule.analytics.archive import Archive
from dawnrule.analytics.cross_check import compare, decided_by_engine
from dawnrule.rules.columnar import DecidedSubject, MorningTable, PastSubject
from dawnrule.store import Store
from tests.factories import FIRST_BASELINE, deciding_baseline

MORNINGS_OF_THE_DEMO = 14 * 28


@pytest.fixture
def demo_mornings(demo_database: Path) -> Iterator[MorningTable]:
    with Store.open(demo_database) as store:
        yield Archive(store).mornings()


def test_columns_and_engine_agree_on_every_stored_morning_of_the_demo(
    advisor: Advisor, demo_mornings: MorningTable
) -> None:
    rule_set = deciding_baseline()
    found = compare(demo_mornings, rule_set, advisor.library.decider(rule_set))
    assert found.mornings == MORNINGS_OF_THE_DEMO
    assert found.decisions > 2 * found.mornings
    assert found.differences == ()


def test_the_rule_set_that_told_them_decides_as_the_ledger_says(
    advisor: Advisor, demo_mornings: MorningTable
) -> None:
    decider = advisor.library.decider(FIRST_BASELINE)
    for morning in demo_mornings.mornings():
        told = tuple(map(without_facts, (morning.day, *morning.parts)))
        assert decided_by_engine(decider, morning) == told


def without_facts(subject: PastSubject) -> DecidedSubject:
    return DecidedSubject(subject.verdict, subject.rule_id, subject.fired)


def test_a_difference_is_noticed_and_named(
    advisor: Advisor, demo_mornings: MorningTable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The engine has a rule more than the columns."""
    monkeypatch.setattr(replay, "SUBJECTS_IN_A_STEP", 200)
    told: list[tuple[int, int]] = []
    rules = tuple(rule for rule in FIRST_BASELINE.rules if rule.id != "lifting-breath")
    found = compare(
        demo_mornings,
        replace(FIRST_BASELINE, rules=rules),
        advisor.library.decider(FIRST_BASELINE),
        lambda done, of: told.append((done, of)),
    )
    assert len(told) > 1
    assert told[-1] == (MORNINGS_OF_THE_DEMO, MORNINGS_OF_THE_DEMO)
    by_engine = {rule for one in found.differences for s in one.by_engine for rule in s.fired}
    by_columns = {rule for one in found.differences for s in one.by_columns for rule in s.fired}
    assert by_engine - by_columns == {"lifting-breath"}
