"""The writer: jobs kept apart, committed together, and answered truthfully."""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from dawnrule.errors import StoreBusy, StoreUnusable
from dawnrule.model.entities import Athlete
from dawnrule.store import Store, Transaction, writer
from tests.factories import KIM, SAM, add_check_in

Job = Callable[[Transaction], object]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "dawnrule.db"


@pytest.fixture
def store(file: Path) -> Iterator[Store]:
    with Store.open(file, busy_timeout_seconds=0.2) as store:
        yield store


@pytest.fixture
def pool() -> Iterator[ThreadPoolExecutor]:
    with ThreadPoolExecutor(8) as pool:
        yield pool


def _put(athlete: Athlete) -> Job:
    return lambda transaction: transaction.athletes.put(athlete)


def _put_and_fail(transaction: Transaction) -> None:
    transaction.athletes.put(Athlete("a-03", "Alex", "UTC"))
    raise LookupError("this job failed")


def _athletes(store: Store) -> list[Athlete]:
    return store.read(lambda transaction: transaction.athletes.all())


def _until(holds: Callable[[], bool]) -> None:
    give_up_at = time.monotonic() + 10
    while not holds():
        assert time.monotonic() < give_up_at
        time.sleep(0.001)


@contextmanager
def _writer_kept_busy(store: Store, pool: ThreadPoolExecutor) -> Iterator[None]:
    """What is written inside waits, and goes into one group at the end."""
    started, finish = threading.Event(), threading.Event()

    def job(_: Transaction) -> None:
        started.set()
        finish.wait(10)

    busy = pool.submit(store.write, job)
    started.wait(10)
    try:
        yield
    finally:
        finish.set()
    busy.result(10)


def _queued(store: Store, pool: ThreadPoolExecutor, *jobs: Job) -> list[Future[object]]:
    """Jobs that wait in just this order."""
    answers: list[Future[object]] = []
    for job in jobs:
        answers.append(pool.submit(store.write, job))
        _until(lambda: store.writes_waiting == len(answers))
    return answers


def test_a_job_gives_its_result_and_others_can_see_its_rows(store: Store, file: Path) -> None:
    assert store.write(lambda transaction: transaction.athletes.put(KIM)) is True
    with closing(sqlite3.connect(file)) as other:
        assert other.execute("SELECT id FROM athletes").fetchall() == [(KIM.id,)]


def test_a_failing_job_harms_none_of_its_neighbours(store: Store, pool: ThreadPoolExecutor) -> None:
    with _writer_kept_busy(store, pool):
        first, failing, last = _queued(store, pool, _put(KIM), _put_and_fail, _put(SAM))
    with pytest.raises(LookupError, match="this job failed"):
        failing.result(10)
    assert [first.result(10), last.result(10)] == [True, True]
    assert _athletes(store) == [KIM, SAM]


def test_those_in_front_are_answered_before_those_behind_have_their_turn(
    store: Store, pool: ThreadPoolExecutor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writer, "_GROUP_SECONDS", 0)
    finish = threading.Event()
    with _writer_kept_busy(store, pool):
        first, last = _queued(store, pool, _put(KIM), lambda _: finish.wait(10))
    assert first.result(10) is True
    assert _athletes(store) == [KIM]
    finish.set()
    assert last.result(10) is True


def test_nobody_is_answered_before_the_group_is_committed(
    store: Store, pool: ThreadPoolExecutor
) -> None:
    reached, finish = threading.Event(), threading.Event()

    def hold_the_group(transaction: Transaction) -> list[Athlete]:
        reached.set()
        finish.wait(10)
        return transaction.athletes.all()

    with _writer_kept_busy(store, pool):
        early, failing, late = _queued(store, pool, _put(KIM), _put_and_fail, hold_the_group)
    reached.wait(10)
    done_early, seen_early = early.done() or failing.done(), _athletes(store)
    finish.set()
    assert not done_early
    assert seen_early == []
    assert late.result(10) == [KIM]
    assert _athletes(store) == [KIM]


@pytest.mark.parametrize("error", [SystemExit, KeyboardInterrupt, RecursionError, MemoryError])
def test_an_error_of_any_kind_reaches_its_caller_and_leaves_the_writer_alive(
    store: Store, error: type[BaseException]
) -> None:
    def job(transaction: Transaction) -> None:
        transaction.athletes.put(SAM)
        raise error

    with pytest.raises(error):
        store.write(job)
    store.write(_put(KIM))
    assert _athletes(store) == [KIM]


def test_a_broken_constraint_is_the_jobs_own_error(store: Store) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
        store.write(lambda transaction: add_check_in(transaction, "c-1"))
    assert store.write(_put(KIM)) is True


def _fill_the_file(transaction: Transaction) -> None:
    connection = transaction.athletes.connection
    [(pages,)] = connection.execute("PRAGMA page_count")
    connection.execute(f"PRAGMA max_page_count = {pages}").fetchall()
    transaction.athletes.put(Athlete("a-03", "Alex" * 10_000, "UTC"))


def _give_room(transaction: Transaction) -> None:
    transaction.athletes.connection.execute("PRAGMA max_page_count = 1000000").fetchall()


def test_a_full_file_is_told_to_the_whole_group_and_the_store_goes_on_after(
    store: Store, pool: ThreadPoolExecutor
) -> None:
    with _writer_kept_busy(store, pool):
        answers = _queued(store, pool, _put(KIM), _fill_the_file, _put(SAM))
    for answer in answers:
        with pytest.raises(StoreUnusable, match="nothing was stored: database or disk is full"):
            answer.result(10)
    assert _athletes(store) == []
    store.write(_give_room)
    assert store.write(_put(KIM)) is True


def _hide_a_lost_transaction(transaction: Transaction) -> None:
    transaction.athletes.connection.rollback()  # as SQLite does on some disk errors
    transaction.athletes.put(SAM)


def test_a_job_that_hides_the_loss_of_the_transaction_stores_nothing(store: Store) -> None:
    with pytest.raises(StoreUnusable, match="Nothing was stored"):
        store.write(_hide_a_lost_transaction)
    assert _athletes(store) == []
    assert store.write(_put(KIM)) is True


def test_eight_threads_lose_no_update(store: Store, pool: ThreadPoolExecutor) -> None:
    store.write(_put(KIM))

    def add(number: int) -> int:
        return store.write(lambda transaction: add_check_in(transaction, f"c-{number}"))

    assert sorted(pool.map(add, range(400))) == list(range(1, 401))


def test_a_locked_database_is_busy_in_the_time_given_and_nothing_is_stored(
    store: Store, file: Path, pool: ThreadPoolExecutor
) -> None:
    with closing(sqlite3.connect(file)) as other:
        other.execute("BEGIN IMMEDIATE")
        started = time.monotonic()
        answers = [pool.submit(store.write, _put(athlete)) for athlete in (KIM, SAM)]
        for answer in answers:
            with pytest.raises(StoreBusy, match="nothing was stored"):
                answer.result(10)
        assert time.monotonic() - started < 2
    assert _athletes(store) == []
    assert store.write(_put(KIM)) is True


def test_nobody_else_writes_between_a_jobs_look_and_its_write(store: Store, file: Path) -> None:
    def look_and_let_another_try(transaction: Transaction) -> None:
        transaction.athletes.all()
        with closing(sqlite3.connect(file, timeout=0)) as other:
            other.execute("BEGIN IMMEDIATE")

    with pytest.raises(StoreBusy):
        store.write(look_and_let_another_try)


def test_a_short_lock_is_waited_for(tmp_path: Path, pool: ThreadPoolExecutor) -> None:
    file = tmp_path / "patient.db"
    with Store.open(file) as store, closing(sqlite3.connect(file)) as other:
        other.execute("BEGIN IMMEDIATE")
        answer = pool.submit(store.write, _put(KIM))
        time.sleep(0.1)
        assert not answer.done()
        other.rollback()
        assert answer.result(10) is True


def test_a_full_queue_is_busy_at_once(
    store: Store, pool: ThreadPoolExecutor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writer, "_MOST_WAITING", 1)
    with _writer_kept_busy(store, pool):
        [waiting] = _queued(store, pool, _put(KIM))
        with pytest.raises(StoreBusy, match="Too many"):
            store.write(_put(SAM))
    assert waiting.result(10) is True
    assert _athletes(store) == [KIM]


def test_closing_does_what_waits_and_takes_no_more(store: Store, pool: ThreadPoolExecutor) -> None:
    with _writer_kept_busy(store, pool):
        [waiting] = _queued(store, pool, _put(KIM))
        closing_store = pool.submit(store.close)
        _until(lambda: _refuses(store))
        assert not closing_store.done()
    assert waiting.result(10) is True
    closing_store.result(10)
    store.close()


def _refuses(store: Store) -> bool:
    try:
        store.read(lambda _: None)
    except StoreUnusable:
        return True
    return False


def test_a_closed_store_says_so(store: Store) -> None:
    store.close()
    with pytest.raises(StoreUnusable, match="closed"):
        store.write(_put(KIM))
    with pytest.raises(StoreUnusable, match="closed"):
        store.read(lambda transaction: transaction.athletes.all())


def test_a_job_that_waits_for_another_write_is_told_instead_of_hanging(store: Store) -> None:
    with pytest.raises(RuntimeError, match="must not wait for another write"):
        store.write(lambda _: store.write(_put(KIM)))


# The thread's last words are expected here: the connection was pulled away under it.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_nobody_waits_for_a_writer_that_has_stopped(store: Store, pool: ThreadPoolExecutor) -> None:
    started = threading.Event()

    def pull_the_connection_away(transaction: Transaction) -> None:
        started.set()
        _until(lambda: store.writes_waiting == 1)
        transaction.athletes.connection.close()

    last = pool.submit(store.write, pull_the_connection_away)
    started.wait(10)
    too_late = pool.submit(store.write, _put(KIM))
    with pytest.raises(StoreUnusable, match="Nothing was stored: Cannot operate on a closed"):
        last.result(10)
    with pytest.raises(StoreUnusable, match="The writer has stopped"):
        too_late.result(10)
    with pytest.raises(StoreUnusable, match="closed"):
        store.write(_put(KIM))


# Reading


def test_a_read_is_of_one_state_of_the_database(store: Store) -> None:
    def look_twice(transaction: Transaction) -> tuple[int, int]:
        before = len(transaction.athletes.all())
        store.write(_put(KIM))
        return before, len(transaction.athletes.all())

    assert store.read(look_twice) == (0, 0)
    assert _athletes(store) == [KIM]


def test_a_read_cannot_write(store: Store) -> None:
    with pytest.raises(StoreUnusable, match="readonly"):
        store.read(_put(KIM))
    assert _athletes(store) == []


def test_a_read_that_fails_raises_its_own_error_and_holds_nothing(store: Store) -> None:
    with pytest.raises(LookupError):
        store.read(_look_and_fail)
    store.write(_put(KIM))
    assert _athletes(store) == [KIM]


def _look_and_fail(transaction: Transaction) -> None:
    transaction.athletes.all()
    raise LookupError


def test_reads_go_on_while_the_writer_is_busy(store: Store, pool: ThreadPoolExecutor) -> None:
    with _writer_kept_busy(store, pool):
        assert list(pool.map(_athletes, [store] * 20)) == [[]] * 20


def test_a_read_that_outlives_the_store_still_ends_well(store: Store) -> None:
    def close_and_look(transaction: Transaction) -> list[Athlete]:
        store.close()
        return transaction.athletes.all()

    assert store.read(close_and_look) == []
