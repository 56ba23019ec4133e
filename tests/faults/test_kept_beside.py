"""Files beside the database: the service goes on without them and rebuilds them."""

from __future__ import annotations

import os
import shutil
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import monotonic, sleep

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.analytics.archive import Archive
from dawnrule.analytics.archive_file import ENDING
from dawnrule.application.backups import back_up, backups_of
from dawnrule.rules.analysis import sandbox
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.settings import Settings
from dawnrule.store import Store
from dawnrule.web.backup_schedule import Backups
from dawnrule.web.observability import Metrics
from tests.conftest import Client
from tests.factories import CLUB, DAY, EXAMPLE, KIM, ONE_DAY, post_check_in

NOW = datetime(2026, 3, 9, 6, tzinfo=UTC)
HERE_WITHIN_SECONDS = 60


@pytest.mark.parametrize("left", [0, 4, 0.5, 0.99])
def test_an_archive_that_was_cut_short_is_made_anew(
    store: Store, advisor: Advisor, left: float
) -> None:
    post_check_in(store, advisor, KIM, DAY)
    archive = Archive(store)
    archive.mornings()
    file = store.file.with_name(store.file.name + ENDING)
    os.truncate(file, int(left if left >= 1 else left * file.stat().st_size))
    post_check_in(store, advisor, KIM, DAY + ONE_DAY)
    assert len(list(archive.mornings().mornings())) == 2


@contextmanager
def backing_up(store: Store, folder: Path) -> Iterator[tuple[Backups, Metrics]]:
    metrics = Metrics(store)
    settings = Settings(backup_folder=folder, backup_every_hours=6)
    try:
        yield Backups(store.file, settings, metrics, lambda: NOW), metrics
    finally:
        metrics.close()


def failed(metrics: Metrics) -> float | None:
    return metrics.registry.get_sample_value("dawnrule_backups_failed_total")


def test_a_back_up_folder_that_is_gone_is_told_and_used_again_when_it_is_back(
    store: Store, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    folder = tmp_path / "kept"
    folder.mkdir()
    with backing_up(store, folder) as (backups, metrics):
        shutil.rmtree(folder)
        assert not backups.make_if_due()
        assert failed(metrics) == 1
        assert "no back-up could be made" in caplog.text
        folder.mkdir()
        assert backups.make_if_due()
    assert len(backups_of(store.file, folder)) == 1


def test_a_back_up_of_a_clock_that_ran_ahead_keeps_none_from_being_made(
    store: Store, tmp_path: Path
) -> None:
    ahead = back_up(store.file, tmp_path, NOW + timedelta(days=365))
    with backing_up(store, tmp_path) as (backups, _):
        assert backups.make_if_due()
    made = back_up(store.file, tmp_path, NOW, keep=1)
    assert made.exists()
    assert not ahead.exists()


@pytest.mark.parametrize("time", ["20269999T999999.999Z", "aaaaaaaaTbbbbbb.cccZ"])
def test_a_stray_file_among_the_back_ups_is_none_of_them(
    store: Store, tmp_path: Path, time: str
) -> None:
    stray = tmp_path / f"dawnrule-{time}.db"
    stray.touch()
    made = back_up(store.file, tmp_path, NOW, keep=1)
    assert backups_of(store.file, tmp_path) == [made]
    with backing_up(store, tmp_path) as (backups, _):
        assert not backups.make_if_due()
    assert stray.exists()


def test_a_trial_that_is_killed_refuses_its_rule_set_and_check_ins_go_on(
    coach: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    killed = f"import os; os.kill(os.getpid(), {signal.SIGKILL:d})"
    monkeypatch.setattr(sandbox, "SANDBOX_COMMAND", (sys.executable, "-c", killed))
    refused = coach.post("/v1/rule-sets", data=CLUB.encode(), content_type="application/yaml")
    assert refused.status_code == 422
    assert "the trial was ended by signal 9 (Killed)" in refused.text
    assert coach.get("/v1/rule-sets/club/1.0.0").status_code == 404
    assert coach.post("/v1/check-ins", json=EXAMPLE).status_code == 201


def test_two_evaluations_that_differ_give_no_advice_and_store_nothing(
    coach: Client, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as differing:
        differing.setattr(Decider, "fired_by_evaluator", lambda *_: ())
        refused = coach.post("/v1/check-ins", json=EXAMPLE)
    assert (refused.status_code, refused.json["type"]) == (500, "/problems/engine-disagreement")
    assert store.read(lambda transaction: transaction.advice.last_position()) == 0
    assert store.read(lambda transaction: transaction.check_ins.latest("a-03", DAY)) is None
    assert coach.post("/v1/check-ins", json=EXAMPLE).status_code == 201


TOLD_TO_END = """#!/bin/sh
trap 'echo told >> "$0.told"; sleep 0.3; exit 1' INT
echo here > "$0.here"
while true; do sleep 0.05; done
"""


def test_a_back_up_that_is_given_up_is_told_once_and_left_to_tidy_up(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    command = tmp_path / "command"
    command.write_text(TOLD_TO_END)
    command.chmod(0o700)
    monkeypatch.setattr(sys, "executable", str(command))
    with backing_up(store, tmp_path) as (backups, metrics):
        backups.start()
        give_up_at = monotonic() + HERE_WITHIN_SECONDS
        while not command.with_name("command.here").exists():
            assert monotonic() < give_up_at
            sleep(0.01)
        backups.close()
        assert command.with_name("command.told").read_text() == "told\n"
        assert failed(metrics) == 0


def test_a_back_up_that_cannot_even_be_started_is_told_and_counted(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(sys, "executable", str(tmp_path / "nowhere"))
    with backing_up(store, tmp_path) as (backups, metrics):
        assert not backups.make_if_due()
        assert failed(metrics) == 1
    assert "no back-up could be made: No such file or directory" in caplog.text
