"""``dawnrule outlook``: what opens when."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from dawnrule.advice.outlook import (
    LocalProspect,
    Movement,
    Need,
    OutlookReport,
    outlook_text,
)
from dawnrule.cli import outlook as command
from dawnrule.model.entities import Block, CheckIn, Session
from dawnrule.model.serialization import to_json
from dawnrule.store import Store, StoredCheckIn, StoredSession
from tests.cli.terminal import typed
from tests.factories import BERLIN, KIM, NOW, bundled_advisor

OPENS = datetime(2026, 3, 10, 18, tzinfo=BERLIN)

SHOWN = """\
Outlook for Kim over 3 days from 2026-03-09 06:40 (Europe/Berlin)

That is not known.

Chest: ready for everything but growth work; ready again at 2026-03-10 18:00 for growth work
Quadriceps: no growth work and strength until what speaks against it is cleared
Adductors: ready for everything
Glutes: needs soreness below 3 for growth work; ready again later than this for strength
Calves: needs soreness below 3 from 2026-03-10 18:00 on for growth work

A balanced session of growth work, of what is ready first and was trained longest ago:
Press: vertical press (shoulders and triceps), ready now
Squat: nothing is ready again within 3 days by waiting alone

That is assumed.
"""


@pytest.fixture(autouse=True)
def _on_that_morning(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "now", lambda: NOW)


@pytest.fixture
def db(tmp_path: Path) -> Path:
    """Kim trained the chest for growth yesterday at 18:00."""
    starts_at = datetime(2026, 3, 8, 18, tzinfo=BERLIN)
    done = Session(KIM.id, starts_at, 60, (Block("hypertrophy", ("chest",)),))
    with Store.open(tmp_path / "squad.db") as store:
        store.write(lambda transaction: transaction.athletes.put(KIM))
        store.write(
            lambda transaction: transaction.sessions.add(
                StoredSession("s-1", done, starts_at + timedelta(hours=1), None)
            )
        )
    return tmp_path / "squad.db"


def test_a_page_to_read_says_when_what_opens_where_the_athlete_lives(db: Path) -> None:
    result = typed("outlook", "--athlete", KIM.id, "--db", db)
    assert result.exit_code == 0
    later = "ready again at 2026-03-10 17:00 for growth work"
    assert f"Chest: ready for everything but growth work; {later}" in result.stdout.splitlines()
    assert "Quadriceps: ready for everything" in result.stdout.splitlines()
    assert "This assumes that nothing is trained until then" in result.stdout


def test_without_a_check_in_the_outlook_says_first_what_it_does_not_know(db: Path) -> None:
    result = typed("outlook", "--athlete", KIM.id, "--db", db).stdout
    _, first, *_ = result.split("\n\n")
    assert first.startswith("There is no check-in today. So soreness, pain, illness and warning")


def test_with_a_check_in_of_today_nothing_is_said_to_be_missing(db: Path) -> None:
    body = to_json(CheckIn(KIM.id, NOW.date(), ()))
    with Store.open(db) as store:
        store.write(
            lambda transaction: transaction.check_ins.add(
                StoredCheckIn("c-1", KIM.id, NOW.date(), body, NOW, None)
            )
        )
    assert "There is no check-in" not in typed("outlook", "--athlete", KIM.id, "--db", db).stdout


def test_json_holds_all_that_the_interface_tells(db: Path) -> None:
    words = ("--format", "json", "--days", 1, "--goal", "strength")
    result = json.loads(typed("outlook", "--athlete", KIM.id, "--db", db, *words).stdout)
    assert (result["athlete_id"], result["days"]) == (KIM.id, 1)
    assert {movement["goal"] for movement in result["balanced_session"]} == {"strength"}


def test_each_answer_has_its_words() -> None:
    result = OutlookReport(
        athlete_id=KIM.id,
        start=NOW,
        days=3,
        prospects=(
            _prospect("chest", "hypertrophy", opens_at=OPENS),
            *(_prospect("chest", goal, now=True) for goal in ("strength", "power")),
            *(_prospect("quadriceps", g, stopped=True) for g in ("hypertrophy", "strength")),
            _prospect("adductors", "hypertrophy", now=True),
            _prospect("glutes", "hypertrophy", needs=(Need("soreness", "below 3"),)),
            _prospect("glutes", "strength"),
            _prospect(
                "calves",
                "hypertrophy",
                needs=(Need("soreness", "below 3"),),
                needs_from=OPENS,
            ),
        ),
        balanced_session=(
            Movement("press", "hypertrophy", "vertical-press", ("shoulders", "triceps"), NOW),
            Movement("squat", "hypertrophy", None, (), None),
        ),
        note="That is not known.",
        assumes="That is assumed.",
    )
    assert outlook_text(result, KIM, bundled_advisor().composer) + "\n" == SHOWN


def _prospect(group: str, goal: str, now: bool = False, **more: Any) -> LocalProspect:
    closed = LocalProspect(group, goal, now, NOW if now else None, (), None, stopped=False)
    return replace(closed, **more)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--athlete", "a-99"), "There is no athlete 'a-99'."),
        (("--athlete", KIM.id, "--days", "15"), "not in the range"),
        (("--athlete", KIM.id, "--goal", "growth"), "is none of hypertrophy"),
    ],
)
def test_wrong_use_is_told(db: Path, words: tuple[str, ...], said: str) -> None:
    result = typed("outlook", "--db", db, *words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr


def test_no_database_is_made_by_asking(tmp_path: Path) -> None:
    result = typed("outlook", "--athlete", KIM.id, "--db", tmp_path / "none.db")
    assert result.exit_code == 2
    assert not (tmp_path / "none.db").exists()
