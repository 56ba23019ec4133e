"""The phone client: one sentence to speak, whatever the morning."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dawnrule.store import Purpose
from dawnrule.web.private.addresses import paths_of
from tests.clients.conftest import CLIENTS, TODAY, Ask, Run

SCRIPT = "phone/today.py"
EXAMPLE: dict[str, Any] = json.loads((CLIENTS / "phone" / "check_in.json").read_text("utf-8"))

WriteCheckIn = Callable[..., str]


@pytest.fixture
def check_in(tmp_path: Path) -> WriteCheckIn:
    """Writes the example's answers, some of them changed, and gives the file's name."""

    def write(**changed: Any) -> str:
        answers = EXAMPLE | {"date": TODAY} | changed
        (tmp_path / "answers.json").write_text(json.dumps(answers), encoding="utf-8")
        return "answers.json"

    return write


def test_a_check_in_is_answered_with_a_sentence_and_stored(
    run: Run, ask: Ask, check_in: WriteCheckIn
) -> None:
    done = run(SCRIPT, "a-03", "--check-in", check_in(), key="athlete")
    assert (done.returncode, done.stderr) == (0, "")
    assert len(done.stdout.splitlines()) == 1
    assert done.stdout.startswith("Do less of the same: Quadriceps")
    assert "4 of 10" in done.stdout
    assert "Train another muscle group" in done.stdout
    stored = ask(f"/v1/athletes/a-03/advice/{TODAY}")
    assert stored["verdict"] == "swap-to-low-damage"
    assert stored["rule"]["id"] == "growth-work-soreness"


def test_the_advice_can_be_asked_for_again(run: Run, check_in: WriteCheckIn) -> None:
    first = run(SCRIPT, "a-03", "--check-in", check_in(), key="athlete")
    again = run(SCRIPT, "a-03", key="athlete")
    assert (again.returncode, again.stdout) == (0, first.stdout)


def test_other_answers_get_other_advice(run: Run, check_in: WriteCheckIn) -> None:
    run(SCRIPT, "a-03", "--check-in", check_in(), key="athlete")
    worse = check_in(warning_signs=["chest-pain"])
    done = run(SCRIPT, "a-03", "--check-in", worse, key="athlete")
    assert done.stdout.startswith("Stop and get medical care now.")
    assert "Rest: " in done.stdout


def test_without_a_check_in_the_sentence_says_so(run: Run) -> None:
    done = run(SCRIPT, "a-03", key="athlete")
    assert done.returncode == 0
    assert done.stdout.startswith(f"There is no check-in for {TODAY} yet, so there is no advice.")


def test_an_answer_that_cannot_be_is_told_in_one_line(
    run: Run, ask: Ask, check_in: WriteCheckIn
) -> None:
    impossible = check_in(soreness={"quadriceps": 14})
    done = run(SCRIPT, "a-03", "--check-in", impossible, key="athlete")
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    assert "/soreness/quadriceps must be from 0 to 10" in done.stderr
    assert ask(f"/v1/athletes/a-03/advice/{TODAY}")["verdict"] is None


def test_an_athletes_key_hears_nothing_of_another(run: Run) -> None:
    done = run(SCRIPT, "a-04", key="athlete")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("Not found: There is no athlete 'a-04'.")
    unknown = run(SCRIPT, "a-99", key="athlete")
    assert done.stderr == unknown.stderr.replace("a-99", "a-04")


def test_an_address_without_its_beginning_is_told_in_one_line(run: Run) -> None:
    done = run(SCRIPT, "a-03", url="127.0.0.1:8080")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "--url must begin with http:// or https://, like http://127.0.0.1:8080\n"


@pytest.mark.parametrize("content", ["{", "[1]", None], ids=["not JSON", "a list", "no file"])
def test_a_file_that_is_no_check_in_is_told_in_one_line(
    run: Run, tmp_path: Path, content: str | None
) -> None:
    if content is not None:
        (tmp_path / "file.json").write_text(content, encoding="utf-8")
    done = run(SCRIPT, "a-03", "--check-in", "file.json", key="athlete")
    assert done.returncode == 2
    assert done.stderr.startswith("file.json cannot be read: ")
    assert len(done.stderr.splitlines()) == 1


def test_a_file_that_is_not_there_is_told_so(run: Run) -> None:
    done = run(SCRIPT, "a-03", "--check-in", "nowhere.json", key="athlete")
    assert done.stderr == "nowhere.json cannot be read: there is no such file\n"


def test_the_readme_names_the_addresses_that_the_script_uses() -> None:
    readme = (CLIENTS / "phone" / "README.md").read_text(encoding="utf-8")
    assert "/v1/athletes/YOUR-ID/advice/today.txt" in readme
    assert "/v1/check-ins`" in readme


def test_the_readme_names_what_private_addresses_give() -> None:
    readme = (CLIENTS / "phone" / "README.md").read_text(encoding="utf-8")
    for purpose in Purpose:
        for path in paths_of(purpose, "…"):
            assert path in readme
