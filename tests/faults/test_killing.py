"""A killed service: acknowledged data is there, and a loss would be found."""

from __future__ import annotations

import os
import re
import socket
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from tests.effort import tries
from tests.faults.killing import CheckedIn, Client, Promised, wrong_with

TIMES = tries(3, 12)


def test_the_service_killed_under_load_keeps_all_that_it_acknowledged() -> None:
    command = [sys.executable, "-m", "tests.faults.killing", "--times", str(TIMES)]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    told = subprocess.run(command, capture_output=True, text=True, env=environment)
    assert told.returncode == 0, told.stdout + told.stderr
    assert f"killed {TIMES} times under load" in told.stdout
    assert re.search(r": [1-9]\d* check-ins, ", told.stdout)


def test_a_client_that_is_cut_off_again_and_again_goes_on_with_its_athletes() -> None:
    """Nobody answers here: each of its requests is cut off."""
    client = Client(0, seed=0)
    there = [athlete.id for athlete in client.squad()]
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    for _ in range(200):
        client.work(port)
    assert [athlete.id for athlete in client.squad()] == there


KEPT = CheckedIn("a-03", "advice-0", "train-as-planned", 7.5)


def change(db: Path, statement: str) -> None:
    """Change a row past all triggers and references."""
    with closing(sqlite3.connect(db)) as connection, connection:
        triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        for (name,) in triggers.fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(statement)


def test_nothing_is_wrong_with_what_was_kept(db: Path) -> None:
    assert wrong_with(db, [Promised(check_ins=[KEPT], sessions=[("a-03", "session-1")])]) == []


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("DELETE FROM advice WHERE id = 'advice-3'", "a check-in without advice"),
        ("DELETE FROM check_ins WHERE id = 'check-in-3'", "foreign_key_check"),
        (
            "DELETE FROM advice_entries WHERE position IN"
            " (SELECT max(position) FROM advice_entries)",
            "advice without an entry",
        ),
        ("UPDATE advice SET supersedes = NULL", "advice for one date in two lines"),
        ("UPDATE advice SET verdict = 'rest' WHERE id = 'advice-0'", "was acknowledged; there is"),
        ("UPDATE ledger SET at = '' WHERE position = 2", "audit: entry 2"),
        ("DELETE FROM sessions", "the session session-1 of a-03 was acknowledged"),
    ],
)
def test_what_is_lost_or_there_by_halves_is_found(db: Path, statement: str, said: str) -> None:
    change(db, statement)
    found = wrong_with(db, [Promised(check_ins=[KEPT], sessions=[("a-03", "session-1")])])
    assert any(said in one for one in found), found


def test_who_was_erased_and_is_there_is_found(db: Path) -> None:
    assert wrong_with(db, [Promised(erased={"a-04"})]) == ["a-04 was erased, and is there"]
