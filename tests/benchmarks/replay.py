"""Subjects decided per second in columns, beside one by one.

Run from the checkout: ``python -m tests.benchmarks.replay`` (needs the extra ``benchmark``). A
subject is a day or a part of its plan. In one run, the same rules on the same facts by

- replay: columns on all cores, from the archive's file to the counts of what changed;
- columns: only the decisions, from the same file;
- query: the same decisions by DuckDB, which runs the rule set as a query on the same file;
- both, evaluator: the decider as for advice, and our own evaluator alone, on one core;
- general-purpose rule engines, each in its own language, on one core.

First it is checked on every distinct morning that all fire the same rules and come to the same
verdicts by the same deciding rules. All subjects are given to columns only; the others get the
distinct mornings again and again for some seconds.
"""

from __future__ import annotations

import argparse
import os
import random
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from itertools import cycle
from pathlib import Path
from statistics import median
from typing import TypeAlias

import duckdb
import polars as pl

from dawnrule.analytics.cross_check import decided_subjects
from dawnrule.analytics.replay import Replayed, dates_in_steps
from dawnrule.model import FactDictionary, Facts, FactValue
from dawnrule.rules.columnar import (
    ColumnDecider,
    DecidedSubject,
    MorningTable,
    PastMorning,
    PastSubject,
)
from dawnrule.rules.conditions import tests_of
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.evaluation.decision import DayDecision, day_decision, decision_of
from dawnrule.rules.query import query
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.settings import name_and_version
from tests.benchmarks.peers import PEERS
from tests.property.rule_strategies import boundary_values

DICTIONARY = FactDictionary.bundled()
FIRST_DATE = date(2020, 1, 1)
ATHLETES = 200
PARTS = (0, 1, 1, 2, 3)
REPORTED, TRUE = 0.85, 0.03
"""How often a fact is reported, and how often one that is true or false is true."""

Decide: TypeAlias = Callable[[Facts, Sequence[Facts]], DayDecision]


class Mornings:
    """Draws mornings at and beside the edges of a rule set.

    Numbers have two decimals at most: other engines hold them in other types, and would differ on
    the very next number beside an edge.
    """

    def __init__(self, rule_set: RuleSet, seed: int) -> None:
        tests = [test for rule in rule_set.rules for test in tests_of(rule.when)]
        self._values = {fact: boundary_values(fact, tests) for fact in DICTIONARY}
        self._chance = random.Random(seed)

    def draw(self) -> tuple[Facts, list[Facts]]:
        """The facts of a day, and those of its parts with the day's among them."""
        day = self._facts("day")
        parts = self._chance.choice(PARTS)
        return day, [{**day, **self._facts("part")} for _ in range(parts)]

    def _facts(self, scope: str) -> Facts:
        return {
            fact: self._value(fact)
            for fact, definition in DICTIONARY.items()
            if definition.scope == scope and self._chance.random() < REPORTED
        }

    def _value(self, fact: str) -> FactValue:
        if DICTIONARY[fact].type == "boolean":
            return self._chance.random() < TRUE
        value = self._chance.choice(self._values[fact])
        return round(value, 2) if isinstance(value, float) else value


# ---- those who decide -------------------------------------------------------------------------


def by_peer(name: str, rule_set: RuleSet) -> Decide:
    """A peer fires the rules; what follows from them is decided as ever."""
    fired_on_day = PEERS[name](rule_set.in_scope("day"))
    fired_on_part = PEERS[name](rule_set.in_scope("part"))
    order = {rule.id: place for place, rule in enumerate(rule_set.rules)}

    def decide(day: Facts, parts: Sequence[Facts]) -> DayDecision:
        of_day = fired_on_day(day)
        of_parts = [
            sorted([*of_day, *fired_on_part(part)], key=lambda rule: order[rule.id])
            for part in parts
        ]
        return day_decision(
            decision_of(of_day), [decision_of(fired) for fired in of_parts], rule_set.rules
        )

    return decide


def one_by_one(rule_set: RuleSet, with_peers: bool) -> dict[str, Decide]:
    """All that decide morning by morning."""
    decider = Decider(rule_set, DICTIONARY)
    peers = {name: by_peer(name, rule_set) for name in PEERS if with_peers}
    return {"both": decider.decide, "evaluator": decider.decide_by_evaluator, **peers}


def check_alike(
    mornings: Sequence[PastMorning], by_columns: Sequence[object], racing: Mapping[str, Decide]
) -> None:
    """Raises when anybody decides otherwise than columns, on a day or a part."""
    for morning, decided in zip(mornings, by_columns, strict=True):
        for name, decide in racing.items():
            other = decided_subjects(
                decide(morning.day.facts, [part.facts for part in morning.parts])
            )
            if other != decided:
                raise SystemExit(f"{name} differs on {morning}: {other}, columns {decided}")


# ---- the past ---------------------------------------------------------------------------------


def past_of(number: int, rule_set: RuleSet, told_by: RuleSet, seed: int) -> list[PastMorning]:
    """Distinct mornings of a squad, as a rule set told them."""
    drawn = Mornings(rule_set, seed)
    decider = Decider(told_by, DICTIONARY)
    past = []
    for position in range(number):
        day, parts = drawn.draw()
        decided = decided_subjects(decider.decide(day, parts))
        subjects = map(_as_told, decided, (day, *parts))
        who = f"a-{position % ATHLETES}"
        when = FIRST_DATE + timedelta(days=position // ATHLETES)
        first, *rest = subjects
        past.append(PastMorning(position, who, when, told_by.digest, first, tuple(rest)))
    return past


def _as_told(decided: DecidedSubject, facts: Facts) -> PastSubject:
    return PastSubject(decided.verdict, decided.rule_id, decided.fired, facts)


def repeated(mornings: Sequence[PastMorning], subjects: int) -> MorningTable:
    """At least so many subjects: the same mornings over and over, on later and later dates."""
    frame = MorningTable.of(mornings, DICTIONARY).frame.collect()
    days = -(-len(mornings) // ATHLETES)
    times = [
        frame.with_columns(
            pl.col("position") + time * len(mornings),
            pl.col("date") + pl.duration(days=time * days),
        )
        for time in range(-(-subjects // len(frame)))
    ]
    return MorningTable(pl.concat(times).lazy(), DICTIONARY)


# ---- the race ---------------------------------------------------------------------------------


def replayed(table: MorningTable, rule_set: RuleSet) -> Replayed:
    """A whole replay, as the service runs it, without a store."""
    decider = ColumnDecider(rule_set, DICTIONARY)
    return Replayed.sum(
        Replayed.of(decider.decide(table.between(dates.first, dates.last)))
        for dates in dates_in_steps(table)
    )


def decided(table: MorningTable, rule_set: RuleSet) -> None:
    """The decisions of a replay, and nothing with them."""
    decider = ColumnDecider(rule_set, DICTIONARY)
    for dates in dates_in_steps(table):
        decider.decide(table.between(dates.first, dates.last))


def decided_by_query(file: Path, rule_set: RuleSet) -> None:
    """The decisions of DuckDB, in a table in memory."""
    text = query(rule_set, DICTIONARY).sql("duckdb")
    with duckdb.connect() as database:
        database.execute(f"CREATE VIEW facts AS FROM '{file}'")
        database.execute(f"CREATE TEMPORARY TABLE decided AS {text}")


def seconds_of(work: Callable[[], object], rounds: int) -> tuple[float, float]:
    """The median time that some work takes, and that of the processors together."""
    times, of_processors = [], []
    for _ in range(rounds):
        start, used = time.perf_counter(), time.process_time()
        work()
        times.append(time.perf_counter() - start)
        of_processors.append(time.process_time() - used)
    return median(times), median(of_processors)


def row_rate(
    decide: Decide, mornings: Sequence[PastMorning], seconds: float
) -> tuple[int, float, float]:
    """How many subjects were decided in about so many seconds, in how many exactly, and in how
    many of the processor."""
    again_and_again = cycle([(m.day.facts, [part.facts for part in m.parts]) for m in mornings])
    subjects, start, used = 0, time.perf_counter(), time.process_time()
    while (taken := time.perf_counter() - start) < seconds:
        day, parts = next(again_and_again)
        decide(day, parts)
        subjects += 1 + len(parts)
    return subjects, taken, time.process_time() - used


def main() -> None:
    """Check, measure and print."""
    parser = argparse.ArgumentParser(description="Subjects decided a second.")
    parser.add_argument("--rules", default="baseline@1.1.0", metavar="NAME@VERSION")
    parser.add_argument("--told-by", default="baseline@1.0.0", metavar="NAME@VERSION")
    parser.add_argument("--subjects", type=int, default=1_000_000)
    parser.add_argument("--mornings", type=int, default=2_000, help="how many are distinct")
    parser.add_argument("--seconds", type=float, default=3.0, help="for each that is slow")
    parser.add_argument("--peers", action=argparse.BooleanOptionalAction, default=True)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    library = RuleSetLibrary.bundled()
    rule_set, told_by = (
        library.get(*name_and_version(name)) for name in (asked.rules, asked.told_by)
    )
    mornings = past_of(asked.mornings, rule_set, told_by, asked.seed)
    racing = one_by_one(rule_set, asked.peers)
    distinct = MorningTable.of(mornings, DICTIONARY)
    by_columns = list(ColumnDecider(rule_set, DICTIONARY).decide(distinct).mornings())
    check_alike(mornings, by_columns, racing)
    subjects = sum(map(len, by_columns))
    print(f"{len(rule_set.rules)} rules of {rule_set.full_name}; {os.cpu_count()} cores")
    print(f"all agree on {len(mornings)} distinct mornings, {subjects} subjects\n")

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "facts.parquet"
        with file.open("wb") as new:
            repeated(mornings, asked.subjects).write(new, {})
        with file.open("rb") as opened:
            table = MorningTable.read(opened, DICTIONARY)
        rows = sum(size for _, _, size in table.sizes())
        result = replayed(table, rule_set)
        times = {
            "replay": (rows, *seconds_of(lambda: replayed(table, rule_set), 3)),
            "columns": (rows, *seconds_of(lambda: decided(table, rule_set), 3)),
            "query": (rows, *seconds_of(lambda: decided_by_query(file, rule_set), 3)),
        }
        size = file.stat().st_size / 1e6
    times |= {name: row_rate(d, mornings, asked.seconds) for name, d in racing.items()}

    heads = f"{'seconds':>9}{'of processors':>15}{'subjects/s':>12}{'replay is':>12}"
    print(f"{'':18}{'subjects':>10}{heads}")
    fastest = rows / times["replay"][1]
    for name, (count, taken, used) in times.items():
        rate = count / taken
        row = f"{count:10,}{taken:9.2f}{used:15.2f}{rate:12,.0f}{fastest / rate:10.1f} x"
        print(f"{name:18}{row}")
    print(f"\nthe archive's file: {size:.0f} MB; {len(result.changed):,} mornings changed")


if __name__ == "__main__":
    main()
