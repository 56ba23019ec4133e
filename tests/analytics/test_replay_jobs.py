"""Replay jobs: stopped, resumed, and right whatever happens meanwhile."""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from functools import partial
from typing import Any

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.analytics import archive as archive_module
from dawnrule.analytics import replay as replay_module
from dawnrule.analytics.archive import Archive
from dawnrule.analytics.replay import Replayed
from dawnrule.analytics.replay_jobs import Listener, ReplayJobs, ReplayRunner, result_of
from dawnrule.application.athletes import erase
from dawnrule.errors import Conflict, InvalidInput, NotFound
from dawnrule.model import Verdict
from dawnrule.rules.columnar import ColumnDecider
from dawnrule.rules.conditions import Operator, Test
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import ReplayState, Store, StoredReplay, Transaction
from tests.conftest import Clock
from tests.factories import (
    DAY,
    FIRST_BASELINE,
    KIM,
    LATER,
    ONE_DAY,
    SAM,
    a_rule,
    a_rule_set,
    post_check_in,
)

STRICT = a_rule_set([a_rule(Test("soreness", Operator.AT_LEAST, 2), "sore", verdict=Verdict.SWAP)])
DAYS = 6
RUNNING, STOPPED, FAILED, DONE = (
    ReplayState.RUNNING,
    ReplayState.STOPPED,
    ReplayState.FAILED,
    ReplayState.DONE,
)


@pytest.fixture(autouse=True)
def a_step_for_each_date(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(replay_module, "SUBJECTS_IN_A_STEP", 1)


@pytest.fixture(autouse=True)
def past(store: Store, advisor: Advisor) -> None:
    """Six mornings of Kim's, a little sorer each, and one of Sam's on the second date."""
    for number in range(DAYS):
        post_check_in(store, advisor, KIM, DAY + number * ONE_DAY, soreness=number)
    post_check_in(store, advisor, SAM, DAY + ONE_DAY)


@pytest.fixture
def runner(store: Store, clock: Clock) -> ReplayRunner:
    return ReplayRunner(store, Archive(store), clock)


@pytest.fixture
def jobs(runner: ReplayRunner, advisor: Advisor, new_id: Callable[[], str]) -> Iterator[ReplayJobs]:
    jobs = ReplayJobs(runner, advisor.library, new_id)
    yield jobs
    jobs.close()


def asked(runner: ReplayRunner, rule_set: RuleSet = STRICT) -> str:
    runner.request("r-1", rule_set, None, None)
    return "r-1"


def stored(runner: ReplayRunner, replay_id: str = "r-1") -> StoredReplay:
    found = runner.store.read(lambda transaction: transaction.replays.get(replay_id))
    assert found is not None
    return found


def result(runner: ReplayRunner, replay_id: str = "r-1") -> Replayed:
    return runner.store.read(lambda transaction: result_of(transaction, replay_id))


def at(mornings: int, act: Callable[[], object]) -> Listener:
    """Acts once when so many mornings are decided."""

    def deciding(done: int, of: int) -> None:
        if done == mornings:
            act()

    return Listener(deciding=deciding)


def interrupt() -> None:
    raise KeyboardInterrupt


def whole(runner: ReplayRunner, rule_set: RuleSet = STRICT) -> Replayed:
    """What a replay finds that nothing interrupts."""
    runner.request("whole", rule_set, None, None)
    runner.run("whole", rule_set)
    return result(runner, "whole")


def test_a_replay_runs_through_all_dates_and_is_done(runner: ReplayRunner) -> None:
    told: list[tuple[int, int]] = []
    runner.run(asked(runner), STRICT, Listener(deciding=lambda done, of: told.append((done, of))))
    assert told == [(1, 7), (3, 7), (4, 7), (5, 7), (6, 7), (7, 7)]
    replay = stored(runner)
    assert (replay.state, replay.mornings, replay.mornings_done) == (DONE, 7, 7)
    assert replay.done_through == DAY + 5 * ONE_DAY
    table = Archive(runner.store).mornings()
    assert result(runner) == Replayed.of(ColumnDecider(STRICT, table.dictionary).decide(table))


def test_a_replay_looks_only_at_the_dates_asked_for(runner: ReplayRunner) -> None:
    runner.request("r-1", STRICT, DAY + ONE_DAY, DAY + 2 * ONE_DAY)
    runner.run("r-1", STRICT)
    assert (stored(runner).state, result(runner).mornings) == (DONE, 3)


def test_a_replay_that_an_erasure_deletes_as_it_begins_ends_without_a_word(
    runner: ReplayRunner, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = ReplayRunner._write

    def take_and_erase(self: ReplayRunner, job: Callable[[Transaction], Any]) -> Any:
        taken = write(self, job)
        erase(self.store, SAM.id, by="k-01", at=LATER)
        return taken

    replay_id = asked(runner)
    monkeypatch.setattr(ReplayRunner, "_write", take_and_erase)
    runner.run(replay_id, STRICT)
    assert runner.store.read(lambda transaction: transaction.replays.newest()) == []


@pytest.mark.parametrize("decided", [3, 7])
def test_a_replay_waits_while_others_write_for_long(
    store: Store, clock: Clock, decided: int
) -> None:
    """Longer than the store itself waits, in the middle of a replay or at its end."""
    with (
        Store.open(store.file, busy_timeout_seconds=0.02) as impatient,
        closing(sqlite3.connect(store.file, check_same_thread=False)) as other,
    ):
        runner = ReplayRunner(impatient, Archive(impatient), clock)
        letting_go = threading.Timer(0.3, other.rollback)

        def lock() -> None:
            other.execute("BEGIN IMMEDIATE")
            letting_go.start()

        runner.run(asked(runner), STRICT, at(decided, lock))
        letting_go.join()
        assert (stored(runner).state, result(runner).mornings) == (DONE, 7)


def test_the_rule_set_that_gave_the_advice_changes_nothing(runner: ReplayRunner) -> None:
    runner.run(asked(runner, FIRST_BASELINE), FIRST_BASELINE)
    found = result(runner)
    assert found.changed == ()
    assert found.decided_before == found.decided_now


def test_advice_is_what_it_was_after_a_replay(runner: ReplayRunner) -> None:
    def ledger() -> object:
        return runner.store.read(lambda transaction: transaction.advice.after(0, 100))

    before = ledger()
    runner.run(asked(runner), STRICT)
    assert ledger() == before


def test_ctrl_c_keeps_what_is_done_and_the_rest_can_be_done_later(runner: ReplayRunner) -> None:
    asked(runner)
    with pytest.raises(KeyboardInterrupt):
        runner.run("r-1", STRICT, at(4, interrupt))
    assert (stored(runner).state, result(runner).mornings) == (STOPPED, 4)

    again = runner.requeue_unfinished(STRICT, None, None)
    assert again is not None
    told: list[tuple[int, int]] = []
    runner.run(again.id, STRICT, Listener(deciding=lambda done, of: told.append((done, of))))
    assert told == [(5, 7), (6, 7), (7, 7)]
    assert stored(runner).state == DONE
    assert result(runner) == whole(runner)


@pytest.mark.parametrize("differs", ["rule set", "dates", "nothing, but it is done"])
def test_only_the_same_replay_is_gone_on_with(runner: ReplayRunner, differs: str) -> None:
    asked(runner)
    rule_set = replace(STRICT, digest="sha256:other") if differs == "rule set" else STRICT
    first = DAY if differs == "dates" else None
    if differs == "nothing, but it is done":
        runner.run("r-1", STRICT)
    assert runner.requeue_unfinished(rule_set, first, None) is None


def test_a_replay_that_is_stopped_from_elsewhere_ends_at_its_next_step(
    runner: ReplayRunner,
) -> None:
    elsewhere = at(
        4, lambda: runner.store.write(lambda transaction: transaction.replays.stop("r-1", LATER))
    )
    runner.run(asked(runner), STRICT, elsewhere)
    assert (stored(runner).state, result(runner).mornings) == (STOPPED, 4)


def test_a_replay_can_be_stopped_while_the_ledger_is_read(
    runner: ReplayRunner, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(archive_module, "READ_TOGETHER", 2)
    told: list[int] = []

    def stop(done: int, of: int) -> None:
        told.append(done)
        runner.store.write(lambda transaction: transaction.replays.stop("r-1", LATER))

    runner.run(asked(runner), STRICT, Listener(reading=stop))
    assert (stored(runner).state, result(runner).mornings) == (STOPPED, 0)
    assert told == [2]


def test_a_run_that_another_took_over_from_adds_nothing_more(runner: ReplayRunner) -> None:
    def take_over() -> None:
        runner.store.write(lambda transaction: transaction.replays.requeue("r-1", LATER))
        runner.store.write(lambda transaction: transaction.replays.take("r-1", LATER))

    runner.run(asked(runner), STRICT, at(3, take_over))
    assert (stored(runner).state, result(runner).mornings) == (RUNNING, 3)


def test_a_run_that_was_overtaken_does_not_spoil_the_result(runner: ReplayRunner) -> None:
    def overtake() -> None:
        runner.store.write(lambda transaction: transaction.replays.requeue("r-1", LATER))
        runner.run("r-1", STRICT)

    runner.run(asked(runner), STRICT, at(3, overtake))
    assert stored(runner).state == DONE
    assert result(runner) == whole(runner)


def test_a_replay_that_fails_says_why_and_can_be_tried_again(runner: ReplayRunner) -> None:
    def refuse() -> None:
        raise Conflict("It is not to be.")

    asked(runner)
    with pytest.raises(Conflict):
        runner.run("r-1", STRICT, at(3, refuse))
    assert (stored(runner).state, stored(runner).problem) == (FAILED, "It is not to be.")

    assert runner.requeue_unfinished(STRICT, None, None) is not None
    runner.run("r-1", STRICT)
    assert (stored(runner).state, stored(runner).problem) == (DONE, None)
    assert result(runner) == whole(runner)


def test_an_error_that_nobody_foresaw_does_not_leave_a_replay_running(
    runner: ReplayRunner,
) -> None:
    def stumble() -> None:
        raise ZeroDivisionError

    asked(runner)
    with pytest.raises(ZeroDivisionError):
        runner.run("r-1", STRICT, at(3, stumble))
    assert stored(runner).state == FAILED
    assert "unexpected" in (stored(runner).problem or "")


def test_an_archive_deleted_meanwhile_disturbs_no_replay(runner: ReplayRunner) -> None:
    runner.run(asked(runner), STRICT, at(3, runner.archive.delete))
    assert stored(runner).state == DONE
    assert result(runner) == whole(runner)


def test_when_a_person_is_erased_no_replay_remembers_them(runner: ReplayRunner) -> None:
    whole(runner)
    erasing = partial(erase, runner.store, KIM.id, by="k-01", at=LATER)
    runner.run(asked(runner), STRICT, at(3, erasing))
    assert runner.store.read(lambda transaction: transaction.replays.newest()) == []
    with pytest.raises(NotFound, match="when a person is erased, all are"):
        result(runner)
    assert whole(runner).mornings == 1


def test_dates_in_the_wrong_order_are_refused(runner: ReplayRunner) -> None:
    with pytest.raises(InvalidInput, match="would end on 2026-03-09, before it begins"):
        runner.request("r-1", STRICT, DAY + ONE_DAY, DAY)


def waited_for(jobs: ReplayJobs, replay_id: str) -> StoredReplay:
    """Where a replay stands once the thread has nothing left to do."""
    jobs._thread.submit(lambda: None).result(timeout=30)
    return jobs.status(replay_id)


def test_a_replay_in_the_background_is_asked_for_watched_and_read(
    jobs: ReplayJobs, runner: ReplayRunner
) -> None:
    replay_id = jobs.start(FIRST_BASELINE, DAY, None, "k-01")
    done = waited_for(jobs, replay_id)
    assert (done.state, done.rule_set, done.asked_by) == (DONE, "baseline@1.0.0", "k-01")
    assert jobs.result(replay_id) == whole(runner, FIRST_BASELINE)
    assert [replay.id for replay in jobs.newest()] == ["whole", replay_id]


class Gate:
    """Holds the background thread until it is opened."""

    def __init__(self, jobs: ReplayJobs) -> None:
        self._opened = threading.Event()
        jobs._thread.submit(self._opened.wait, 30)

    def open(self) -> None:
        self._opened.set()


def test_a_replay_that_waits_can_be_cancelled_and_gone_on_with(
    jobs: ReplayJobs, runner: ReplayRunner
) -> None:
    gate = Gate(jobs)
    replay_id = jobs.start(FIRST_BASELINE)
    assert jobs.status(replay_id).state == ReplayState.WAITING
    assert jobs.cancel(replay_id).state == STOPPED
    gate.open()
    assert waited_for(jobs, replay_id).mornings_done == 0

    jobs.resume(replay_id)
    assert waited_for(jobs, replay_id).state == DONE
    assert jobs.result(replay_id) == whole(runner, FIRST_BASELINE)


def test_a_replay_left_running_by_a_process_that_is_gone_can_be_gone_on_with(
    jobs: ReplayJobs, runner: ReplayRunner
) -> None:
    asked(runner, FIRST_BASELINE)
    runner.store.write(lambda transaction: transaction.replays.take("r-1", LATER))
    assert jobs.status("r-1").state == RUNNING
    jobs.resume("r-1")
    assert waited_for(jobs, "r-1").state == DONE


def test_a_replay_that_is_done_is_not_done_again(jobs: ReplayJobs) -> None:
    replay_id = jobs.start(FIRST_BASELINE)
    waited_for(jobs, replay_id)
    with pytest.raises(Conflict, match="is done"):
        jobs.resume(replay_id)
    assert jobs.cancel(replay_id).state == DONE


def test_a_replay_by_a_rule_set_that_is_not_in_the_library_cannot_be_gone_on_with(
    jobs: ReplayJobs, runner: ReplayRunner
) -> None:
    asked(runner)
    with pytest.raises(NotFound, match="no rule set with the digest"):
        jobs.resume("r-1")


def test_a_replay_that_is_not_there_is_not_found(jobs: ReplayJobs) -> None:
    for ask in (jobs.status, jobs.cancel, jobs.resume, jobs.result):
        with pytest.raises(NotFound, match="There is no replay 'r-9'"):
            ask("r-9")


def test_closing_stops_the_replays_that_wait(jobs: ReplayJobs) -> None:
    gate = Gate(jobs)
    replay_id = jobs.start(FIRST_BASELINE)
    with ThreadPoolExecutor(1) as pool:
        closing = pool.submit(jobs.close)
        give_up_at = time.monotonic() + 30
        while jobs.status(replay_id).state == ReplayState.WAITING:
            assert time.monotonic() < give_up_at
        gate.open()
        closing.result(30)
    assert jobs.status(replay_id).state == STOPPED


def test_a_failure_in_the_background_is_logged_and_kept(
    jobs: ReplayJobs, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(*_: object) -> None:
        raise Conflict("It is not to be.")

    monkeypatch.setattr(Archive, "mornings", fail)
    replay_id = jobs.start(FIRST_BASELINE)
    assert waited_for(jobs, replay_id).problem == "It is not to be."
    assert "failed" in caplog.text


def test_only_the_newest_replays_are_kept(
    runner: ReplayRunner, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dawnrule.store.tables.replays.KEPT_AT_MOST", 2)
    for number in range(3):
        runner.request(f"r-{number}", STRICT, None, None)
    newest = runner.store.read(lambda transaction: transaction.replays.newest())
    assert [replay.id for replay in newest] == ["r-2", "r-1"]
