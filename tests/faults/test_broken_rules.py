"""Broken rule files: refused at the start, harmless while the service runs."""

from __future__ import annotations

import re
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Any

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.clock import new_id
from dawnrule.i18n.resources import rules_folder
from dawnrule.rules import registry
from dawnrule.rules.loading import loader
from dawnrule.settings import Settings
from dawnrule.store import Store
from dawnrule.web import create_app
from dawnrule.web.context import Context
from tests.cli.terminal import typed
from tests.conftest import Client, Clock, client_with
from tests.factories import CLUB


@pytest.fixture
def rules(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The rule sets that ship, as a copy that may be broken."""
    folder = tmp_path / "rules"
    shutil.copytree(rules_folder(), folder)
    for module in (registry, loader):
        monkeypatch.setattr(module, "rules_folder", lambda: folder)
    return folder


@pytest.mark.parametrize(
    ("old", "new"),
    [("\nrules:", "\nrules: ["), ("verdict: rest", "verdict: rested")],
    ids=["no YAML", "no such verdict"],
)
def test_a_broken_rule_file_is_not_served_and_told_with_its_line(
    rules: Path, tmp_path: Path, old: str, new: str
) -> None:
    file = rules / "baseline" / "1.1.0.yaml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    refused = typed("serve", "--db", tmp_path / "squad.db")
    assert refused.exit_code == 1
    assert re.search(r"^Error: baseline/1\.1\.0\.yaml:\d+: ", refused.stderr, re.MULTILINE)


def advised(coach: Client, **reported: Any) -> str:
    """The rule set that decides on a check-in."""
    body = {"athlete_id": "a-03", "date": "2026-03-09", "plan": [], **reported}
    answer = coach.post("/v1/check-ins", json=body)
    assert answer.status_code == 201, answer.text
    return str(answer.json["rule_set"]["name"])


def publish(coach: Client, text: str) -> int:
    answer = coach.post("/v1/rule-sets", data=text.encode(), content_type="application/yaml")
    return int(answer.status_code)


def activate(coach: Client) -> int:
    return int(coach.put("/v1/rule-sets/active", json={"rule_set": "club@1.0.0"}).status_code)


def test_a_broken_rule_set_is_not_published_and_the_active_one_goes_on(coach: Client) -> None:
    assert publish(coach, CLUB.replace("verdict:", "verdikt:")) == 422
    assert activate(coach) == 404
    assert advised(coach) == "baseline"


def damage(store: Store) -> None:
    """Cut the texts of what was published short, past the triggers."""
    with closing(sqlite3.connect(store.file)) as connection, connection:
        connection.execute("DROP TRIGGER rule_sets_stay_as_they_are")
        connection.execute("UPDATE rule_sets SET text = substr(text, 1, 200)")


@pytest.fixture
def restart(
    coach_key: str, settings: Settings, store: Store, advisor: Advisor, clock: Clock
) -> Iterator[Callable[[], Client]]:
    """Starts the service anew over the same store."""
    with ExitStack() as opened:

        def start() -> Client:
            app = create_app(settings, store, advisor, clock, new_id)
            opened.callback(Context.of(app).close)
            return client_with(app, coach_key)

        yield start


def test_a_published_rule_set_that_was_damaged_is_not_activated_and_the_active_one_goes_on(
    coach: Client, store: Store, restart: Callable[[], Client]
) -> None:
    assert publish(coach, CLUB) == 201
    damage(store)
    again = restart()
    assert activate(again) == 404
    assert advised(again) == "baseline"


def test_an_active_rule_set_that_was_damaged_is_passed_over_for_the_one_before(
    coach: Client, store: Store, restart: Callable[[], Client], caplog: pytest.LogCaptureFixture
) -> None:
    assert publish(coach, CLUB) == 201
    assert activate(coach) == 200
    assert advised(coach) == "club"
    damage(store)
    assert advised(restart(), fatigue=3) == "baseline"
    assert "cannot be used" in caplog.text
