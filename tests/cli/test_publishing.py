"""Rule sets published, activated and taken back at a terminal, and servers that follow."""

from __future__ import annotations

import re
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import count
from pathlib import Path
from typing import Any

import pytest
import requests

from dawnrule.advice.advisor import Advisor
from dawnrule.application.check_ins import CheckIns
from dawnrule.cli import publishing as publishing_module
from dawnrule.cli import rules as rules_module
from dawnrule.clock import new_id
from dawnrule.model.entities import Athlete, CheckIn, Sleep
from dawnrule.rules.analysis import sandbox
from dawnrule.rules.loading.loader import parse_rule_set
from dawnrule.store import Store, StoredRuleSet
from tests.cli.terminal import typed
from tests.factories import ALONE, CLUB, WRONG_WAY
from tests.warm import serving

WITHIN_SECONDS = 60
AGREE_WITHIN_SECONDS = 1
TRIES = 3
"""So that one pause of a busy machine is not taken for a slow service."""

MORNING = datetime(2026, 3, 9, 6, 45, tzinfo=UTC)


@pytest.fixture(scope="session")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a database with the club's rule set published, once for all tests."""
    folder = tmp_path_factory.mktemp("published")
    db, file = folder / "squad.db", folder / "club.yaml"
    file.write_text(CLUB, encoding="utf-8")
    with Store.open(db) as store:
        store.write(lambda transaction: transaction.athletes.put(Athlete("a-03", "Mara", "UTC")))
    result = typed("rules", "publish", file, "--db", db)
    assert result.exit_code == 0
    assert result.stdout.startswith("club@1.0.0 published: sha256:")
    return db


@pytest.fixture
def db(published: Path, tmp_path: Path) -> Path:
    """Copy that database, and the file that was published."""
    shutil.copy(published.with_name("club.yaml"), tmp_path)
    return Path(shutil.copy(published, tmp_path))


@pytest.fixture
def that_morning(monkeypatch: pytest.MonkeyPatch) -> None:
    """Set the clock of the commands: a second passes each time that they look at it."""
    seconds = count()
    for module in (publishing_module, rules_module):
        monkeypatch.setattr(module, "now", lambda: MORNING + timedelta(seconds=next(seconds)))


@pytest.fixture
def servers(db: Path) -> Iterator[list[Callable[[], str]]]:
    """Two servers on one database, each a process of its own; each tells what is active."""
    key = typed("keys", "create", "--role", "coach", "--db", db).stdout.strip()

    def active(address: str) -> str:
        answer: Any = requests.get(
            f"{address}/v1/rule-sets/active",
            headers={"Authorization": f"Bearer {key}"},
            timeout=WITHIN_SECONDS,
        ).json()
        return f"{answer['rule_set']['name']}@{answer['rule_set']['version']}"

    with ExitStack() as running:
        addresses = [running.enter_context(serving(db))[1] for _ in range(2)]
        yield [partial(active, address) for address in addresses]


def seconds_until_agreed(db: Path, servers: list[Callable[[], str]]) -> float:
    """After an activation or after it was taken back, whichever took longer."""
    longest = 0.0
    for words, expected in (
        (("activate", "club@1.0.0"), "club@1.0.0"),
        (("rollback",), "baseline@2.0.0"),
    ):
        assert typed("rules", *words, "--db", db).exit_code == 0
        committed_at = time.monotonic()
        assert [ask() for ask in servers] == [expected] * 2
        longest = max(longest, time.monotonic() - committed_at)
    return longest


def test_two_servers_agree_on_the_active_version_within_a_second(
    db: Path, servers: list[Callable[[], str]]
) -> None:
    assert [ask() for ask in servers] == ["baseline@2.0.0"] * 2
    took = (seconds_until_agreed(db, servers) for _ in range(TRIES))
    assert any(seconds < AGREE_WITHIN_SECONDS for seconds in took)


def test_what_is_published_again_is_said_to_be_there(db: Path) -> None:
    result = typed("rules", "publish", db.with_name("club.yaml"), "--db", db)
    assert result.stdout.startswith("club@1.0.0 was published before")


def test_a_refused_rule_set_is_told_with_its_findings_and_what_mends_them(db: Path) -> None:
    file = db.with_name("wrong.yaml")
    file.write_text(WRONG_WAY, encoding="utf-8")
    result = typed("rules", "publish", file, "--db", db)
    assert result.exit_code == 1
    assert "[not-monotone]" in result.stdout
    assert "Turn the test round" in result.stdout
    assert "is not published" in result.stderr


def test_a_file_that_is_not_utf_8_is_refused(db: Path) -> None:
    file = db.with_name("latin.yaml")
    file.write_bytes(b"\xff")
    result = typed("rules", "publish", file, "--db", db)
    assert result.exit_code == 1
    assert "not UTF-8 at byte 0" in result.stderr


def test_a_trial_that_is_taken_down_publishes_nothing(
    db: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    code = "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)"
    monkeypatch.setattr(sandbox, "SANDBOX_COMMAND", (sys.executable, "-c", code))
    file = db.with_name("club-2.yaml")
    file.write_text(CLUB.replace("1.0.0", "2.0.0", 1), encoding="utf-8")
    assert typed("rules", "publish", file, "--db", db).exit_code == 1
    assert typed("rules", "activate", "club@2.0.0", "--db", db).exit_code == 2


def test_an_activation_can_be_for_some_and_from_a_date(db: Path) -> None:
    words = ("activate", "club@1.0.0", "--athlete", "a-03", "--from", "2026-04-01")
    result = typed("rules", *words, "--db", db)
    assert result.stdout == "club@1.0.0 holds for a-03 from 2026-04-01 on.\n"
    assert typed("rules", "rollback", "--db", db).exit_code == 2
    result = typed("rules", "rollback", "--athlete", "a-03", "--db", db)
    assert result.stdout == "The newest activation for a-03 is taken back.\n"


def test_a_candidate_runs_in_the_shadow_until_it_is_ended(db: Path) -> None:
    assert typed("rules", "shadow", "--db", db).exit_code == 2
    result = typed("rules", "shadow", "club@1.0.0", "--db", db)
    assert result.stdout == "club@1.0.0 runs in the shadow.\n"
    with Store.open(db) as store:
        candidate = store.read(lambda transaction: transaction.shadow.candidate())
    assert candidate is not None
    assert typed("rules", "shadow", "--db", db).stdout.startswith("club@1.0.0 in the shadow since")
    assert typed("rules", "shadow", "club@1.0.0", "--off", "--db", db).exit_code == 2
    assert typed("rules", "shadow", "--off", "--db", db).exit_code == 0
    assert typed("rules", "shadow", "--db", db).exit_code == 2


@pytest.mark.parametrize(
    "command",
    [
        ("rules", "diff", "baseline@1.1.0", "club@1.0.0"),
        ("rules", "scorecard", "club@1.0.0"),
        ("rules", "verify", "club@1.0.0"),
        ("replay", "--rules", "club@1.0.0"),
    ],
)
def test_a_published_rule_set_is_found_by_its_name(command: tuple[str, ...], db: Path) -> None:
    assert typed(*command, "--db", db).exit_code == 0


def test_a_name_that_was_not_published_is_refused(db: Path) -> None:
    result = typed("rules", "diff", "baseline@1.1.0", "club@9.9.9", "--db", db)
    assert result.exit_code == 2
    assert "no rule set club@9.9.9; there are: baseline@1.0.0" in result.stderr
    assert "club@1.0.0." in result.stderr


def test_one_that_knows_no_warning_sign_is_not_published_and_told_what_mends_it(db: Path) -> None:
    file = db.with_name("alone.yaml")
    file.write_text(ALONE, encoding="utf-8")
    result = typed("rules", "publish", file, "--db", db)
    assert result.exit_code == 1
    assert result.stdout.startswith(f"error: {file}:1: not always rest with chest pain, fainting")
    assert "`extends: baseline@2.0.0`" in result.stdout
    assert f"{file} is not published" in result.stderr


def test_one_that_was_published_before_is_not_activated(db: Path) -> None:
    one = parse_rule_set(ALONE, "sent.yaml")
    stored = StoredRuleSet(one.name, one.version, one.digest, one.summary, MORNING, None)
    with Store.open(db) as store:
        store.write(lambda transaction: transaction.rule_sets.add(stored, ALONE, "[]"))
    result = typed("rules", "activate", "alone@1.0.0", "--db", db)
    assert result.exit_code == 1
    assert "{chest_pain: true} gives train-as-planned" in result.stdout
    assert "alone@1.0.0 is not activated" in result.stderr


def test_an_activation_without_a_date_says_that_it_is_for_every_date(db: Path) -> None:
    result = typed("rules", "activate", "club@1.0.0", "--db", db)
    assert result.stdout == "club@1.0.0 holds for all on every date.\n"


def checked_in_today(db: Path) -> None:
    """Mara's check-in after a short night, by the baseline."""
    check_in = CheckIn("a-03", MORNING.date(), (), sleep=Sleep(hours=7), fatigue=4)
    advisor = Advisor.bundled()
    baseline = advisor.library.get("baseline", "2.0.0")
    check_ins = CheckIns(advisor, baseline, lambda: MORNING, new_id)
    with Store.open(db) as store:
        store.write(
            lambda transaction: check_ins.submit(transaction, check_in, check_ins.submission(None))
        )


def verdict_today(db: Path) -> str:
    with Store.open(db) as store:
        given = store.read(lambda transaction: transaction.advice.latest("a-03", MORNING.date()))
    assert given is not None
    return given.verdict


@pytest.mark.usefixtures("that_morning")
def test_advice_of_today_by_other_rules_is_told_and_decided_again_when_asked(db: Path) -> None:
    checked_in_today(db)
    result = typed("rules", "activate", "club@1.0.0", "--db", db)
    assert "Today's advice of 1 athlete was given by other rules. It stays" in result.stdout
    assert verdict_today(db) != "rest"
    result = typed("rules", "rollback", "--db", db)
    assert "by other rules" not in result.stdout
    result = typed("rules", "activate", "club@1.0.0", "--again", "--db", db)
    assert result.stdout.endswith("\nDecided again for today: the advice of 1 athlete.\n")
    assert verdict_today(db) == "rest"
    result = typed("rules", "rollback", "--again", "--db", db)
    assert "Decided again for today: the advice of 1 athlete." in result.stdout
    assert verdict_today(db) != "rest"


def listed(db: Path, *options: str) -> dict[str, str]:
    """Return what each rule set is listed to decide, by its name."""
    result = typed("rules", "list", "--db", db, *options)
    assert result.exit_code == 0, result.stderr
    rows = [re.split(r" {2,}", line) for line in result.stdout.splitlines()[2:]]
    return {name: decides for name, _, decides, _ in rows}


@pytest.mark.usefixtures("that_morning")
def test_the_list_of_a_database_tells_what_was_published_and_what_decides(db: Path) -> None:
    assert listed(db) == {
        "baseline@1.0.0": "-",
        "baseline@1.1.0": "-",
        "baseline@1.2.0": "-",
        "baseline@2.0.0": "for all, as none was activated",
        "club@1.0.0": "-",
    }
    assert listed(db, "--otherwise", "baseline@1.0.0")["baseline@1.0.0"] != "-"
    typed("rules", "activate", "club@1.0.0", "--from", "2099-01-01", "--db", db)
    typed("rules", "shadow", "club@1.0.0", "--db", db)
    said = listed(db)["club@1.0.0"]
    assert said.startswith("for all, from 2099-01-01 on; in the shadow, since ")
    typed("rules", "activate", "club@1.0.0", "--db", db)
    typed("rules", "activate", "baseline@1.0.0", "--athlete", "a-03", "--db", db)
    decides = listed(db)
    assert decides["club@1.0.0"].startswith(f"for all, since {MORNING.date()}")
    assert decides["baseline@1.0.0"] == "for 1 athlete of their own"
    assert decides["baseline@2.0.0"] == "-"


def test_a_file_may_extend_what_was_published(db: Path, tmp_path: Path) -> None:
    file = tmp_path / "one-athlete.yaml"
    text = CLUB
    for before, after in (
        ("rule_set: club", "rule_set: mara"),
        ("baseline@1.1.0", "club@1.0.0"),
        ("id: club-sleep", "id: her-sleep"),
    ):
        assert before in text
        text = text.replace(before, after)
    file.write_text(text, encoding="utf-8")
    result = typed("replay", "--rules", file, "--db", db)
    assert result.exit_code == 0, result.stderr
