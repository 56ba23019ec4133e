"""Advice on files of many rows by several processes, which are forked for few rows here."""

from __future__ import annotations

import errno
import io
import multiprocessing
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib import import_module
from multiprocessing.context import ForkProcess
from pathlib import Path
from typing import Any, NoReturn

import pytest

from dawnrule.application.batches import submit_each
from dawnrule.cli import row_advice
from tests.cli.terminal import typed

WITHIN_SECONDS = 60

command = import_module("dawnrule.cli.advise")  # the module, not its command

HEADER = "athlete_id,date,sleep_hours,fatigue,soreness_quadriceps,plan_goal,plan_muscle_groups"
MORNINGS = [
    f"a-{athlete},2026-03-{day:02},{8 - athlete % 4},{fatigue},{athlete % 9},hypertrophy,quadriceps"
    for day, fatigue in ((9, "3"), (10, "eleven"), (11, "6"))
    for athlete in range(8)
]
SHEET = "\n".join([HEADER, *MORNINGS])


@pytest.fixture(autouse=True)
def forks_for_few_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(row_advice, "ROWS_WORTH_A_PROCESS", 5)
    monkeypatch.setattr(row_advice, "cores", lambda: 2)


@pytest.fixture
def submits(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[..., Any]], None]:
    """Puts something in the place of what a process does."""
    return lambda job: monkeypatch.setattr(row_advice, "submit_each", job)


@pytest.mark.parametrize("form", ["csv", "text"])
def test_several_processes_answer_with_the_same_bytes_as_one(form: str) -> None:
    options = ("advise", "-", "--format", form, "--language", "de", "--processes")
    one, two = (typed(*options, number, given=SHEET.encode()) for number in ("1", "2"))
    assert "eleven" in one.stderr
    assert (two.stdout, two.stderr, two.exit_code) == (one.stdout, one.stderr, one.exit_code)


def test_a_process_that_ends_before_it_is_done_is_told(submits: Any) -> None:
    def end(*_: object, **__: object) -> NoReturn:
        os._exit(9)

    submits(end)
    told = typed("advise", "-", "--processes", "2", given=SHEET.encode())
    assert told.exit_code == 1
    assert "nothing was written. Try again with --processes 1" in told.stderr
    assert not multiprocessing.active_children()


def test_a_process_that_cannot_be_forked_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def start(process: ForkProcess) -> None:
        if multiprocessing.active_children():
            raise BlockingIOError(errno.EAGAIN, "too many processes")
        started(process)

    started = ForkProcess.start
    monkeypatch.setattr(ForkProcess, "start", start)
    told = typed("advise", "-", "--processes", "2", given=SHEET.encode())
    assert told.exit_code == 1
    assert "Try again with --processes 1" in told.stderr
    assert not multiprocessing.active_children()


def test_ctrl_c_ends_all_processes(submits: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def linger(store: Any, rows: Any, *given: Any, **options: Any) -> Any:
        if all(getattr(row.entry, "athlete_id", None) != "a-0" for row in rows):
            time.sleep(3600)
        return submit_each(store, rows, *given, **options)

    @contextmanager
    def pressed(_: int) -> Iterator[Callable[[int], NoReturn]]:
        def press_ctrl_c(_: int) -> NoReturn:
            raise KeyboardInterrupt

        yield press_ctrl_c

    submits(linger)
    monkeypatch.setattr(command, "_shown", pressed)
    told = typed("advise", "-", "--processes", "2", given=SHEET.encode())
    assert (told.stdout, told.exit_code) == ("", 1)
    assert "Aborted!" in told.stderr
    assert not multiprocessing.active_children()


def test_when_told_to_end_it_leaves_neither_processes_nor_files(tmp_path: Path) -> None:
    rows = "".join(f"a-{n % 1000},2026-03-{9 + n // 1000},7\n" for n in range(2000))
    (tmp_path / "squad.csv").write_text(f"athlete_id,date,sleep_hours\n{rows}", encoding="utf-8")
    folder = tmp_path / "temporary"
    folder.mkdir()
    dawnrule = (sys.executable, "-m", "dawnrule", "advise", str(tmp_path / "squad.csv"))
    environment = {**os.environ, "TMPDIR": str(folder)}
    with subprocess.Popen(
        (*dawnrule, "--processes", "2"),
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        while not list(folder.glob("dawnrule-*/*.db")) and process.poll() is None:
            time.sleep(0.01)
        process.terminate()
        stdout, stderr = process.communicate(timeout=WITHIN_SECONDS)
    assert (stdout, process.returncode) == ("", 1)
    assert "Aborted!" in stderr
    assert list(folder.iterdir()) == []


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("stderr", "shown"), [(Terminal(), "100%"), (io.StringIO(), "")])
def test_how_far_it_is_is_shown_on_a_terminal_alone(
    stderr: io.StringIO, shown: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stderr", stderr)
    with command._shown(5000) as progress:
        progress(5000)
    assert shown in stderr.getvalue()
    assert bool(stderr.getvalue()) is bool(shown)
