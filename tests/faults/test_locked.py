"""When another process holds the database: is everyone told in time, and does it go on after?"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from dawnrule.store import Store
from tests.api.samples import EXAMPLE, SESSION
from tests.conftest import Client

WAIT_SECONDS = 0.3
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


def test_a_locked_database_is_told_with_when_to_ask_again_and_taken_when_it_is_free(
    coach: Client, store: Store
) -> None:
    with held(store.file):
        for address, body in (("/v1/check-ins", EXAMPLE), ("/v1/sessions", SESSION)):
            refused = coach.post(address, json=body)
            assert (refused.status_code, refused.json["title"]) == (503, "The store is busy")
            assert refused.headers["Retry-After"] == "1"
    assert store.read(lambda books: books.advice.last_position()) == 0
    assert coach.post("/v1/check-ins", json=EXAMPLE).status_code == 201
    assert coach.post("/v1/sessions", json=SESSION).status_code == 201


def test_whoever_only_reads_does_not_notice_the_lock(coach: Client, store: Store) -> None:
    advice = coach.post("/v1/check-ins", json=EXAMPLE)
    with held(store.file):
        assert coach.get(advice.headers["Location"]).status_code == 200
        assert coach.get("/v1/athletes").status_code == 200
