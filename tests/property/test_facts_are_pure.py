"""Purity: facts and advice depend on what is known, and on nothing else."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from datetime import timedelta
from hashlib import sha256
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnrule.advice.advisor import Advisor, Morning
from dawnrule.facts.derive import FactSource, derive_facts
from dawnrule.model.entities import CheckIn, History, Session
from dawnrule.model.serialization import from_json, to_json
from tests.effort import tries
from tests.property.athletes import WORDS, morning, without_order

SEEDS = range(tries(8, 40))

seeds = st.integers(0, 1_000_000)


def facts_of(given: Morning) -> str:
    """Derive the facts to the last bit, and the reasons why others are missing."""
    return repr(derive_facts(given.athlete, given.check_in, given.history, given.now))


def record_of(advisor: Advisor, given: Morning) -> str:
    considered = advisor.consider(given, advisor.library.all()[-1], "advice-1")
    record = considered.record(decided_at=given.now, posted_by=None, supersedes=None)
    return record.to_canonical_json()


def digest() -> str:
    """Compute the digest of the records of some mornings; printed by the test in another
    process."""
    advisor = Advisor.bundled()
    records = [record_of(advisor, morning(seed)) for seed in SEEDS]
    return sha256("\n".join(records).encode()).hexdigest()


@pytest.fixture(scope="module")
def advisor() -> Advisor:
    return Advisor.bundled()


@settings(max_examples=tries(30, 300), deadline=None)
@given(seeds, seeds)
def test_a_morning_with_another_plan_has_the_facts_of_one_that_was_planned_so(
    seed: int, other: int
) -> None:
    """Also after all was asked of the plan before."""
    given, plan = morning(seed), morning(other).check_in.plan
    source = FactSource.of(given.athlete, given.check_in, given.history, given.now)
    source.morning()
    planned_so = replace(given, check_in=replace(given.check_in, plan=plan))
    assert repr(source.with_plan(plan).morning()) == facts_of(planned_so)


@settings(max_examples=tries(30, 300), deadline=None)
@given(seeds)
def test_what_a_muscle_group_is_known_for_does_not_hang_on_which_was_asked_for_before(
    seed: int,
) -> None:
    """Though those of which nothing was told share what was derived."""
    given = morning(seed)
    known = given.athlete, given.check_in, given.history, given.now
    block, together = given.check_in.plan[0], FactSource.of(*known)
    for group in WORDS.muscle_groups:
        alone = FactSource.of(*known).facts_for(block, group, given.now)
        assert repr(together.facts_for(block, group, given.now)) == repr(alone)


@settings(max_examples=tries(30, 300), deadline=None)
@given(seeds, st.randoms(use_true_random=False))
def test_the_same_history_in_any_order_gives_the_same_facts(seed: int, order: Random) -> None:
    given = morning(seed)
    arrived = replace(given, history=without_order(given.history, order))
    assert facts_of(arrived) == facts_of(given)


@settings(max_examples=tries(12, 60), deadline=None)
@given(seeds, st.randoms(use_true_random=False))
def test_the_same_history_in_any_order_gives_the_same_record(
    advisor: Advisor, seed: int, order: Random
) -> None:
    given = morning(seed)
    arrived = replace(given, history=without_order(given.history, order))
    assert record_of(advisor, arrived) == record_of(advisor, given)


@settings(max_examples=tries(12, 60), deadline=None)
@given(seeds)
def test_facts_survive_the_way_through_plain_values(seed: int) -> None:
    """What is stored and read again says the same, though its time zones are mere offsets then."""
    given = morning(seed)
    history = History(
        tuple(from_json(CheckIn, to_json(check_in)) for check_in in given.history.check_ins),
        tuple(from_json(Session, to_json(session)) for session in given.history.sessions),
    )
    check_in = from_json(CheckIn, to_json(given.check_in))
    read_again = derive_facts(given.athlete, check_in, history, given.now)
    told = derive_facts(given.athlete, given.check_in, given.history, given.now)
    assert [part.facts for part in read_again.parts] == [part.facts for part in told.parts]
    assert read_again.day == told.day
    assert read_again.missing == told.missing


@settings(max_examples=tries(12, 60), deadline=None)
@given(seeds)
def test_the_time_of_asking_counts_only_where_no_other_time_is_known(seed: int) -> None:
    given = morning(seed)
    known = replace(given.check_in, reported_at=given.now)
    later = replace(given, check_in=known, now=given.now + timedelta(days=400))
    assert facts_of(later) == facts_of(replace(given, check_in=known))


def test_two_processes_write_the_same_bytes() -> None:
    """Sets and hashes are in another order in each process; records are not."""
    environment = os.environ | {
        "PYTHONHASHSEED": "1",
        "PYTHONPATH": os.pathsep.join(sys.path),
    }
    code = "from tests.property.test_facts_are_pure import digest; print(digest())"
    run = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    )
    assert run.stdout.strip() == digest()
