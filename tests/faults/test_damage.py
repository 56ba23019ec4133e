"""When bytes of the database are not what they were: does the service say so, and advise nobody on
them?"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from pathlib import Path

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.application.backups import back_up
from dawnrule.clock import new_id
from dawnrule.errors import StoreUnusable
from dawnrule.settings import Settings
from dawnrule.store import Store
from dawnrule.web import create_app
from dawnrule.web.context import Context
from tests.cli.terminal import typed
from tests.conftest import Client, Clock, client_with
from tests.databases.make import KEY

NOT_UTF_8 = b"\xff\xfe"
OVER = b"\xff" * 4000
CHECK_IN = {"athlete_id": "a-03", "date": "2026-03-10", "fatigue": 3, "plan": []}

Damage = Callable[[Path], None]


@pytest.fixture
def serve(advisor: Advisor, clock: Clock) -> Iterator[Callable[[Path], Client]]:
    """Serves a database anew, on the evening of its second morning."""
    clock.set("2026-03-10T20:00:00+01:00")
    with ExitStack() as opened:

        def start(db: Path) -> Client:
            store = opened.enter_context(Store.open(db))
            app = create_app(Settings(db=db), store, advisor, clock, new_id)
            opened.callback(Context.of(app).close)
            return client_with(app, KEY)

        yield start


def overwrite_table(name: str, *, head: bool = True) -> Damage:
    """Overwrite the first page of a table. Where its head stays, cells may be looked for beyond the
    page, in whatever memory there is; a check of the whole file names the page then."""

    def damage(file: Path) -> None:
        with closing(sqlite3.connect(file)) as connection:
            [(page,)] = connection.execute(
                "SELECT rootpage FROM sqlite_master WHERE name = ?", (name,)
            )
            [(size,)] = connection.execute("PRAGMA page_size")
        with file.open("r+b") as content:
            content.seek((page - 1) * size + (0 if head else 8))
            content.write(OVER)

    return damage


def overwrite_text(found: bytes, by: bytes) -> Damage:
    """Overwrite some bytes wherever they stand."""

    def damage(file: Path) -> None:
        content = file.read_bytes()
        assert found in content
        assert len(by) <= len(found)
        file.write_bytes(content.replace(found, by.ljust(len(found), b" ")))

    return damage


def advices(file: Path) -> int:
    with closing(sqlite3.connect(file)) as connection:
        [(count,)] = connection.execute("SELECT count(*) FROM ledger WHERE kind = 'advice'")
    return int(count)


damaged = pytest.mark.parametrize(
    "damage",
    [overwrite_table("check_ins"), overwrite_text(b'"hours":7.5', b'"hours":' + NOT_UTF_8)],
    ids=["page", "text"],
)


@damaged
def test_a_damaged_database_is_told_and_no_advice_is_made_of_it(
    db: Path, serve: Callable[[Path], Client], damage: Damage
) -> None:
    before = advices(db)
    damage(db)
    answer = serve(db).post("/v1/check-ins", json=CHECK_IN)
    assert (answer.status_code, answer.json["title"]) == (503, "The store cannot be used")
    assert advices(db) == before


def test_nothing_of_a_damaged_record_is_repeated(
    db: Path, serve: Callable[[Path], Client], caplog: pytest.LogCaptureFixture
) -> None:
    overwrite_text(b'"sleep":{"hours":', b'"sleep":' + NOT_UTF_8)(db)
    answer = serve(db).get("/v1/advice/advice-1")
    assert answer.status_code == 503
    assert "4.5" not in answer.text + caplog.text
    verified = typed("audit", "verify", "--db", db)
    assert "4.5" not in verified.output


@damaged
def test_verifying_says_where_the_damage_is(db: Path, damage: Damage) -> None:
    damage(db)
    verified = typed("audit", "verify", "--db", db)
    assert verified.exit_code == 1
    assert "entry 1: the database cannot be read here" in verified.output


def test_verifying_looks_at_all_that_comes_before_the_damage(db: Path) -> None:
    overwrite_text(b'"advice_id":"advice-2"', b'"advice_id":' + NOT_UTF_8)(db)
    verified = typed("audit", "verify", "--db", db)
    assert "entry 6: the database cannot be read here" in verified.output
    assert "2 advice, 2 decided again" in verified.output


def test_a_back_up_says_which_page_is_damaged(db: Path, tmp_path: Path, clock: Clock) -> None:
    overwrite_table("check_ins", head=False)(db)
    with pytest.raises(StoreUnusable, match=rf"^{db} is damaged: .*page \d+"):
        back_up(db, tmp_path, clock())


def test_a_back_up_says_which_record_is_damaged(db: Path, tmp_path: Path, clock: Clock) -> None:
    overwrite_text(b'"advice_id":"advice-2"', b'"advice_id":' + NOT_UTF_8)(db)
    with pytest.raises(StoreUnusable, match=rf"in {db} does not verify at position 6"):
        back_up(db, tmp_path, clock())


def test_other_numbers_in_a_check_in_are_found_by_verifying(db: Path) -> None:
    overwrite_text(b'"hours":7.5', b'"hours":9.5')(db)
    verified = typed("audit", "verify", "--db", db)
    assert "entry 2: a record is not what was entered" in verified.output


@pytest.mark.parametrize(
    "damage",
    [overwrite_text(b"CREATE TABLE athletes", NOT_UTF_8), lambda file: file.write_bytes(OVER)],
)
def test_a_database_too_damaged_to_open_is_not_served(db: Path, damage: Damage) -> None:
    damage(db)
    refused = typed("serve", "--db", db)
    assert refused.exit_code == 2
    assert "Error: The database cannot be used" in refused.stderr
