"""A rule set as a query: it decides in databases as the service does."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest
import sqlglot
from sqlglot import exp

from dawnrule.analytics.cross_check import decided_by_engine
from dawnrule.model import Facts, FactValue, Scope, Verdict
from dawnrule.rules import conditions
from dawnrule.rules.columnar import DecidedSubject, PastMorning
from dawnrule.rules.conditions import Operator, Test, none_of
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.query import Dialect, column_of, create_table, facts_of_query, query
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from tests.effort import tries
from tests.factories import DAY, FIRST_BASELINE, a_rule, a_rule_set, past_morning, past_subject
from tests.property.rule_strategies import DICTIONARY, boundary_values
from tests.rules.warehouses import Decided, Postgres, by_duckdb

MORNINGS = tries(300, 100_000)
"""Of all bundled rule sets together."""

REPORTED, TRUE = (0.03, 0.2, 0.8), 0.04
"""How often a fact is reported on some mornings or others, and how often one that is true or false
is true."""

TRAIN, SWAP, REST = Verdict


@pytest.fixture(scope="module")
def postgres() -> Iterator[Postgres]:
    with Postgres.started() as server:
        yield server


def mornings_at_the_edges(rule_set: RuleSet, number: int, seed: int) -> Iterator[PastMorning]:
    """Draw mornings whose facts are at a threshold, next to one, at an end of the range, or not
    reported."""
    chance = random.Random(seed)
    tests = [test for rule in rule_set.rules for test in conditions.tests_of(rule.when)]
    values = {fact: boundary_values(fact, tests) for fact in facts_of_query(rule_set)}

    def value(fact: str) -> FactValue:
        if DICTIONARY[fact].type == "boolean":
            return chance.random() < TRUE
        return chance.choice(values[fact])

    def facts(scope: Scope, reported: float) -> Facts:
        read = (fact for fact in values if DICTIONARY[fact].scope == scope)
        return {fact: value(fact) for fact in read if chance.random() < reported}

    for position in range(number):
        reported = chance.choice(REPORTED)
        day = facts("day", reported)
        blocks = sorted(chance.choices(range(2), k=chance.choice((0, 1, 1, 2, 3))))
        parts = [
            replace(past_subject({**day, **facts("part", reported)}), block=block)
            for block in blocks
        ]
        yield PastMorning(position, f"a-{position}", DAY, "", past_subject(day), tuple(parts))


def by_engine(mornings: Sequence[PastMorning], rule_set: RuleSet) -> Decided:
    """Decide by both evaluations, which must agree."""
    with closing(Decider(rule_set, DICTIONARY)) as decider:
        return {
            (morning.athlete_id, None if part < 0 else part): decided
            for morning in mornings
            for part, decided in enumerate(decided_by_engine(decider, morning), start=-1)
        }


def test_databases_decide_as_both_evaluations_do(
    postgres: Postgres, tmp_path: Path, subtests: pytest.Subtests
) -> None:
    rule_sets = RuleSetLibrary.bundled().all()
    for number, rule_set in enumerate(rule_sets):
        mornings = list(mornings_at_the_edges(rule_set, MORNINGS // len(rule_sets), number))
        decided = by_engine(mornings, rule_set)
        assert {one.verdict for one in decided.values()} == set(Verdict)
        with subtests.test(rule_set=rule_set.full_name, database="embedded"):
            assert _differences(by_duckdb(mornings, rule_set, tmp_path), decided) == {}
        with subtests.test(rule_set=rule_set.full_name, database="server"):
            assert _differences(postgres.decided(mornings, rule_set), decided) == {}


def test_a_fact_that_was_not_reported_holds_for_nothing_but_its_absence(tmp_path: Path) -> None:
    rule_set = a_rule_set(
        [
            a_rule(Test("fatigue", Operator.AT_MOST, 10), "any", "day", SWAP),
            a_rule(none_of(Test("fatigue", Operator.AT_MOST, 10)), "none", "day", None),
            a_rule(Test("fatigue", Operator.REPORTED, False), "unknown", "day", REST),
        ]
    )
    morning = past_morning(1, past_subject({}))
    [decided] = by_duckdb([morning], rule_set, tmp_path).values()
    assert decided == DecidedSubject(REST, "unknown", ("none", "unknown"))


@pytest.mark.parametrize("dialect", get_args(Dialect))
def test_each_dialect_has_a_query_of_plain_names_that_its_parser_takes(dialect: Dialect) -> None:
    written = query(FIRST_BASELINE, DICTIONARY, "club.facts").sql(dialect)
    [read] = sqlglot.parse(written, dialect)
    assert isinstance(read, exp.Select)
    assert read.named_selects[6:] == [column_of(rule) for rule in FIRST_BASELINE.rules]
    assert not any(name.quoted for name in read.find_all(exp.Identifier))


@pytest.mark.parametrize("dialect", get_args(Dialect))
def test_each_dialect_has_a_statement_that_makes_the_table_and_its_parser_takes(
    dialect: Dialect,
) -> None:
    [rule_set] = [
        one for one in RuleSetLibrary.bundled().all() if one.full_name == "baseline@2.0.0"
    ]
    written = create_table(rule_set, DICTIONARY, "club.facts", {"goal": "of a */ part"})
    [read] = sqlglot.parse(written.sql(dialect, pretty=True), dialect)
    assert isinstance(read, exp.Create)
    names = [column.name for column in read.find_all(exp.ColumnDef)]
    assert names[:6] == ["athlete_id", "date", "part", "block", "muscle_group", "goal"]
    assert sorted(names[4:]) == sorted(facts_of_query(rule_set))
    assert not any(name.quoted for name in read.find_all(exp.Identifier))


def test_no_column_is_longer_than_a_database_keeps() -> None:
    longest = a_rule(Test("fatigue", Operator.AT_LEAST, 7), "a" * 60, "day", SWAP)
    assert len(column_of(longest)) <= 63


def _differences(found: Decided, expected: Decided) -> dict[object, object]:
    assert found.keys() == expected.keys()
    return {key: (found[key], one) for key, one in expected.items() if found[key] != one}
