"""``dawnrule week``: a week that the rules let through."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from dawnrule.cli import week as command
from dawnrule.store import Store
from tests.cli.terminal import typed
from tests.factories import KIM, NOW

ORDER: dict[str, Any] = {
    "athlete_id": KIM.id,
    "from": "2026-03-09",
    "windows": [
        {"weekdays": ["monday", "wednesday", "friday"], "begins": "18:00", "ends": "19:00"}
    ],
    "wishes": [
        {
            "name": "Legs",
            "times": 3,
            "minutes": 60,
            "blocks": [{"goal": "hypertrophy", "muscle_groups": ["quadriceps"], "sets": 4}],
        }
    ],
}


@pytest.fixture
def db(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(command, "now", lambda: NOW)
    with Store.open(tmp_path / "squad.db") as store:
        store.write(lambda transaction: transaction.athletes.put(KIM))
    return tmp_path / "squad.db"


def week(db: Path, order: Any, *words: str) -> Any:
    file = db.with_name("week.json")
    file.write_text(json.dumps(order), encoding="utf-8")
    return typed("week", str(file), "--db", db, *words)


def test_a_page_to_read_shows_each_session_with_what_lets_it_through(db: Path) -> None:
    shown = week(db, ORDER).stdout.splitlines()
    assert shown == [
        "a-01",
        "  Mon 9 March, 18:00: Legs, 60 min.",
        "  Wed 11 March, 18:00: Legs, 60 min. Quadriceps: 48 h since growth work, 1 over.",
        "  Fri 13 March, 18:00: Legs, 60 min. Quadriceps: 48 h since growth work, 1 over.",
    ]


def test_a_sheet_has_a_row_for_each_session(db: Path) -> None:
    heading, first, *_ = week(db, ORDER, "--format", "csv").stdout.splitlines()
    assert heading == "athlete_id,starts_at,minutes,session,goals,muscle_groups"
    assert first == "a-01,2026-03-09T18:00+01:00,60,Legs,hypertrophy,quadriceps"


def test_json_holds_all_that_the_interface_tells(db: Path) -> None:
    [told] = json.loads(week(db, ORDER, "--format", "json").stdout)["weeks"]
    assert (len(told["sessions"]), told["unplaced"], told["complete"]) == (3, [], True)


def test_what_cannot_be_meant_is_named_with_its_place(db: Path) -> None:
    result = week(db, ORDER | {"windows": []})
    assert result.exit_code == 1
    assert "windows" in result.stderr
