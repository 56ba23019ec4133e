"""``dawnrule recovery``: how long soreness lasts for an athlete."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest

from dawnrule.cli import recovery as command
from dawnrule.model.entities import Session
from dawnrule.store import Store, StoredSession
from tests.cli.terminal import typed
from tests.factories import GROWTH, KIM, NOW


@pytest.fixture
def db(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Kim did growth work on the quadriceps yesterday."""
    monkeypatch.setattr(command, "now", lambda: NOW)
    began = NOW - timedelta(hours=24)
    done = StoredSession("s-1", Session(KIM.id, began, 60, (GROWTH,)), NOW, None)
    with Store.open(tmp_path / "squad.db") as store:
        store.write(lambda transaction: transaction.athletes.put(KIM))
        store.write(lambda transaction: transaction.sessions.add(done))
    return tmp_path / "squad.db"


def test_a_page_to_read_says_what_is_known_and_what_it_rests_on(db: Path) -> None:
    result = typed("recovery", "--athlete", KIM.id, "--db", db)
    assert result.exit_code == 0
    line, note = result.stdout.splitlines()
    assert line.startswith("Quadriceps: people in studies are under 3 after about ")
    assert "The rules still decide" in note


def test_json_holds_all_that_the_interface_tells(db: Path) -> None:
    words = ("--for", "force", "--format", "json")
    told = json.loads(typed("recovery", "--athlete", KIM.id, "--db", db, *words).stdout)
    [group] = told["muscle_groups"]
    assert (told["for"], told["low_under"], group["basis"]) == ("force", 5, "published")


def test_nobody_unknown_is_told_of(db: Path) -> None:
    result = typed("recovery", "--athlete", "a-99", "--db", db)
    assert result.exit_code == 2
    assert "There is no athlete 'a-99'." in result.stderr


def test_no_rules_are_proposed_on_little_evidence(db: Path) -> None:
    result = typed("recovery", "--athlete", KIM.id, "--rules", "--db", db)
    assert result.exit_code == 1
    assert "Nothing is proposed" in result.stderr
