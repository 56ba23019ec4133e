"""``dawnrule targets``: the weeks before a competition."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from dawnrule.cli import targets as command
from dawnrule.model.entities import Competition, Session
from dawnrule.store import Store, StoredSession
from tests.cli.terminal import typed
from tests.factories import GROWTH, KIM, NOW

COMPETITION = date(2026, 3, 21)
"""A Saturday, in the second week from ``NOW`` on."""


@pytest.fixture
def db(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Kim trained once in the last four weeks."""
    monkeypatch.setattr(command, "now", lambda: NOW)
    done = replace(GROWTH, sets=10)
    session = Session(KIM.id, NOW - timedelta(days=3), 90, (done,))
    with Store.open(tmp_path / "squad.db") as store:
        store.write(lambda transaction: transaction.athletes.put(KIM))
        store.write(
            lambda transaction: transaction.sessions.add(StoredSession("s-1", session, NOW, None))
        )
    return tmp_path / "squad.db"


def compete(db: Path) -> None:
    entered = replace(KIM, competitions=(Competition(COMPETITION, "main"),))
    with Store.open(db) as store:
        store.write(lambda transaction: transaction.athletes.put(entered))


def test_a_page_to_read_says_what_each_week_is_when_it_begins_and_on_what_it_rests(
    db: Path,
) -> None:
    compete(db)
    assert (
        typed("targets", "--athlete", KIM.id, "--db", db).stdout
        == """\
Next main competition: Sat 21 March.
Each week begins on Sun and ends on Sat, the weekday of the competition.
Usual week: 10 hard sets, 0 landing minutes, 90 minutes in all.
Sun 8 March to Sat 14 March: taper, 70 % of the usual week: 7 hard sets, 0 landing minutes, \
63 minutes in all.
Sun 15 March to Sat 21 March: taper, 50 % of the usual week: 5 hard sets, 0 landing minutes, \
45 minutes in all.
Source of taper: Bosquet 2007, Med Sci Sports Exerc 39(8):1358-1365 (from memory); the split is \
house.
Targets are no rule: each morning the rules decide.
"""
    )


def test_json_holds_all_that_the_interface_tells(db: Path) -> None:
    compete(db)
    told = json.loads(typed("targets", "--athlete", KIM.id, "--format", "json", "--db", db).stdout)
    week = told["weeks"][-1]
    assert (week["from"], week["to"], week["percent"]) == ("2026-03-15", "2026-03-21", 50)


def test_without_a_competition_it_says_how_to_add_one(db: Path) -> None:
    result = typed("targets", "--athlete", KIM.id, "--db", db)
    assert result.exit_code == 0
    assert "--competition" in result.stdout
    assert len(result.stdout.splitlines()) == 1


def test_nobody_unknown_is_told_of(db: Path) -> None:
    result = typed("targets", "--athlete", "a-99", "--db", db)
    assert result.exit_code == 2
    assert "There is no athlete 'a-99'." in result.stderr
