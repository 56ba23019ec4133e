"""Several processes on one database: nothing lost under load, and a loss would be found."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks.load import Update, lost
from tests.databases.make import make
from tests.effort import tries


def test_two_processes_on_one_database_lose_no_update_and_fail_nobody() -> None:
    command = [sys.executable, "-m", "tests.benchmarks.load"]
    command += ["--seconds", str(tries(2, 4)), "--clients", "16", "--processes", "2"]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    told = subprocess.run(command, capture_output=True, text=True, env=environment)
    assert told.returncode == 0, told.stdout + told.stderr


STORED: list[Update] = [("a-03", "advice-1", 4.5), ("a-03", "advice-2", 5.5)]
"""What is there for the one date on which something was corrected."""


@pytest.mark.parametrize(
    ("acknowledged", "found"),
    [
        (STORED, []),
        ([*STORED, ("a-03", "advice-9", 6.5)], ["lost: ('a-03', 'advice-9', 6.5)"]),
        (STORED[:1], ["not told: ('a-03', 'advice-2', 5.5)"]),
    ],
)
def test_a_lost_update_is_found(
    tmp_path: Path, acknowledged: list[Update], found: list[str]
) -> None:
    file = tmp_path / "squad.db"
    make(file)
    assert list(lost(file, "2026-03-10", acknowledged)) == found
