"""The ledger: every record entered once, in order, and never changed."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import timedelta
from hashlib import sha256
from pathlib import Path

import pytest
import rfc8785

from dawnrule.store import Head, Store, Transaction
from dawnrule.store.activity_log import Act, acts_of, record_act
from dawnrule.store.connection import connect
from dawnrule.store.migrations import MIGRATIONS, migrate
from dawnrule.store.tables.ledger import NOTHING_BEFORE
from dawnrule.store.values import format_ranges, parse_ranges
from tests.factories import DAY, KIM, NOW, SAM, add_advice, add_check_in


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "dawnrule.db"


@pytest.fixture
def connection(file: Path) -> Iterator[sqlite3.Connection]:
    with closing(connect(file, busy_timeout_seconds=1)) as connection:
        migrate(connection, busy_timeout_seconds=1)
        yield connection


@pytest.fixture
def transaction(connection: sqlite3.Connection) -> Transaction:
    transaction = Transaction.over(connection)
    transaction.athletes.put(KIM)
    return transaction


def enter(transaction: Transaction, number: int) -> None:
    add_check_in(transaction, f"c-{number}", DAY + timedelta(number))
    add_advice(transaction, f"v-{number}", f"c-{number}", date=DAY + timedelta(number))


def test_the_head_of_an_empty_ledger_is_nothing(transaction: Transaction) -> None:
    assert transaction.ledger.head() == Head(0, "0" * 64)


def test_an_entrys_digest_is_that_of_its_canonical_content(transaction: Transaction) -> None:
    enter(transaction, 0)
    record_act(transaction, "key-made", by="k-01", at=NOW, about={"key": "k-02"})
    before = NOTHING_BEFORE
    for position, entry in enumerate(transaction.ledger.after(0, 10), start=1):
        content = {
            "at": "2026-03-09T05:40:00.000000Z",
            "kind": ("advice", "act")[position - 1],
            "position": position,
            "previous_digest": before,
            "record_digest": entry.record_digest,
        }
        before = sha256(rfc8785.dumps(content)).hexdigest()
        assert entry.digest == before
    assert transaction.ledger.head() == Head(2, before)


def test_a_records_digest_is_that_of_its_salt_and_its_text(transaction: Transaction) -> None:
    enter(transaction, 0)
    found = transaction.ledger.entry_of("v-0")
    assert found is not None
    entry, salt = found
    assert entry.record_digest == sha256(f'{salt}{{"verdict":"rest"}}'.encode()).hexdigest()


def test_an_advice_has_its_own_entry_though_acts_stand_between(transaction: Transaction) -> None:
    record_act(transaction, "key-made", by="k-01", at=NOW, about={"key": "k-02"})
    for number in range(2):
        enter(transaction, number)
    second = transaction.ledger.after(2, 1)
    found = transaction.ledger.entry_of("v-1")
    assert found is not None
    assert [found[0]] == second


def test_equal_records_have_digests_from_which_that_cannot_be_seen(
    transaction: Transaction,
) -> None:
    for number in range(2):
        enter(transaction, number)
    one, other = transaction.ledger.after(0, 10)
    assert one.record_digest != other.record_digest


def test_an_entry_of_advice_holds_no_id_and_no_salt(
    transaction: Transaction, connection: sqlite3.Connection
) -> None:
    enter(transaction, 0)
    [row] = connection.execute("SELECT * FROM ledger").fetchall()
    [(salt,)] = connection.execute("SELECT salt FROM advice_entries")
    assert len(salt) == 32
    assert not {salt, "v-0", "c-0", KIM.id} & set(map(str, row))


def test_an_act_is_read_back_as_it_was_noted(transaction: Transaction) -> None:
    position = record_act(transaction, "key-made", by="k-01", at=NOW, about={"key": "k-02"})
    [act] = acts_of(transaction.ledger.acts(limit=10))
    at = "2026-03-09T05:40:00+00:00"
    assert act == Act(position, "key-made", "k-01", at, {"key": "k-02"})


def test_acts_are_found_by_time_and_name_the_newest_first(transaction: Transaction) -> None:
    for hour, act in enumerate(("key-made", "athlete-added", "key-made")):
        record_act(transaction, act, by="k-01", at=NOW + timedelta(hours=hour), about={})
    found = transaction.ledger.acts(act="key-made", limit=10)
    assert [one.position for one in found] == [3, 1]
    one_later, two_later = NOW + timedelta(hours=1), NOW + timedelta(hours=2)
    assert [one.position for one in transaction.ledger.acts(one_later, two_later, limit=10)] == [2]
    assert [one.position for one in transaction.ledger.acts(limit=1, before=3)] == [2]


@pytest.mark.parametrize("name", ["", "Key made", "key_made", "key-", "kéy"])
def test_an_act_of_other_letters_is_refused(transaction: Transaction, name: str) -> None:
    with pytest.raises(ValueError, match="small letters"):
        record_act(transaction, name, by="k-01", at=NOW, about={})


def test_positions_are_told_in_short_and_understood_again() -> None:
    for positions in ([], [7], [1, 2, 3, 5, 9, 10], [4, 6]):
        told = format_ranges(positions)
        assert [p for some in parse_ranges(told) for p in some] == positions
    assert format_ranges([1, 2, 3, 5, 9, 10]) == "1-3,5,9-10"


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE ledger SET at = at",
        "DELETE FROM ledger WHERE position = 2",
        "INSERT OR REPLACE INTO ledger SELECT * FROM ledger",
        "UPDATE advice_entries SET salt = ''",
        "DELETE FROM advice_entries",
        "INSERT INTO ledger SELECT 9, kind, at, record_digest, previous_digest, digest, act, body "
        "FROM ledger WHERE position = 2",
        "INSERT INTO ledger SELECT 3, kind, at, record_digest, record_digest, digest, act, body "
        "FROM ledger WHERE position = 2",
    ],
)
def test_the_database_itself_refuses_any_change_but_an_entry_at_the_end(
    transaction: Transaction, connection: sqlite3.Connection, statement: str
) -> None:
    for number in range(2):
        enter(transaction, number)
    before = connection.execute("SELECT * FROM ledger, advice_entries").fetchall()
    with pytest.raises(
        sqlite3.IntegrityError, match=r"never change|never deleted|end only|lets go"
    ):
        connection.execute(statement)
    assert connection.execute("SELECT * FROM ledger, advice_entries").fetchall() == before


def test_advice_that_comes_to_nothing_leaves_no_entry(tmp_path: Path) -> None:
    def half_a_morning(transaction: Transaction) -> None:
        enter(transaction, 1)
        raise KeyError

    with Store.open(tmp_path / "whole.db") as store:
        store.write(lambda transaction: transaction.athletes.put(KIM))
        store.write(lambda transaction: enter(transaction, 0))
        before = store.read(lambda transaction: transaction.ledger.head())
        with pytest.raises(KeyError):
            store.write(half_a_morning)
        assert store.read(lambda transaction: transaction.ledger.head()) == before


def test_several_writers_of_one_file_make_one_chain(file: Path) -> None:
    stores = [Store.open(file) for _ in range(3)]
    stores[0].write(lambda transaction: transaction.athletes.put(KIM))

    def write(number: int) -> None:
        stores[number % 3].write(lambda transaction: enter(transaction, number))

    with ThreadPoolExecutor(6) as pool:
        list(pool.map(write, range(30)))
    entries = stores[0].read(lambda transaction: transaction.ledger.after(0, 100))
    for store in stores:
        store.close()
    assert [entry.kind for entry in entries].count("advice") == 30
    assert [entry.position for entry in entries] == list(range(1, len(entries) + 1))
    before = [Head().digest, *(entry.digest for entry in entries[:-1])]
    assert [entry.previous_digest for entry in entries] == before


def test_the_advice_of_an_older_database_is_entered_in_its_order(file: Path) -> None:
    """The rows are written as version 1.1.0 wrote them, before there was a ledger."""
    with closing(connect(file, 1)) as connection:
        migrate(connection, 1, MIGRATIONS[:3])
        connection.execute("INSERT INTO athletes (id, name, time_zone) VALUES ('a', 'K', 'UTC')")
        for number in (3, 1, 2):
            day = f"2026-03-0{number}"
            at = f"{day}T06:00:00.000000Z"
            connection.execute(
                "INSERT INTO check_ins VALUES (?, 'a', ?, 1, '{}', ?, NULL)", (day, day, at)
            )
            connection.execute(
                "INSERT INTO advice VALUES (NULL, ?, ?, 'a', ?, 'rest', NULL, 'd', ?, ?, NULL)",
                (day, day, day, f'{{"of":"{day}"}}', at),
            )
        connection.commit()
    with Store.open(file) as store:
        walked = store.read(lambda transaction: transaction.ledger.walk(0, 10))
    assert [one.entry.at[:10] for one in walked if one.advice] == [
        "2026-03-03",
        "2026-03-01",
        "2026-03-02",
    ]
    assert [one.advice.date for one in walked if one.advice] == [
        "2026-03-03",
        "2026-03-01",
        "2026-03-02",
    ]


def test_when_a_person_is_erased_the_entries_stay(transaction: Transaction) -> None:
    transaction.athletes.put(SAM)
    enter(transaction, 0)
    before = transaction.ledger.after(0, 10)
    transaction.athletes.delete(KIM.id)
    assert transaction.ledger.after(0, 10) == before
    [walked] = transaction.ledger.walk(0, 10)
    assert (walked.salt, walked.advice) == (None, None)
