"""Locked databases: everyone is told in time, and work goes on afterwards."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path
from threading import Event

import pytest

from dawnrule.store import Store
from dawnrule.store.connection import connect
from tests.conftest import Client
from tests.factories import EXAMPLE, SESSION
from tests.web.test_sign_in import is_signed_in, sign_in, token_of

WAIT_SECONDS = 0.3
WITHIN_SECONDS = 20
HOLD = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("BEGIN EXCLUSIVE")
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A store that waits for a lock for a short time."""
    with Store.open(tmp_path / "dawnrule.db", busy_timeout_seconds=WAIT_SECONDS) as opened:
        yield opened


@contextmanager
def held(db: Path) -> Iterator[None]:
    """Another process holds the database, for longer than anybody waits."""
    command = [sys.executable, "-c", HOLD, str(db)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        process.stdout.readline()
        yield
        process.kill()


def is_locked(db: Path) -> bool:
    """Whether somebody holds the lock without which nobody writes."""
    with closing(sqlite3.connect(db, timeout=0)) as connection:
        try:
            connection.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError:
            return True
        connection.rollback()
    return False


def test_a_locked_database_is_told_with_when_to_ask_again_and_taken_when_it_is_free(
    coach: Client, store: Store
) -> None:
    with held(store.file):
        for address, body in (("/v1/check-ins", EXAMPLE), ("/v1/sessions", SESSION)):
            refused = coach.post(address, json=body)
            assert (refused.status_code, refused.json["title"]) == (503, "The store is busy")
            assert refused.headers["Retry-After"] == "1"
    assert store.read(lambda transaction: transaction.advice.last_position()) == 0
    assert coach.post("/v1/check-ins", json=EXAMPLE).status_code == 201
    assert coach.post("/v1/sessions", json=SESSION).status_code == 201


def test_who_cannot_be_signed_out_is_told_and_stays_signed_in_until_that_is_done(
    client: Client, coach_key: str, store: Store
) -> None:
    sign_in(client, coach_key)
    form = {"csrf_token": token_of(client.get("/coach/"))}
    with held(store.file):
        refused = client.post("/coach/sign-out", data=form)
        assert (refused.status_code, refused.headers["Retry-After"]) == (503, "1")
        assert is_signed_in(client)
    assert client.post("/coach/sign-out", data=form).status_code == 303
    assert not is_signed_in(client)


def test_whoever_only_reads_does_not_notice_the_lock(coach: Client, store: Store) -> None:
    advice = coach.post("/v1/check-ins", json=EXAMPLE)
    with held(store.file):
        assert coach.get(advice.headers["Location"]).status_code == 200
        assert coach.get("/v1/athletes").status_code == 200


def test_while_the_file_is_written_anew_writing_is_told_when_to_ask_again_and_reading_goes_on(
    coach: Client, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, go_on = Event(), Event()

    def hold() -> int:
        """Called at each step: from the first on at which nobody else can write, it waits."""
        if not begun.is_set() and not is_locked(store.file):
            return 0
        begun.set()
        return not go_on.wait(WITHIN_SECONDS)

    def connect_slowly() -> sqlite3.Connection:
        connection = connect(store.file, WAIT_SECONDS)
        connection.set_progress_handler(hold, 1)
        return connection

    coach.post("/v1/check-ins", json=EXAMPLE | {"athlete_id": "a-04"})
    monkeypatch.setattr(store, "_connect", connect_slowly)
    with ThreadPoolExecutor(1) as erasing:
        erased = erasing.submit(coach.delete, "/v1/athletes/a-04")
        assert begun.wait(WITHIN_SECONDS)
        refused = coach.post("/v1/check-ins", json=EXAMPLE)
        seen = coach.get("/v1/athletes")
        go_on.set()
    assert (refused.status_code, refused.mimetype) == (503, "application/problem+json")
    assert refused.json["type"] == "/problems/store-busy"
    assert refused.headers["Retry-After"] == "1"
    assert "a-04" not in seen.text
    assert erased.result().json["wiped"] is True
    assert coach.post("/v1/check-ins", json=EXAMPLE).status_code == 201
