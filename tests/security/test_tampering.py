"""Every column of every table: is an edit of it found, and if not, why is that all right?

The table is generated from the schema, so that a new column cannot escape: it is found, or it is
named in ``NOBODY_WOULD_CARE`` with the reason.
"""

from __future__ import annotations

import shutil
from functools import cache, partial
from pathlib import Path

import pytest

from dawnrule.rules import registry
from dawnrule.rules.loading.loader import parse_rule_set
from tests.security.tampering import (
    LIBRARY,
    NOBODY_WOULD_CARE,
    closed_in_one_file,
    columns_of,
    edit,
    is_found,
    last_row,
    past_all_triggers,
    put_in,
)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with rows in each table, all in its one file."""
    return closed_in_one_file(tmp_path_factory.mktemp("tampering") / "squad.db")


@pytest.fixture(autouse=True)
def _read_rules_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same text is the same rule set in each copy of the database."""
    read = cache(partial(parse_rule_set, resolve=LIBRARY.get))
    monkeypatch.setattr(registry, "parse_rule_set", lambda text, name, resolve: read(text, name))


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


def test_a_row_that_was_put_in_is_found_or_named_as_one_that_nobody_would_care_for(
    filled: Path, tmp_path: Path, subtests: pytest.Subtests
) -> None:
    for table in sorted({column.table for column in columns_of(filled)}):
        with subtests.test(table):
            edited = Path(shutil.copy(filled, tmp_path / "edited.db"))
            put_in(edited, table)
            assert is_found(edited) == (table not in NOBODY_WOULD_CARE)


def test_what_is_named_is_there(filled: Path) -> None:
    columns = list(columns_of(filled))
    there = {str(column) for column in columns} | {column.table for column in columns}
    assert set(NOBODY_WOULD_CARE) <= there
