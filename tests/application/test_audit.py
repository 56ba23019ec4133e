"""Audits: every kind of change is found, without false alarms.

Whoever changes the database here has it to themselves: the triggers that refuse changes are dropped
first, as anybody could who can write to the file. Entries of the rows of other tables are left out
here, so that positions are those of advice and acts; ``test_row_audit.py`` is about them.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from functools import partial
from hashlib import sha256
from itertools import count
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dawnrule.advice.advisor import Advisor
from dawnrule.application import audit as audit_module
from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.athletes import erase
from dawnrule.application.audit import Audited, audit
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.application.retention import apply_retention
from dawnrule.application.row_audit import Rows
from dawnrule.application.rule_sets import Publisher
from dawnrule.application.sessions import log_session
from dawnrule.clock import new_id
from dawnrule.model.concern_transitions import Actor, Opening, clear, open_by
from dawnrule.model.concerns import ActorRole, Clearance, ConcernKind
from dawnrule.model.entities import Athlete, CheckIn, Session
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import Head, Store
from dawnrule.store.activity_log import SERVICE
from dawnrule.store.connection import connect
from dawnrule.store.migrations import MIGRATIONS, migrate
from dawnrule.store.tables.ledger import entry_digest
from dawnrule.store.tables.vouched_rows import VouchedRows
from tests.benchmarks.audit import fill
from tests.cli.terminal import typed
from tests.factories import (
    CLUB,
    DAY,
    FIRST_BASELINE,
    GROWTH,
    KIM,
    LATER,
    ONE_DAY,
    SAM,
    add_session,
    post_check_in,
)

Tamper = Callable[..., None]

LIBRARY = RuleSetLibrary.bundled()
CHECK_IN_OF_LAST_ADVICE = "(SELECT check_in_id FROM advice WHERE id = 'v-again')"


@pytest.fixture(autouse=True)
def no_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither enter rows nor miss them."""
    monkeypatch.setattr(VouchedRows, "enter", lambda *_: None)
    monkeypatch.setattr(Rows, "end", lambda *_: None)


@pytest.fixture
def mornings(no_rows: None, store: Store, advisor: Advisor) -> None:
    """Three mornings of one athlete and one of another: entries 1 to 4, and an act as the fifth."""
    for day, soreness in enumerate((0, 4, 1)):
        post_check_in(store, advisor, KIM, DAY + day * ONE_DAY, soreness)
    post_check_in(store, advisor, SAM, DAY)
    store.write(
        lambda transaction: transaction.ledger.add_act(
            "key-made", {"act": "key-made", "at": "", "by": "k", "about": {}}, LATER
        )
    )


@pytest.fixture
def tamper(store: Store) -> Tamper:
    """Writes to the database past all triggers."""

    def execute(*statements: str, **values: object) -> None:
        with closing(sqlite3.connect(store.file)) as connection:
            triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            for (name,) in triggers.fetchall():
                connection.execute(f"DROP TRIGGER {name}")
            for statement in statements:
                connection.execute(statement, values)
            connection.commit()

    return execute


def audited(store: Store, kept: Head | None = None) -> Audited:
    library = LIBRARY.with_published(StoredTexts(store))
    return audit(store, library, kept=[kept] if kept else [], by_engine_each=1)


def faults(store: Store, kept: Head | None = None) -> list[tuple[int | None, str]]:
    return [(fault.position, fault.code) for fault in audited(store, kept).faults]


def head(store: Store) -> Head:
    return store.read(lambda transaction: transaction.ledger.head())


pytestmark = pytest.mark.usefixtures("mornings")


def test_a_record_that_nobody_touched_is_clean(store: Store) -> None:
    found = audited(store, head(store))
    assert found.is_clean
    assert (found.entries, found.records, found.acts, found.erased) == (5, 4, 1, 0)
    assert (found.by_engine, found.head) == (4, head(store))


def test_an_engine_that_decides_otherwise_is_found(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Decider, "fired_by_evaluator", lambda *_: ())
    assert faults(store) == [(position, "engine-differs") for position in (1, 2, 3, 4)]


def test_the_ledger_by_which_verifying_is_timed_is_clean(tmp_path: Path) -> None:
    with Store.open(tmp_path / "timed.db") as timed:
        fill(timed, 2)
        assert faults(timed) == []


def test_the_engine_decides_some_of_however_few_records(store: Store) -> None:
    assert audit(store, LIBRARY).by_engine == 1


def test_a_changed_verdict_is_found(store: Store, tamper: Tamper) -> None:
    tamper("UPDATE advice SET verdict = 'train-as-planned' WHERE position = 2")
    assert faults(store) == [(2, "column-changed")]


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("rule_id", "fever"),
        ("date", "2026-01-01"),
        ("rule_set_digest", "sha256:0"),
        ("decided_at", "2026-01-01T06:00:00.000000Z"),
        ("athlete_id", SAM.id),
        ("id", "v-0"),
    ],
)
def test_any_column_that_says_otherwise_than_its_record_is_found(
    store: Store, tamper: Tamper, column: str, value: str
) -> None:
    tamper(f"UPDATE advice SET {column} = :value WHERE position = 2", value=value)
    assert faults(store) == [(2, "column-changed")]


def test_a_changed_byte_in_a_record_is_found(store: Store, tamper: Tamper) -> None:
    tamper("UPDATE advice SET record = replace(record, 'quadriceps', 'Quadriceps') WHERE id <> ''")
    assert faults(store) == [(position, "record-changed") for position in (1, 2, 3, 4)]


def test_a_changed_check_in_is_found(store: Store, tamper: Tamper) -> None:
    tamper("UPDATE check_ins SET body = replace(body, '\"quadriceps\":4', '\"quadriceps\":1')")
    assert faults(store) == [(2, "check-in-changed")]


@pytest.mark.parametrize("change", ["date = '2020-01-01'", f"athlete_id = '{SAM.id}'"])
def test_a_check_in_that_was_put_to_another_morning_is_found(
    store: Store, tamper: Tamper, change: str
) -> None:
    tamper(f"UPDATE check_ins SET {change}, revision = 9 WHERE body LIKE '%\"quadriceps\":4%'")
    assert faults(store) == [(2, "check-in-changed"), (2, "revision-changed")]


def test_a_danger_that_was_made_to_look_older_is_found_and_said_in_words(
    store: Store, tamper: Tamper, advisor: Advisor
) -> None:
    """The latest revision of a date is what later mornings go by: turned back, the chest pain of
    yesterday would be no reason to rest today."""
    yesterday = DAY + 3 * ONE_DAY
    check_ins = CheckIns(advisor, FIRST_BASELINE, lambda: LATER, new_id)
    for number, signs in enumerate(((), ("chest-pain",))):
        now = datetime.combine(yesterday, time(6 + number), LATER.tzinfo)
        check_in = CheckIn(KIM.id, yesterday, (GROWTH,), warning_signs=signs)
        posting = Submission(now, "k-01", f"c-hidden-{number}", f"v-hidden-{number}")
        store.write(partial(check_ins.submit, check_in=check_in, submission=posting))
    assert faults(store) == []
    tamper("UPDATE check_ins SET revision = 0 WHERE body LIKE '%chest-pain%'")
    kept = head(store)
    told = typed("audit", "verify", "--head", f"{kept.position}:{kept.digest}", "--db", store.file)
    assert told.exit_code == 1
    assert "Nothing was changed" not in told.stdout
    assert (
        "a check-in stands at another place among the revisions of its date than in the order in "
        f"which they came: {yesterday}, revision 0, not 2" in told.stdout
    )


@pytest.mark.parametrize(
    ("column", "value"),
    [("posted_by", "k-02"), ("received_at", "2026-03-10T05:59:59.999999Z")],
)
def test_a_check_in_of_another_poster_or_time_is_found(
    store: Store, tamper: Tamper, column: str, value: str
) -> None:
    where = "WHERE body LIKE '%\"quadriceps\":4%'"
    tamper(f"UPDATE check_ins SET {column} = :value {where}", value=value)
    [fault] = audited(store).faults
    assert (fault.position, fault.code) == (2, "check-in-changed")
    assert fault.says.endswith(f": {column}")


def test_a_poster_that_was_taken_out_is_found(
    store: Store, advisor: Advisor, tamper: Tamper
) -> None:
    _do(store, advisor, "check-in", KIM, DAY + 3 * ONE_DAY, 2, 901)
    assert faults(store) == []
    tamper("UPDATE check_ins SET posted_by = NULL WHERE id = 'c-901'")
    assert faults(store) == [(6, "check-in-changed")]


def test_who_caused_advice_to_be_given_again_need_not_have_posted_the_check_in(
    store: Store, advisor: Advisor, tamper: Tamper
) -> None:
    """A session that comes in later has today's advice given again, by another key's doing."""
    today = DAY + 2 * ONE_DAY
    evening = datetime.combine(today, time(20), LATER.tzinfo)
    session = Session(KIM.id, datetime.combine(today, time(5), LATER.tzinfo), 60, (GROWTH,))
    check_ins = CheckIns(advisor, FIRST_BASELINE, lambda: evening, new_id)
    posting = Submission(evening, "k-09", "c-none", "v-again")
    logged = store.write(
        lambda transaction: log_session(transaction, check_ins, session, "s-1", posting)
    )
    assert logged.today is not None
    assert faults(store) == []
    tamper("UPDATE check_ins SET posted_by = 'k-09' WHERE id = " + CHECK_IN_OF_LAST_ADVICE)
    assert faults(store) == [(3, "check-in-changed")]
    tamper("UPDATE check_ins SET posted_by = NULL, received_at = '' WHERE posted_by = 'k-09'")
    assert faults(store) == [(3, "check-in-changed"), (6, "check-in-changed")]


def test_a_check_in_that_is_gone_or_no_json_is_told_as_what_it_is(
    store: Store, tamper: Tamper
) -> None:
    tamper(
        "DELETE FROM check_ins WHERE id = (SELECT check_in_id FROM advice WHERE position = 2)",
        "UPDATE check_ins SET body = '{' WHERE id = "
        "(SELECT check_in_id FROM advice WHERE position = 3)",
    )
    assert faults(store) == [(2, "check-in-missing"), (3, "check-in-changed")]


def test_a_check_in_that_was_slipped_in_is_found(store: Store, tamper: Tamper) -> None:
    tamper(
        """
        INSERT INTO check_ins (id, athlete_id, date, revision, body, received_at)
        SELECT 'c-forged', athlete_id, date, 9, body, received_at FROM check_ins LIMIT 1
        """
    )
    assert faults(store) == [(None, "check-in-without-advice")]


def test_a_changed_act_is_found(store: Store, tamper: Tamper) -> None:
    tamper("UPDATE ledger SET body = replace(body, '\"k\"', '\"c\"') WHERE position = 5")
    assert faults(store) == [(5, "record-changed")]
    tamper("UPDATE ledger SET body = replace(body, '\"c\"', '\"k\"') WHERE position = 5")
    tamper("UPDATE ledger SET act = 'key-revoked' WHERE position = 5")
    assert faults(store) == [(5, "column-changed")]


def test_a_removed_advice_is_found(store: Store, tamper: Tamper) -> None:
    tamper(
        "DELETE FROM advice_entries WHERE position = 2",
        "DELETE FROM advice WHERE position = 2",
    )
    assert faults(store) == [(2, "record-missing"), (None, "check-in-without-advice")]


def test_a_removed_entry_is_found(store: Store, tamper: Tamper) -> None:
    tamper("DELETE FROM ledger WHERE position = 2")
    assert faults(store) == [(3, "gap"), *2 * [(None, "record-without-entry")]]


def test_an_advice_and_its_entry_removed_together_are_found(store: Store, tamper: Tamper) -> None:
    tamper(
        "DELETE FROM advice_entries WHERE position = 2",
        "DELETE FROM advice WHERE position = 2",
        "DELETE FROM ledger WHERE position = 2",
        "UPDATE ledger SET position = position - 1 WHERE position > 2",
        "UPDATE advice_entries SET position = position - 1 WHERE position > 2",
    )
    assert (2, "broken-link") in faults(store)


def test_two_swapped_entries_are_found_and_named(store: Store, tamper: Tamper) -> None:
    tamper(
        "UPDATE ledger SET position = 99 WHERE position = 2",
        "UPDATE ledger SET position = 2 WHERE position = 3",
        "UPDATE ledger SET position = 3 WHERE position = 99",
    )
    moved = {f.position: f.says for f in audited(store).faults if f.code == "entry-moved"}
    assert moved == {
        2: "an entry stands where another stood: it stood at 3",
        3: "an entry stands where another stood: it stood at 2",
    }


def test_two_swapped_advice_are_found(store: Store, tamper: Tamper) -> None:
    tamper(
        "UPDATE advice SET position = 99 WHERE position = 2",
        "UPDATE advice SET position = 2 WHERE position = 3",
        "UPDATE advice SET position = 3 WHERE position = 99",
    )
    assert faults(store) == [(2, "record-changed"), (3, "record-changed")]


def test_two_swapped_advice_with_their_entries_are_found(store: Store, tamper: Tamper) -> None:
    """Which of two is the newer is told by the position of the advice: it must not be turned."""
    tamper(
        "UPDATE advice SET position = 99 WHERE position = 2",
        "UPDATE advice SET position = 2 WHERE position = 3",
        "UPDATE advice SET position = 3 WHERE position = 99",
        "UPDATE advice_entries SET advice_position = 99 WHERE advice_position = 2",
        "UPDATE advice_entries SET advice_position = 2 WHERE advice_position = 3",
        "UPDATE advice_entries SET advice_position = 3 WHERE advice_position = 99",
    )
    assert faults(store) == [(3, "order-changed")]


def test_a_cut_tail_is_found_against_a_head_that_was_kept(store: Store, tamper: Tamper) -> None:
    kept = head(store)
    tamper("DELETE FROM ledger WHERE position = 5")
    assert faults(store) == []
    assert faults(store, kept) == [(None, "cut-off")]


def test_a_ledger_written_anew_is_found_against_a_head_that_was_kept(
    store: Store, tamper: Tamper
) -> None:
    kept = head(store)
    at = "2026-06-01T00:00:00.000000Z"
    body = rfc8785.dumps({"act": "key-made", "at": "", "by": "other", "about": {}})
    entry = store.read(lambda transaction: transaction.ledger.after(4, 1))[0]
    digest = sha256(body).hexdigest()
    tamper(
        "UPDATE ledger SET body = :body, record_digest = :record, digest = :digest "
        "WHERE position = 5",
        body=body.decode(),
        record=digest,
        digest=entry_digest(5, "act", at, digest, entry.previous_digest),
    )
    assert faults(store) == []
    assert faults(store, kept) == [(5, "other-head")]


def test_an_advice_without_an_entry_is_found(store: Store, tamper: Tamper) -> None:
    tamper("DELETE FROM advice_entries WHERE position = 4")
    assert faults(store) == [(4, "record-missing"), (None, "record-without-entry")]


@pytest.mark.parametrize("position", [5, 99])
def test_an_advice_whose_entry_is_none_of_an_advice_is_found(
    store: Store, tamper: Tamper, position: int
) -> None:
    tamper("UPDATE advice_entries SET position = :position WHERE position = 4", position=position)
    found = [(4, "record-missing"), *2 * [(None, "record-without-entry")]]
    assert faults(store) == found


@pytest.fixture
def concern(store: Store, mornings: None) -> None:
    """A concern that was opened and cleared: entries 6 to 8."""
    opening = Opening(ConcernKind.HEART_OR_CHEST, ("fainting",))
    coach = Actor(ActorRole.COACH, DAY, LATER)
    opened = open_by((), KIM.id, opening, coach, "concern-1")
    clearance = Clearance("clearance-1", ActorRole.COACH, DAY)
    cleared = clear(opened, clearance, coach, {})
    store.write(lambda transaction: transaction.concerns.save(cleared, by="k", at=LATER))


@pytest.mark.usefixtures("concern")
def test_concerns_that_nobody_touched_are_clean(store: Store) -> None:
    assert (audited(store).faults, audited(store).entries) == ([], 8)


@pytest.mark.usefixtures("concern")
@pytest.mark.parametrize(
    ("statement", "found"),
    [
        (
            "UPDATE concern_events SET body = replace(body, 'fainting', 'dark-urine')",
            [(6, "record-changed")],
        ),
        ("UPDATE concern_events SET salt = '' WHERE number = 2", [(7, "record-changed")]),
        ("UPDATE concern_events SET state = 'closed' WHERE number = 1", [(6, "column-changed")]),
        (
            "UPDATE concern_events SET event = 'closed' WHERE number = 2",
            [(7, "column-changed"), (None, "record-without-entry")],
        ),
        (
            "UPDATE concern_events SET on_date = '2026-01-01' WHERE number = 3",
            [(8, "column-changed")],
        ),
        (
            "UPDATE concerns SET kind = 'pain'",
            [(6, "column-changed"), (7, "column-changed"), (8, "column-changed")],
        ),
        (
            "UPDATE concerns SET athlete_id = 'a-02'",
            [(6, "column-changed"), (7, "column-changed"), (8, "column-changed")],
        ),
        ("DELETE FROM concern_events WHERE number = 2", [(7, "record-missing")]),
        (
            "DELETE FROM concern_events",
            [
                (6, "record-missing"),
                (7, "record-missing"),
                (8, "record-missing"),
                (None, "record-missing"),
            ],
        ),
        (
            "INSERT INTO concern_events VALUES (5, 'concern-1', 4, 'opened', '2026-03-09', 'open',"
            " '{}', '')",
            [(None, "record-without-entry")],
        ),
    ],
)
def test_a_changed_missing_or_extra_event_of_a_concern_is_found(
    store: Store, tamper: Tamper, statement: str, found: list[tuple[int | None, str]]
) -> None:
    tamper(statement)
    assert faults(store) == found


@pytest.mark.usefixtures("concern")
def test_a_concern_that_left_with_its_athlete_or_by_retention_is_no_fault(store: Store) -> None:
    at = datetime.combine(DAY + timedelta(days=122), time(3), LATER.tzinfo)
    gone = apply_retention(store, 120, by=SERVICE, at=at)
    assert (gone.removed["concerns"], audited(store).is_clean) == (1, True)
    erase(store, KIM.id, by="k", at=at)
    assert (audited(store).faults, audited(store).erased) == ([], 7)


@pytest.mark.usefixtures("concern")
def test_a_concern_is_missed_although_its_athlete_was_erased_earlier(
    store: Store, tamper: Tamper
) -> None:
    erase(store, SAM.id, by="k", at=LATER)
    tamper("DELETE FROM concern_events WHERE number = 1")
    assert faults(store) == [(6, "record-missing")]


def forge(store: Store, change: Callable[[dict[str, Any]], object]) -> None:
    """Enter a copy of the last advice, changed, by the store's own means: all digests fit."""

    def enter(transaction: Any) -> None:
        [*_, (_, last)] = transaction.advice.after(0, 100)
        record = json.loads(last.record)
        record["advice"]["advice_id"], record["supersedes"] = "v-forged", last.id
        change(record)
        text = rfc8785.dumps(record).decode()
        verdict = record["advice"]["verdict"]
        forged = replace(last, id="v-forged", supersedes=last.id, record=text, verdict=verdict)
        transaction.advice.add(forged)

    store.write(enter)


def test_a_forged_entry_whose_digests_fit_comes_out_otherwise(store: Store) -> None:
    forge(store, lambda record: record["advice"].update(verdict="rest"))
    assert faults(store) == [(6, "other-outcome")]


def test_a_forged_entry_whose_facts_were_changed_comes_out_otherwise(store: Store) -> None:
    forge(store, lambda record: record["facts"]["day"].update(sleep_hours=2.0))
    assert faults(store) == [(6, "other-outcome")]


def test_a_copy_that_changes_nothing_that_counts_comes_out_the_same(store: Store) -> None:
    forge(store, lambda record: None)
    assert faults(store) == []


@pytest.mark.parametrize("name", ["advice", "facts", "fired", "check_in", "supersedes"])
def test_a_forged_record_of_another_form_is_found(store: Store, name: str) -> None:
    def drop(transaction: Any) -> None:
        [*_, (_, last)] = transaction.advice.after(0, 100)
        record = {k: v for k, v in json.loads(last.record).items() if k != name}
        text = rfc8785.dumps(record).decode()
        transaction.advice.add(replace(last, id="v-forged", supersedes=last.id, record=text))

    store.write(drop)
    assert (6, "unreadable") in faults(store)


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"act": "athlete-erased"},
        {"act": "athlete-erased", "about": {"positions": "all"}},
        {"act": "athlete-erased", "about": {"positions": 1}},
    ],
    ids=str,
)
def test_a_forged_act_of_another_form_is_found(store: Store, body: dict[str, Any]) -> None:
    store.write(lambda transaction: transaction.ledger.add_act("athlete-erased", body, LATER))
    assert faults(store) == [(6, "unreadable")]


@pytest.fixture
def club(store: Store) -> str:
    """A published rule set that holds, under which a morning was decided."""
    library = LIBRARY.with_published(StoredTexts(store))
    publisher = Publisher(store, library, lambda: LATER)
    rule_set = publisher.publish(CLUB, "club.yaml", None).rule_set
    publisher.activate(rule_set, None, None, None)
    club_advisor = replace(Advisor.bundled(), library=library)
    post_check_in(store, club_advisor, SAM, DAY + ONE_DAY)
    return rule_set.digest


def test_advice_under_a_published_rule_set_is_decided_by_that(store: Store, club: str) -> None:
    assert audited(store).is_clean
    assert {f"{club}"} < set(_digests(store))


def _digests(store: Store) -> list[str]:
    found = store.read(lambda transaction: transaction.advice.after(0, 100))
    return [advice.rule_set_digest for _, advice in found]


def test_a_changed_rule_set_is_found(store: Store, club: str, tamper: Tamper) -> None:
    tamper("UPDATE rule_sets SET text = replace(text, 'version: 1.0.0', 'version: 9.0.0')")
    found = audited(store)
    assert [(fault.position, fault.code) for fault in found.faults] == [(None, "rule-set-gone")]
    assert (found.records, found.decided) == (5, 4)


# No false alarm


def test_an_erased_person_is_no_fault(store: Store, advisor: Advisor) -> None:
    erase(store, KIM.id, by="k-01", at=LATER)
    post_check_in(store, advisor, SAM, DAY + ONE_DAY)
    found = audited(store)
    assert found.is_clean
    assert (found.records, found.erased, found.acts) == (2, 3, 2)


def test_an_act_of_erasing_covers_what_it_names_and_no_more(store: Store, tamper: Tamper) -> None:
    erase(store, KIM.id, by="k-01", at=LATER)
    tamper(
        "DELETE FROM advice_entries WHERE position = 4",
        "DELETE FROM advice WHERE athlete_id = 'a-02'",
    )
    assert faults(store) == [(4, "record-missing"), (None, "check-in-without-advice")]


def say_erased(store: Store, positions: str) -> None:
    """An act of erasing that somebody put in by hand."""
    body = {"act": "athlete-erased", "at": "", "by": "k", "about": {"positions": positions}}
    store.write(lambda transaction: transaction.ledger.add_act("athlete-erased", body, LATER))


def test_what_is_erased_before_its_time_is_not_covered_by_an_earlier_act(
    store: Store, advisor: Advisor, tamper: Tamper
) -> None:
    say_erased(store, "7")
    post_check_in(store, advisor, SAM, DAY + ONE_DAY)
    tamper("DELETE FROM advice_entries WHERE position = 7", "DELETE FROM advice WHERE position = 5")
    assert faults(store) == [
        (6, "not-erased"),
        (7, "record-missing"),
        (None, "check-in-without-advice"),
    ]


@pytest.mark.parametrize("positions", ["2", "1-4", "5", "7-99999999999999"])
def test_an_act_of_erasing_what_is_still_there_or_never_was_is_found(
    store: Store, positions: str
) -> None:
    say_erased(store, positions)
    assert faults(store) == [(6, "not-erased")]


def test_nothing_is_erased_twice(store: Store) -> None:
    erase(store, KIM.id, by="k-01", at=LATER)
    say_erased(store, "1-3")
    assert faults(store) == [(7, "not-erased")]


def test_the_advice_of_an_older_database_verifies(store: Store, tmp_path: Path) -> None:
    """The same rows in a database of version 1.1.0, which had no ledger."""
    older = tmp_path / "older.db"
    tables = ("athletes", "check_ins", "advice")
    with closing(connect(older, 1)) as connection:
        migrate(connection, 1, MIGRATIONS[:3])
        connection.execute("ATTACH ? AS newer", (str(store.file),))
        for table in tables:
            rows = connection.execute(f"SELECT * FROM {table}")
            names = ", ".join(column[0] for column in rows.description)
            connection.execute(f"INSERT INTO {table} ({names}) SELECT {names} FROM newer.{table}")
        connection.commit()
    with Store.open(older) as opened:
        found = audited(opened)
    assert (found.faults, found.records, found.acts) == ([], 4, 0)


def test_what_left_by_retention_is_no_fault(store: Store) -> None:
    at = datetime.combine(DAY + timedelta(days=122), time(3), LATER.tzinfo)
    forgotten = apply_retention(store, 120, by=SERVICE, at=at)
    assert (forgotten.removed["advice"], forgotten.removed["check_ins"]) == (3, 3)
    found = audited(store)
    assert found.is_clean
    assert (found.records, found.erased) == (1, 3)


def test_a_ledger_is_walked_in_steps(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(audit_module, "READ_TOGETHER", 2)
    steps: list[tuple[int, int]] = []
    found = audit(store, LIBRARY, progress=lambda done, of: steps.append((done, of)))
    assert (found.is_clean, steps) == (True, [(2, 5), (4, 5), (5, 5)])


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["check-in", "session", "erase"]),
            st.sampled_from([KIM, SAM]),
            st.integers(0, 3),
            st.integers(0, 5),
        ),
        max_size=12,
    )
)
def test_no_run_of_check_ins_corrections_and_erasures_raises_an_alarm(
    tmp_path_factory: pytest.TempPathFactory,
    advisor: Advisor,
    doings: list[tuple[str, Athlete, int, int]],
) -> None:
    file = tmp_path_factory.mktemp("run") / "dawnrule.db"
    ids = count()
    with Store.open(file) as store:
        store.write(lambda transaction: [transaction.athletes.put(who) for who in (KIM, SAM)])
        for doing, who, days, soreness in doings:
            _do(store, advisor, doing, who, DAY + days * ONE_DAY, soreness, next(ids))
        assert audited(store, head(store)).faults == []


def _do(
    store: Store,
    advisor: Advisor,
    doing: str,
    who: Athlete,
    day: date,
    soreness: int,
    number: int,
) -> None:
    if doing == "erase":
        erase(store, who.id, by="k-01", at=LATER)
        store.write(lambda transaction: transaction.athletes.put(who))
    elif doing == "session":
        add_session(store, who, day)
    else:
        check_in = CheckIn(who.id, day, (GROWTH,), soreness={"quadriceps": soreness})
        now = datetime.combine(DAY + 3 * ONE_DAY, time(20), LATER.tzinfo)
        posting = Submission(now, "k-01", f"c-{number}", f"v-{number}")
        check_ins = CheckIns(advisor, FIRST_BASELINE, lambda: now, new_id)
        store.write(lambda transaction: check_ins.submit(transaction, check_in, posting))


# The command


def test_the_command_says_that_nothing_was_changed(store: Store) -> None:
    told = typed("audit", "verify", "--db", store.file)
    assert told.exit_code == 0
    counts = "5 entries: 4 advice, 4 decided again (1 by the engine too), 0 erased, 1 act"
    assert counts in told.stdout
    assert told.stdout.endswith("Nothing was changed.\n")


def test_the_command_names_what_was_changed_and_ends_with_1(store: Store, tamper: Tamper) -> None:
    tamper("UPDATE advice SET verdict = 'train-as-planned' WHERE position = 2")
    told = typed("audit", "verify", "--thorough", "--db", store.file)
    assert told.exit_code == 1
    assert (
        "entry 2: a column beside a record says otherwise than the record: verdict" in told.stdout
    )
    plain = json.loads(typed("audit", "verify", "--format", "json", "--db", store.file).stdout)
    assert (plain["clean"], plain["fault_count"]) == (False, 1)
    assert plain["faults"][0]["code"] == "column-changed"


def test_the_head_that_is_printed_is_the_one_that_is_taken(store: Store, tamper: Tamper) -> None:
    kept = typed("audit", "head", "--db", store.file).stdout.strip()
    assert typed("audit", "verify", "--head", kept, "--db", store.file).exit_code == 0
    tamper("DELETE FROM ledger WHERE position = 5")
    told = typed("audit", "verify", "--head", kept, "--db", store.file)
    assert told.exit_code == 1
    assert "no entry: the logbook ends before the head that was kept: 4, not 5" in told.stdout


@pytest.mark.parametrize("text", ["5", "5:abc", "x:" + "0" * 64, "5:" + "G" * 64])
def test_a_head_that_is_none_is_refused(store: Store, text: str) -> None:
    told = typed("audit", "verify", "--head", text, "--db", store.file)
    assert (told.exit_code, told.stdout) == (2, "")
    assert "POSITION:DIGEST" in told.stderr


def test_acts_are_listed_with_who_and_when(store: Store) -> None:
    made = typed("keys", "create", "--role", "coach", "--label", "Ilka's", "--db", store.file)
    assert made.exit_code == 0
    told = typed("audit", "acts", "--act", "key-made", "--limit", "1", "--db", store.file).stdout
    _, _, line = told.splitlines()
    assert "command-line" in line
    assert "role coach" in line
    assert "Ilka" not in told
    before = typed("audit", "acts", "--to", "2026-05-31", "--format", "json", "--db", store.file)
    assert json.loads(before.stdout) == {"acts": []}


def test_a_database_that_is_not_there_is_wrong_use(tmp_path: Path) -> None:
    assert typed("audit", "verify", "--db", tmp_path / "none.db").exit_code == 2
