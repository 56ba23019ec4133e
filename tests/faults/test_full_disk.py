"""Full disks: refused requests store nothing, and work goes on afterwards.

That a disk is full takes a small file system, and making one takes root. So the limit is put on
files instead, which anybody may: on how long the process may make them (the system then refuses
the write), and on how many pages SQLite may use (which it tells as it tells a full disk).
"""

from __future__ import annotations

import logging
import resource
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from dawnrule.application.backups import back_up
from dawnrule.errors import StoreUnusable
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.store import Store, Transaction
from dawnrule.web.observability import DisagreementFile
from tests.conftest import Client
from tests.factories import EXAMPLE, SESSION

Full = Callable[[Store], AbstractContextManager[None]]


@contextmanager
def no_longer_files(store: Store) -> Iterator[None]:
    """The system refuses to make any file longer than the database's longest is."""
    longest = max(file.stat().st_size for file in store.file.parent.iterdir())
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (longest, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@contextmanager
def no_more_pages(store: Store) -> Iterator[None]:
    """SQLite may use no more pages than it does."""
    store.write(lambda transaction: pages(transaction, 1))
    try:
        yield
    finally:
        store.write(lambda transaction: pages(transaction, 1_000_000))


def pages(transaction: Transaction, at_most: int) -> None:
    transaction.keys.connection.execute(f"PRAGMA max_page_count = {at_most}")


def counted(store: Store) -> list[int]:
    """How many check-ins, advices, entries and sessions there are, for whoever looks anew."""
    tables = ("check_ins", "advice", "ledger", "sessions")
    with closing(sqlite3.connect(store.file)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return [connection.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in tables]


def post_until_refused(coach: Client, address: str, body: dict[str, Any], number: str) -> Any:
    """The first answer that is no yes; each time another of a number is posted."""
    for tenths in range(100):
        answer = coach.post(address, json=body | {number: tenths / 10})
        if answer.status_code not in (200, 201):
            return answer
    raise AssertionError("the disk never was full")


full = pytest.mark.parametrize("full", [no_longer_files, no_more_pages])


@full
def test_on_a_full_disk_a_check_in_is_refused_whole_and_taken_when_there_is_room(
    coach: Client, store: Store, full: Full
) -> None:
    with full(store):
        answer = post_until_refused(coach, "/v1/check-ins", EXAMPLE, "stress")
        assert (answer.status_code, answer.json["type"]) == (503, "/problems/store-unusable")
        check_ins, advices, *_ = counted(store)
        assert coach.get("/v1/athletes").status_code == 200
    assert check_ins == advices
    assert coach.post("/v1/check-ins", json=EXAMPLE | {"fatigue": 9}).status_code == 201
    after, *_ = counted(store)
    assert after == check_ins + 1


@full
def test_on_a_full_disk_a_session_is_refused_whole_and_taken_when_there_is_room(
    coach: Client, store: Store, full: Full
) -> None:
    with full(store):
        answer = post_until_refused(coach, "/v1/sessions", SESSION, "rpe")
        assert (answer.status_code, answer.json["type"]) == (503, "/problems/store-unusable")
        *_, before = counted(store)
    assert coach.post("/v1/sessions", json=SESSION | {"minutes": 71}).status_code == 201
    *_, after = counted(store)
    assert after == before + 1


def test_on_a_full_disk_a_back_up_is_refused_and_leaves_nothing_behind(
    coach: Client, store: Store, tmp_path: Path
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE)
    folder = tmp_path / "kept"
    folder.mkdir()
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (8192, limits[1]))
    try:
        with pytest.raises(StoreUnusable):
            back_up(store.file, folder, datetime(2026, 3, 9, tzinfo=UTC))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert list(folder.iterdir()) == []


@pytest.fixture
def nowhere_to_keep(tmp_path: Path) -> Iterator[None]:
    """Disagreements would be kept in a folder that is not there: as on a full disk, it fails."""
    handler = DisagreementFile(tmp_path / "gone" / "disagreements.jsonl")
    logger = logging.getLogger("dawnrule.rules")
    logger.addHandler(handler)
    yield
    logger.removeHandler(handler)


@pytest.mark.usefixtures("nowhere_to_keep")
def test_a_disagreement_that_cannot_be_kept_is_a_disagreement_all_the_same(
    coach: Client, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(Decider, "fired_by_evaluator", lambda *_: ())
    answer = coach.post("/v1/check-ins", json=EXAMPLE)
    assert (answer.status_code, answer.json["type"]) == (500, "/problems/engine-disagreement")
    assert "could not be kept: No such file or directory" in caplog.text
