"""Back-ups, restores, erasures and migrations killed at some of their system calls, or at some
moments where the calls cannot be seen; and that what is left by halves is noticed."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest

from tests.effort import tries
from tests.faults.club import environment
from tests.faults.killed_at_each_call import (
    SCENES,
    Scene,
    killed_after,
    killed_again_and_again,
)

PLACES = tries(2, 40)


def test_wherever_these_are_killed_it_is_as_before_or_as_afterwards() -> None:
    deeds = list(SCENES)
    command = [sys.executable, "-m", "tests.faults.killed_at_each_call", "--places", str(PLACES)]
    told = subprocess.run([*command, *deeds], capture_output=True, text=True, env=environment())
    assert told.returncode == 0, told.stdout + told.stderr
    assert [line.partition(":")[0] for line in told.stdout.split("\n") if ": killed" in line] == (
        deeds
    )


TEXT = "written in two halves"


def _write_in_halves(folder: Path) -> None:
    with (folder / "file").open("wb", buffering=0) as file:
        file.write(TEXT[:10].encode())
        time.sleep(0.1)
        file.write(TEXT[10:].encode())


def _is_half(folder: Path) -> Iterator[str]:
    file = folder / "file"
    if file.exists() and file.read_text() not in ("", TEXT):
        yield "half of it is there"


@pytest.mark.parametrize("are_calls_seen", [True, False])
def test_what_is_left_by_halves_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, are_calls_seen: bool
) -> None:
    if not are_calls_seen:
        monkeypatch.setattr("shutil.which", lambda name: None)
    scene = Scene(lambda folder: None, _write_in_halves, _is_half)
    found = killed_again_and_again(scene, tmp_path, 10, seed=1)
    assert found.kills
    assert any(fault.endswith("half of it is there") for fault in found.faults)


def test_a_deed_is_killed_when_its_time_has_come() -> None:
    assert killed_after(partial(time.sleep, 60), 0.01)
