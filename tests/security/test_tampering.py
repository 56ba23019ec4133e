"""Every column of every table: is an edit of it found, and if not, why is that all right?

The table is generated from the schema, so that a new column cannot escape: it is found, or it is
named in ``NOBODY_WOULD_CARE`` with the reason.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.audit import audit
from dawnrule.rules import registry
from dawnrule.rules.loading.loader import parse_rule_set
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import Store, opened_to_read
from tests.security.tampering import fill, past_all_triggers

NOBODY_WOULD_CARE = {
    "private_addresses.last_used_on": "It only tells the coach that an address is in use.",
    "replays": "A replay is a trial on paper, and anybody can run it again from the ledger.",
    "replay_steps": "A replay is a trial on paper, and anybody can run it again from the ledger.",
    "sign_ins": "A sign-in lasts twelve hours and opens the pages to a key; what is done with it "
    "stands in the acts. Who can forge one has the database already.",
    "service_secrets": "It signs cookies, which count only with a sign-in that is stored. Another "
    "one signs everybody out.",
}
"""Tables and columns that are not vouched for, and the reasons."""


LIBRARY = RuleSetLibrary.bundled()

OTHER = {
    "BLOB": "CAST({0} || '0' AS BLOB)",
    "INTEGER": "coalesce({0}, 0) + 7000",
    "TEXT": "coalesce({0}, '') || '0'",
}
"""Another value of each kind of column."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column and the kind of its values."""

    table: str
    name: str
    kind: str

    @property
    def reason(self) -> str | None:
        """Why nobody would care; None for a column that must be found."""
        return NOBODY_WOULD_CARE.get(self.table) or NOBODY_WOULD_CARE.get(str(self))

    def __str__(self) -> str:
        return f"{self.table}.{self.name}"


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with rows in each table, all in its one file."""
    file = tmp_path_factory.mktemp("tampering") / "squad.db"
    with Store.open(file) as store:
        fill(store, Advisor.bundled())
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    return file


@pytest.fixture(autouse=True)
def _read_rules_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same text is the same rule set in each copy of the database."""
    read = cache(partial(parse_rule_set, resolve=LIBRARY.get))
    monkeypatch.setattr(registry, "parse_rule_set", lambda text, name, resolve: read(text, name))


def columns_of(file: Path) -> Iterator[Column]:
    with closing(sqlite3.connect(file)) as connection:
        tables = connection.execute(
            r"""
            SELECT name FROM sqlite_master WHERE type = 'table'
            AND name NOT LIKE 'sqlite\_%' ESCAPE '\' AND name NOT LIKE '\_sqlite\_%' ESCAPE '\'
            """
        ).fetchall()
        for (table,) in tables:
            for _, name, kind, *_ in connection.execute(f"PRAGMA table_info({table})"):
                yield Column(table, name, kind)


def edit(file: Path, column: Column) -> None:
    """Give a column of one row another value, past all triggers and checks."""
    with past_all_triggers(file) as connection:
        last = last_row(connection, column.table)
        value = OTHER[column.kind].format(column.name)
        edited = f"UPDATE {column.table} SET {column.name} = {value} WHERE {last}"
        assert connection.execute(edited).rowcount == 1, "there must be a row to edit"


def last_row(connection: sqlite3.Connection, table: str) -> str:
    """The condition that holds for one row of a table."""
    described = connection.execute(f"PRAGMA table_info({table})").fetchall()
    key = ", ".join([name for _, name, _, _, _, place in described if place] or ["rowid"])
    return f"({key}) = (SELECT {key} FROM {table} ORDER BY {key} DESC LIMIT 1)"


def is_found(file: Path) -> bool:
    with opened_to_read(file) as store:
        return not audit(store, LIBRARY.with_published(StoredTexts(store))).is_clean


def test_an_edit_of_any_column_is_found_or_named_as_one_that_nobody_would_care_for(
    filled: Path, tmp_path: Path, subtests: pytest.Subtests
) -> None:
    assert not is_found(filled)
    for column in columns_of(filled):
        with subtests.test(str(column)):
            edited = Path(shutil.copy(filled, tmp_path / "edited.db"))
            edit(edited, column)
            assert is_found(edited) == (column.reason is None)


def test_a_row_that_is_gone_is_found_or_named_as_one_that_nobody_would_care_for(
    filled: Path, tmp_path: Path, subtests: pytest.Subtests
) -> None:
    for table in sorted({column.table for column in columns_of(filled)}):
        with subtests.test(table):
            edited = Path(shutil.copy(filled, tmp_path / "edited.db"))
            with past_all_triggers(edited) as connection:
                connection.execute(f"DELETE FROM {table} WHERE {last_row(connection, table)}")
            cared_for = table not in NOBODY_WOULD_CARE
            assert is_found(edited) == cared_for


def test_what_is_named_is_there(filled: Path) -> None:
    columns = list(columns_of(filled))
    there = {str(column) for column in columns} | {column.table for column in columns}
    assert set(NOBODY_WOULD_CARE) <= there
