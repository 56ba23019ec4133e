"""``dawnrule concerns`` at a terminal: list, open, clear, withdraw, confirm and advance."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.model.entities import Athlete, CheckIn
from dawnrule.store import Store
from tests.cli.terminal import typed
from tests.factories import NOW

KIM = Athlete("a-01", "Kim", "Europe/Berlin")


@pytest.fixture
def db(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "squad.db"
    with Store.open(file) as store:
        store.write(lambda transaction: transaction.athletes.put(KIM))
    monkeypatch.setattr("dawnrule.cli.concerns.now", lambda: NOW)
    return file


def post(db: Path, at: datetime, number: int, **reported: Any) -> None:
    advisor = Advisor.bundled()
    check_ins = CheckIns(
        advisor, advisor.library.get("baseline", "2.0.0"), lambda: at, lambda: "unused"
    )
    check_in = CheckIn(KIM.id, at.date(), (), **reported)
    submission = Submission(at, None, f"c-{number}", f"v-{number}")
    with Store.open(db) as store:
        store.write(lambda transaction: check_ins.submit(transaction, check_in, submission))


def done(*words: object, db: Path) -> str:
    """What a command prints when it ends well."""
    result = typed("concerns", *words, "--db", db)
    assert result.exit_code == 0, result.output
    return result.stdout.strip()


def listed(db: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(
        done("list", "--athlete", "a-01", "--format", "json", db=db)
    )
    return found


def test_what_a_check_in_opened_is_listed_and_cleared_and_withdrawn(db: Path) -> None:
    post(db, NOW, 1, warning_signs=("fainting",))
    assert "heart-or-chest" in done("list", db=db)
    [concern] = listed(db)
    done(
        "clear", concern["concern_id"], "--name", "Dr. Adler", "--taken-on", "--no-contact",
        "--effort-at-most", 5, db=db,
    )  # fmt: skip
    [cleared] = listed(db)
    assert (cleared["state"], cleared["clearance"]["name"]) == ("returning", "Dr. Adler")
    assert cleared["clearance"]["restrictions"] == {"no_contact": True, "effort_at_most": 5}
    assert "returning, stage 1" in done("list", db=db)
    done("withdraw", concern["concern_id"], cleared["clearance"]["id"], db=db)
    assert listed(db)[0]["state"] == "open"


def test_a_restriction_is_opened_and_ends_on_its_date(
    db: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done(
        "open", "--athlete", "a-01", "--kind", "restriction", "--reason", "injury",
        "--muscle-group-rests", "hamstrings", "--until", "2026-03-30", db=db,
    )  # fmt: skip
    [concern] = listed(db)
    assert concern["restriction"] == {
        "reason": "injury",
        "restrictions": {"muscle_groups_rest": ["hamstrings"]},
        "until": "2026-03-30",
    }
    monkeypatch.setattr("dawnrule.cli.concerns.now", lambda: NOW + timedelta(days=30))
    assert "a-01" not in done("list", db=db)


def test_pain_is_opened_with_its_place(db: Path) -> None:
    done(
        "open", "--athlete", "a-01", "--kind", "pain", "--pain", "joint", "--where", "left knee",
        "--muscle-group", "quadriceps", db=db,
    )  # fmt: skip
    assert listed(db)[0]["pain"] == {
        "kind": "joint",
        "where": "left knee",
        "muscle_groups": ["quadriceps"],
        "place": "knee",
    }


def test_a_correction_is_shown_and_confirmed(db: Path) -> None:
    post(db, NOW, 1, warning_signs=("fainting",))
    post(db, NOW + timedelta(minutes=5), 2, warning_signs=())
    assert "correction of 2026-03-09 not confirmed" in done("list", db=db)
    concern_id = listed(db)[0]["concern_id"]
    for name in ((), ("--name", " ")):
        unsigned = typed("concerns", "confirm", concern_id, *name, "--db", db)
        assert (unsigned.exit_code, "--name" in unsigned.stderr) == (2, True)
    done("confirm", concern_id, "--name", "Kim", db=db)
    assert listed(db)[0]["was_typing_error"] is True


def test_a_stage_is_advanced_and_taken_back(db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    post(db, NOW, 1, warning_signs=("fainting",))
    concern_id = listed(db)[0]["concern_id"]
    unsigned = typed("concerns", "clear", concern_id, "--db", db)
    assert (unsigned.exit_code, "--name" in unsigned.stderr) == (2, True)
    untaken = typed("concerns", "clear", concern_id, "--name", "Kim", "--db", db)
    assert (untaken.exit_code, "--taken-on" in untaken.stderr) == (2, True)
    done("clear", concern_id, "--name", "Kim", "--taken-on", db=db)
    refused = typed("concerns", "advance", concern_id, "--db", db)
    assert (refused.exit_code, "at least" in refused.stderr) == (2, True)
    monkeypatch.setattr("dawnrule.cli.concerns.now", lambda: NOW + timedelta(days=60))
    done("advance", concern_id, db=db)
    assert listed(db)[0]["stage"] == 2
    done("advance", concern_id, "--back", db=db)
    assert listed(db)[0]["stage"] == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("open", "--athlete", "a-01", "--kind", "colds"), "heart-or-chest"),
        (("open", "--athlete", "a-01", "--kind", "pain"), "must be given"),
        (("open", "--athlete", "a-99", "--kind", "leg-clot"), "a-99"),
        (("clear", "none", "--name", "Kim"), "no concern"),
        (
            ("open", "--athlete", "a-01", "--kind", "restriction", "--reason", "injury"),
            "at least one thing",
        ),
    ],
)
def test_what_cannot_be_done_is_said(db: Path, words: tuple[str, ...], said: str) -> None:
    refused = typed("concerns", *words, "--db", db)
    assert refused.exit_code in (1, 2)
    assert said in refused.stderr
