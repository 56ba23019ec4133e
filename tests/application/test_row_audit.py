"""Audits of the rows that advice hangs on: every change past the service is found and named.

Whoever changes the database here has it to themselves: triggers are taken away for the change and
put back after it, so that nothing else tells of it.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import datetime, time, timedelta
from functools import partial

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.application.athletes import erase
from dawnrule.application.audit import Audited, audit
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.application.plans import set_plan
from dawnrule.application.retention import apply_retention
from dawnrule.application.sessions import correct_session, log_session, remove_session
from dawnrule.clock import new_id
from dawnrule.model.entities import CheckIn, Session
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import Key, Role, Store, StoredPlan
from dawnrule.store.activity_log import SERVICE
from tests.cli.terminal import typed
from tests.factories import (
    DAY,
    FIRST_BASELINE,
    GROWTH,
    KIM,
    LATER,
    NOW,
    ONE_DAY,
    SAM,
    post_check_in,
)

LIBRARY = RuleSetLibrary.bundled()
YESTERDAY, TODAY = DAY + ONE_DAY, DAY + 2 * ONE_DAY


def at_six(day: int) -> datetime:
    return datetime.combine(DAY + timedelta(day), time(6), LATER.tzinfo)


@pytest.fixture(autouse=True)
def squad(store: Store, advisor: Advisor) -> None:
    """Two athletes, three mornings, a session, a plan, a key."""
    for day in range(2):
        post_check_in(store, advisor, KIM, DAY + day * ONE_DAY, day)
    post_check_in(store, advisor, SAM, DAY)
    check_ins = CheckIns(advisor, FIRST_BASELINE, lambda: NOW, new_id)
    done = Session(KIM.id, at_six(0), 60, (GROWTH,))
    posting = Submission(at_six(2), "k-01", "c-session", "v-session")
    plan = StoredPlan(KIM.id, DAY, (GROWTH,), NOW, "k-01")
    key = Key("k-01", Role.COACH, None, "Ilka", NOW)
    store.write(
        partial(
            log_session, check_ins=check_ins, session=done, session_id="s-1", submission=posting
        )
    )
    store.write(lambda transaction: set_plan(transaction, plan, by="k-01"))
    store.write(lambda transaction: transaction.keys.add(key, "0" * 64))


def tamper(store: Store, *statements: str) -> None:
    """Write to the database past all triggers, and leave them as they were."""
    with closing(sqlite3.connect(store.file)) as connection:
        found = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        triggers = connection.execute(found).fetchall()
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)
        for _, sql in triggers:
            connection.execute(sql)
        connection.commit()


def audited(store: Store) -> Audited:
    return audit(store, LIBRARY)


def codes(store: Store) -> set[str]:
    return {fault.code for fault in audited(store).faults}


def test_what_the_service_writes_is_clean(store: Store, advisor: Advisor) -> None:
    check_ins = CheckIns(advisor, FIRST_BASELINE, lambda: NOW, new_id)
    posting = Submission(at_six(2), "k-01", "c-none", "v-none")
    done = Session(KIM.id, at_six(0), 90, (GROWTH,))
    store.write(lambda transaction: correct_session(transaction, check_ins, done, "s-1", posting))
    post_check_in(store, advisor, KIM, TODAY)
    store.write(lambda transaction: remove_session(transaction, check_ins, "s-1", posting))
    store.write(lambda transaction: transaction.keys.revoke("k-01", NOW))
    found = audited(store)
    assert found.faults == []
    assert found.vouched.since is None
    assert found.vouched.histories == found.records
    assert found.vouched.rows == 2 + 4 + 1 + 1


def test_what_is_erased_leaves_a_clean_record_and_takes_its_salts_along(store: Store) -> None:
    erase(store, KIM.id, by=SERVICE, at=NOW)
    assert audited(store).faults == []
    with closing(sqlite3.connect(store.file)) as connection:
        left = connection.execute("SELECT of_table, key FROM vouched_rows").fetchall()
    assert KIM.id not in str(left)
    assert len(left) == 3


def test_what_retention_deletes_leaves_a_clean_record(store: Store) -> None:
    apply_retention(store, 130, by=SERVICE, at=NOW + timedelta(131), clock_is_right=True)
    found = audited(store)
    assert found.faults == []
    assert found.erased > 0


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("UPDATE sessions SET body = replace(body, '60', '90')", 'row-changed sessions ["s-1"]'),
        ("DELETE FROM sessions", 'row-missing sessions ["s-1"]'),
        (
            "INSERT INTO sessions SELECT 's-2', athlete_id, starts_at, body, received_at, NULL "
            "FROM sessions",
            'row-without-entry sessions ["s-2"]',
        ),
        ("UPDATE keys SET role = 'poster'", 'row-changed keys ["k-01"]'),
        ("DELETE FROM plans", 'row-missing plans ["a-01","2026-03-09"]'),
        (
            "UPDATE athletes SET time_zone = 'Asia/Tokyo' WHERE id = 'a-02'",
            'row-changed athletes ["a-02"]',
        ),
        (
            "UPDATE vouched_rows SET salt = '' WHERE of_table = 'keys'",
            'row-changed keys ["k-01"]',
        ),
        ("DELETE FROM vouched_rows WHERE of_table = 'keys'", 'row-without-entry keys ["k-01"]'),
        (
            "UPDATE vouched_rows SET number = 99 WHERE of_table = 'keys'",
            'row-without-entry keys ["k-01"]',
        ),
    ],
)
def test_a_row_that_differs_is_missing_or_is_too_many_is_named(
    store: Store, statement: str, says: str
) -> None:
    tamper(store, statement)
    faults = [f"{fault.code} {fault.says.rpartition(': ')[2]}" for fault in audited(store).faults]
    assert says in faults


@pytest.mark.parametrize(
    "statement",
    [
        "DROP TRIGGER check_ins_stay_as_they_are",
        "CREATE TRIGGER quiet AFTER INSERT ON check_ins BEGIN DELETE FROM sessions; END",
        "DROP INDEX ledger_acts",
        "ALTER TABLE plans ADD COLUMN note TEXT",
    ],
)
def test_a_trigger_index_or_table_that_is_not_as_it_was_made_is_found(
    store: Store, statement: str
) -> None:
    with closing(sqlite3.connect(store.file)) as connection:
        connection.execute(statement)
        connection.commit()
    assert codes(store) == {"schema-changed"}


def post_today(store: Store, advisor: Advisor) -> None:
    check_ins = CheckIns(advisor, FIRST_BASELINE, lambda: at_six(2), new_id)
    posting = Submission(at_six(2), "k-01", "c-today", "v-today")
    check_in = CheckIn(KIM.id, TODAY, (GROWTH,))
    store.write(partial(check_ins.submit, check_in=check_in, submission=posting))


@pytest.mark.parametrize(
    ("edit", "back"),
    [
        (
            "UPDATE check_ins SET revision = 7 WHERE athlete_id = 'a-01' AND date = '2026-03-10'",
            "UPDATE check_ins SET revision = 1 WHERE revision = 7",
        ),
        (
            "UPDATE check_ins SET date = '2020-01-01'"
            " WHERE athlete_id = 'a-01' AND date = '2026-03-10'",
            "UPDATE check_ins SET date = '2026-03-10' WHERE date = '2020-01-01'",
        ),
        (
            "UPDATE sessions SET athlete_id = 'a-02'",
            "UPDATE sessions SET athlete_id = 'a-01'",
        ),
    ],
)
def test_a_history_that_was_another_for_one_morning_is_found_afterwards(
    store: Store, advisor: Advisor, edit: str, back: str
) -> None:
    tamper(store, edit)
    post_today(store, advisor)
    tamper(store, back)
    assert codes(store) == {"history-differs"}


def test_the_command_says_what_is_vouched_for(store: Store) -> None:
    told = typed("audit", "verify", "--db", store.file).stdout
    assert (
        "8 rows of other tables as they were entered, 3 mornings decided on what was entered"
        in told
    )
