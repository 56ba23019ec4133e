"""The tables: read back what was written, and refuse what must not happen."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from dawnrule.model.entities import Athlete, Competition, PlanPhase, Session
from dawnrule.model.serialization import from_json, to_json
from dawnrule.store import (
    Key,
    Role,
    StoredAdvice,
    StoredCheckIn,
    StoredSession,
    Transaction,
    hash_key,
    new_key,
)
from dawnrule.store.connection import connect
from dawnrule.store.migrations import migrate
from tests.factories import DAY, KIM, NOW, SAM, STRENGTH, add_advice, add_check_in, check_in_body


def session(starts_at: datetime = NOW, minutes: float = 60) -> Session:
    return Session(KIM.id, starts_at, minutes, (STRENGTH,))


@pytest.fixture
def connection(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    connection = connect(tmp_path / "dawnrule.db", busy_timeout_seconds=1)
    migrate(connection, busy_timeout_seconds=1)
    yield connection
    connection.close()


@pytest.fixture
def transaction(connection: sqlite3.Connection) -> Transaction:
    transaction = Transaction.over(connection)
    transaction.athletes.put(KIM)
    return transaction


# Athletes


def test_an_athlete_comes_back_as_put(transaction: Transaction) -> None:
    assert transaction.athletes.get(KIM.id) == KIM
    assert transaction.athletes.get("nobody") is None


def test_an_athletes_calendar_comes_back_as_put(transaction: Transaction) -> None:
    competition = Competition(DAY, "main", NOW, "Spring run")
    phase = PlanPhase(DAY, DAY, "taper")
    busy = replace(KIM, body_mass_kg=71.5, competitions=(competition,), phases=(phase,))
    transaction.athletes.put(busy)
    assert transaction.athletes.get(KIM.id) == busy
    transaction.athletes.put(KIM)
    assert transaction.athletes.all() == [KIM]


def test_putting_an_athlete_again_replaces_what_is_known(transaction: Transaction) -> None:
    moved = replace(KIM, time_zone="Asia/Tokyo", date_of_birth=None)
    assert transaction.athletes.put(SAM) is True
    assert transaction.athletes.put(moved) is False
    assert transaction.athletes.all() == [moved, SAM]


def test_athletes_stand_in_the_order_of_their_ids(transaction: Transaction) -> None:
    transaction.athletes.put(Athlete("a-00", "Zoe", "UTC"))
    assert [athlete.id for athlete in transaction.athletes.all()] == ["a-00", "a-01"]


def test_putting_an_athlete_again_keeps_their_history(transaction: Transaction) -> None:
    add_check_in(transaction, "c-1")
    transaction.athletes.put(replace(KIM, name="Kim B."))
    assert transaction.check_ins.latest(KIM.id, DAY) is not None


def _fill(transaction: Transaction, athlete: Athlete) -> None:
    transaction.athletes.put(athlete)
    check_in, name = f"c-{athlete.id}", athlete.id
    for revision in ("1", "2"):
        transaction.check_ins.add(
            StoredCheckIn(check_in + revision, name, DAY, check_in_body(), NOW, None)
        )
        superseded = "v1" + name if revision == "2" else None
        add_advice(
            transaction,
            f"v{revision}{name}",
            check_in + revision,
            athlete_id=name,
            supersedes=superseded,
        )
    transaction.sessions.add(
        StoredSession(f"s-{name}", replace(session(), athlete_id=name), NOW, None)
    )
    transaction.keys.add(Key(f"k-{name}", Role.ATHLETE, name, None, NOW), hash_key(new_key()))


def test_erasing_a_person_removes_all_that_is_theirs_and_nothing_else(
    transaction: Transaction,
) -> None:
    _fill(transaction, KIM)
    _fill(transaction, SAM)
    every_row = {"athletes": 1, "check_ins": 2, "advice": 2, "sessions": 1, "keys": 1}
    kept_beside = {"shadow_verdicts": 0, "replays": 0}
    nothing_else = {
        "private_addresses": 0,
        "group_members": 0,
        "plans": 0,
        "activations": 0,
        "concerns": 0,
    }
    nothing_else |= kept_beside
    assert transaction.athletes.delete(KIM.id) == every_row | nothing_else
    assert set(transaction.athletes.delete(KIM.id).values()) == {0}
    assert transaction.athletes.delete(SAM.id) == every_row | nothing_else


def test_an_erased_person_leaves_no_bytes_in_the_file(tmp_path: Path) -> None:
    file = tmp_path / "erased.db"
    connection = connect(file, busy_timeout_seconds=1)
    migrate(connection, busy_timeout_seconds=1)
    transaction = Transaction.over(connection)
    transaction.athletes.put(replace(KIM, name="Unmistakable"))
    add_check_in(transaction, "c-1", illness="unmistakable-illness")
    connection.commit()
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert b"nmistakable" in file.read_bytes()

    transaction.athletes.delete(KIM.id)
    connection.commit()
    connection.close()
    assert b"nmistakable" not in file.read_bytes()


# Check-ins


def test_a_check_in_comes_back_as_added(transaction: Transaction) -> None:
    body = check_in_body(fatigue=4, hrv_rmssd_ms=71.5)
    received_at = datetime(2026, 3, 9, 7, 40, 0, 5, timezone(timedelta(hours=1)))
    transaction.check_ins.add(StoredCheckIn("c-1", KIM.id, DAY, body, received_at, "k-07"))
    stored = transaction.check_ins.latest(KIM.id, DAY)
    assert stored is not None
    assert (stored.id, stored.revision, stored.posted_by) == ("c-1", 1, "k-07")
    assert stored.body == body
    assert stored.received_at == received_at


def test_a_check_in_added_again_is_the_next_revision_and_the_latest(
    transaction: Transaction,
) -> None:
    assert [add_check_in(transaction, f"c-{n}", fatigue=n) for n in range(1, 12)] == list(
        range(1, 12)
    )
    latest = transaction.check_ins.latest(KIM.id, DAY)
    assert latest is not None
    assert (latest.id, latest.revision, latest.body["fatigue"]) == ("c-11", 11, 11)


def test_no_check_in_is_none(transaction: Transaction) -> None:
    add_check_in(transaction, "c-1", DAY - timedelta(1))
    assert transaction.check_ins.latest(KIM.id, DAY) is None
    assert transaction.check_ins.latest("nobody", DAY) is None


def test_a_check_in_id_is_used_once(transaction: Transaction) -> None:
    add_check_in(transaction, "c-1", fatigue=1)
    with pytest.raises(sqlite3.IntegrityError, match=r"check_ins\.id"):
        add_check_in(transaction, "c-1", fatigue=2)


def test_a_check_in_needs_an_athlete(transaction: Transaction) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
        transaction.check_ins.add(StoredCheckIn("c-1", "nobody", DAY, check_in_body(), NOW, None))


def test_before_gives_the_latest_of_each_date_in_the_window(transaction: Transaction) -> None:
    for days_before in (0, 1, 3, 28, 29):
        on = DAY - timedelta(days_before)
        add_check_in(transaction, f"first-{days_before}", on, fatigue=1)
        add_check_in(transaction, f"second-{days_before}", on, fatigue=2)
    window = transaction.check_ins.before(KIM.id, DAY, days=28)
    assert [(DAY - check_in.date).days for check_in in window] == [28, 3, 1]
    assert [check_in.fatigue for check_in in window] == [2, 2, 2]
    assert transaction.check_ins.before("nobody", DAY, days=28) == []


# Advice


def test_advice_comes_back_as_added(transaction: Transaction) -> None:
    add_check_in(transaction, "c-1")
    given = add_advice(transaction, "v-1", "c-1", record='{"b":1, "a":"\u00e9"}', rule_id=None)
    assert transaction.advice.get("v-1") == given
    assert transaction.advice.get("v-2") is None


def test_the_latest_advice_is_the_one_given_last(transaction: Transaction) -> None:
    add_check_in(transaction, "c-1")
    add_advice(transaction, "v-2", "c-1", decided_at=NOW)
    last = add_advice(transaction, "v-1", "c-1", decided_at=NOW - timedelta(1), supersedes="v-2")
    assert transaction.advice.latest(KIM.id, DAY) == last
    assert transaction.advice.latest(KIM.id, DAY + timedelta(1)) is None


def test_a_date_has_the_latest_advice_of_each_athlete(transaction: Transaction) -> None:
    for athlete in (SAM, KIM):
        _fill(transaction, athlete)
    assert [advice.id for advice in transaction.advice.for_date(DAY)] == ["v2a-01", "v2a-02"]
    assert transaction.advice.for_date(DAY + timedelta(1)) == []


def test_advice_is_superseded_once(transaction: Transaction) -> None:
    add_check_in(transaction, "c-1")
    add_advice(transaction, "v-1", "c-1")
    add_advice(transaction, "v-2", "c-1", supersedes="v-1")
    with pytest.raises(sqlite3.IntegrityError, match=r"advice\.supersedes"):
        add_advice(transaction, "v-3", "c-1", supersedes="v-1")


def _three_days_of_advice(transaction: Transaction) -> list[StoredAdvice]:
    """Two a day, the later date first: a check-in for yesterday may be posted late."""
    given = []
    for days in (2, 1, 0):
        on = DAY + timedelta(days)
        add_check_in(transaction, f"c-{days}", on)
        given += [add_advice(transaction, f"v-{days}-{n}", f"c-{days}", date=on) for n in (1, 2)]
    return given


def test_pages_go_from_the_newest_date_to_the_oldest_and_miss_nothing(
    transaction: Transaction,
) -> None:
    _three_days_of_advice(transaction)
    seen: list[str] = []
    while page := transaction.advice.page(
        KIM.id, DAY, DAY + timedelta(2), limit=2, after=seen[-1] if seen else None
    ):
        assert len(page) <= 2
        seen += [advice.id for advice in page]
    assert seen == ["v-2-2", "v-2-1", "v-1-2", "v-1-1", "v-0-2", "v-0-1"]


def test_a_page_holds_both_its_first_and_its_last_date(transaction: Transaction) -> None:
    _three_days_of_advice(transaction)
    page = transaction.advice.page(KIM.id, DAY, DAY + timedelta(1), limit=10)
    assert {advice.date for advice in page} == {DAY, DAY + timedelta(1)}


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE advice SET verdict = 'train-as-planned'",
        "UPDATE check_ins SET body = '{}'",
        "DELETE FROM advice",
        "DELETE FROM check_ins",
        "INSERT OR REPLACE INTO advice SELECT * FROM advice",
        "INSERT OR REPLACE INTO check_ins SELECT * FROM check_ins",
    ],
)
def test_what_was_reported_and_advised_cannot_be_changed(
    transaction: Transaction, connection: sqlite3.Connection, statement: str
) -> None:
    add_check_in(transaction, "c-1")
    given = add_advice(transaction, "v-1", "c-1")
    with pytest.raises(sqlite3.IntegrityError, match=r"is never (changed|deleted)"):
        connection.execute(statement)
    assert transaction.advice.get("v-1") == given


# Sessions


def _session(minutes: float = 60, starts_at: datetime = NOW) -> Session:
    """A session as it is read from what was posted."""
    return from_json(Session, to_json(session(starts_at, minutes)))


def _add_session(transaction: Transaction, session_id: str, starts_at: datetime = NOW) -> None:
    transaction.sessions.add(StoredSession(session_id, session(starts_at), NOW, "k-01"))


def test_a_session_comes_back_as_last_posted(transaction: Transaction) -> None:
    _add_session(transaction, "s-1")
    assert transaction.sessions.get("s-1") == StoredSession("s-1", _session(), NOW, "k-01")
    later = NOW + timedelta(hours=1)
    assert transaction.sessions.replace(StoredSession("s-1", session(later, 45), later, "k-02"))
    assert transaction.sessions.get("s-1") == StoredSession(
        "s-1", _session(45, later), later, "k-02"
    )
    assert transaction.sessions.window(KIM.id, NOW, later) == []


def test_a_session_that_is_not_there_is_neither_replaced_nor_deleted(
    transaction: Transaction,
) -> None:
    assert not transaction.sessions.replace(StoredSession("s-1", session(), NOW, None))
    assert not transaction.sessions.delete("s-1")
    assert transaction.sessions.get("s-1") is None


def test_a_deleted_session_is_gone(transaction: Transaction) -> None:
    _add_session(transaction, "s-1")
    assert transaction.sessions.delete("s-1")
    assert transaction.sessions.get("s-1") is None


def test_the_same_session_is_known_however_its_times_are_written(transaction: Transaction) -> None:
    _add_session(transaction, "s-1")
    elsewhere = NOW.astimezone(timezone(timedelta(hours=9)))
    assert transaction.sessions.same_as(session(NOW)) == "s-1"
    assert transaction.sessions.same_as(session(elsewhere)) == "s-1"
    assert transaction.sessions.same_as(session(NOW, minutes=61)) is None
    assert transaction.sessions.same_as(session(NOW + timedelta(seconds=1))) is None
    assert transaction.sessions.same_as(replace(session(NOW), athlete_id="nobody")) is None


def test_a_window_holds_its_first_moment_and_not_its_last(transaction: Transaction) -> None:
    for hours in (3, 2, 1, 0):
        _add_session(transaction, f"s-{hours}", NOW + timedelta(hours=hours))
    window = transaction.sessions.window(KIM.id, NOW + timedelta(hours=1), NOW + timedelta(hours=3))
    assert [session_id for session_id, _ in window] == ["s-1", "s-2"]
    assert window[0][1] == _session(starts_at=NOW + timedelta(hours=1))


def test_the_first_session_of_all_is_known(transaction: Transaction) -> None:
    assert transaction.sessions.first_start(KIM.id) is None
    for days in (0, 9, 4):
        _add_session(transaction, f"s-{days}", NOW - timedelta(days))
    assert transaction.sessions.first_start(KIM.id) == NOW - timedelta(9)


# Keys


def test_a_key_is_known_by_its_hash_until_it_is_revoked(transaction: Transaction) -> None:
    secret = new_key()
    transaction.keys.add(Key("k-1", Role.ATHLETE, KIM.id, "Kim's phone", NOW), hash_key(secret))
    key = Key("k-1", Role.ATHLETE, KIM.id, "Kim's phone", NOW, None)
    assert transaction.keys.by_hash(hash_key(secret)) == key
    assert transaction.keys.by_hash(hash_key(new_key())) is None

    assert transaction.keys.revoke("k-1", NOW) is True
    assert transaction.keys.revoke("k-1", NOW + timedelta(1)) is False
    assert transaction.keys.revoke("k-2", NOW) is False
    assert transaction.keys.by_hash(hash_key(secret)) is None
    assert transaction.keys.all() == [replace(key, revoked_at=NOW)]


def test_an_athletes_key_names_the_athlete(transaction: Transaction) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="CHECK"):
        transaction.keys.add(Key("k-1", Role.ATHLETE, None, None, NOW), "00")


def test_the_key_itself_is_not_stored(
    transaction: Transaction, connection: sqlite3.Connection
) -> None:
    secret = new_key()
    transaction.keys.add(Key("k-1", Role.COACH, None, None, NOW), hash_key(secret))
    dump = "\n".join(connection.iterdump())
    assert hash_key(secret) in dump
    assert secret.removeprefix("dawn_") not in dump


def test_a_key_carries_256_random_bits_in_letters_that_urls_leave_alone() -> None:
    keys = {new_key() for _ in range(100)}
    assert len(keys) == 100
    assert all(len(key.removeprefix("dawn_")) == 43 and key.isascii() for key in keys)
    assert not set("".join(keys)) & set("+/=%&?#.")


# How values are written


def test_the_order_of_times_as_text_is_the_order_of_time(transaction: Transaction) -> None:
    zone = timezone(timedelta(hours=-7))
    moments = [
        datetime(999, 1, 1, tzinfo=UTC),
        NOW - timedelta(microseconds=1),
        NOW.astimezone(zone),
        NOW + timedelta(microseconds=1),
        datetime(9999, 1, 1, tzinfo=UTC),
    ]
    for number, moment in enumerate(reversed(moments)):
        _add_session(transaction, f"s-{number}", moment)
    window = transaction.sessions.window(KIM.id, moments[0], moments[-1])
    assert [session.starts_at for _, session in window] == moments[:-1]


@pytest.mark.parametrize("number", [2**63, -(2**200), 5e-324, 1.7e308, 0.1 + 0.2, -0.0])
def test_a_body_keeps_numbers_that_sqlite_would_not(
    transaction: Transaction, number: float
) -> None:
    transaction.check_ins.add(StoredCheckIn("c-1", KIM.id, DAY, {"number": number}, NOW, None))
    stored = transaction.check_ins.latest(KIM.id, DAY)
    assert stored is not None
    assert repr(stored.body["number"]) == repr(number)


@pytest.mark.parametrize("number", [float("nan"), float("inf"), float("-inf")])
def test_what_is_not_a_number_is_refused_not_stored_as_null(
    transaction: Transaction, number: float
) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        transaction.check_ins.add(StoredCheckIn("c-1", KIM.id, DAY, {"number": number}, NOW, None))
    assert transaction.check_ins.latest(KIM.id, DAY) is None


def test_a_body_keeps_text_that_is_no_valid_unicode(transaction: Transaction) -> None:
    transaction.check_ins.add(
        StoredCheckIn("c-1", KIM.id, DAY, {"note": "\ud800 \x00 \U0001f31e"}, NOW, None)
    )
    stored = transaction.check_ins.latest(KIM.id, DAY)
    assert stored is not None
    assert stored.body == {"note": "\ud800 \x00 \U0001f31e"}


Call = Callable[[Transaction, datetime], object]


@pytest.mark.parametrize(
    "call",
    [
        lambda transaction, at: transaction.check_ins.add(
            StoredCheckIn("c-1", KIM.id, DAY, {}, at, None)
        ),
        lambda transaction, at: transaction.sessions.add(
            StoredSession("s-1", session(at), NOW, None)
        ),
        lambda transaction, at: transaction.sessions.window(KIM.id, at, NOW),
        lambda transaction, at: transaction.keys.revoke("k-1", at),
    ],
)
def test_a_time_without_a_zone_is_refused(transaction: Transaction, call: Call) -> None:
    with pytest.raises(ValueError, match="needs its zone"):
        call(transaction, NOW.replace(tzinfo=None))


def test_a_time_is_not_stored_where_a_date_belongs(transaction: Transaction) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="CHECK"):
        transaction.check_ins.add(StoredCheckIn("c-1", KIM.id, datetime(2026, 3, 9), {}, NOW, None))


def test_text_is_not_stored_where_a_number_belongs(connection: sqlite3.Connection) -> None:
    Transaction.over(connection).athletes.put(KIM)
    with pytest.raises(sqlite3.IntegrityError, match="cannot store TEXT"):
        connection.execute(
            "INSERT INTO check_ins VALUES ('c-1', 'a-01', '2026-03-09', 'two', '{}', '', NULL)"
        )


def _plan(connection: sqlite3.Connection, job: Callable[[], object]) -> str:
    """How SQLite goes about the last statement of a job."""
    statements: list[str] = []
    connection.set_trace_callback(statements.append)
    job()
    connection.set_trace_callback(None)
    steps = connection.execute(f"EXPLAIN QUERY PLAN {statements[-1]}")
    return "\n".join(step[-1] for step in steps)


@pytest.mark.parametrize(
    "read",
    [
        lambda transaction: transaction.check_ins.latest(KIM.id, DAY),
        lambda transaction: transaction.check_ins.before(KIM.id, DAY, 120),
        lambda transaction: transaction.advice.latest(KIM.id, DAY),
        lambda transaction: transaction.advice.get("v-1"),
        lambda transaction: transaction.advice.for_date(DAY),
        lambda transaction: transaction.advice.page(KIM.id, date.min, DAY, limit=50, after="v-1"),
        lambda transaction: transaction.sessions.get("s-1"),
        lambda transaction: transaction.sessions.window(KIM.id, NOW, NOW),
        lambda transaction: transaction.sessions.first_start(KIM.id),
        lambda transaction: transaction.sessions.same_as(session(NOW)),
        lambda transaction: transaction.keys.by_hash("00"),
        lambda transaction: transaction.athletes.get(KIM.id),
    ],
)
def test_ten_years_of_history_are_neither_scanned_nor_sorted(
    transaction: Transaction, connection: sqlite3.Connection, read: Callable[[Transaction], object]
) -> None:
    plan = _plan(connection, lambda: read(transaction))
    assert "SEARCH" in plan
    assert "SCAN" not in plan.replace("SCALAR", "")
    assert "TEMP B-TREE" not in plan
