"""The tables of concerns: read back what was written, and refuse what must not happen."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from dawnrule.model.concern_transitions import (
    Actor,
    HealthReport,
    Opening,
    clear,
    consider_report,
    open_by,
)
from dawnrule.model.concerns import (
    ActorRole,
    Clearance,
    Concern,
    ConcernKind,
    ConcernState,
    PainSite,
    Restriction,
    Restrictions,
)
from dawnrule.store import Key, Role, Store, StoredCheckIn, Transaction, hash_key, hash_token
from dawnrule.store.connection import connect
from dawnrule.store.migrations import MIGRATIONS, migrate
from dawnrule.store.tables.ledger import record_digest
from tests.factories import DAY, KIM, NOW, SAM, check_in_body

COACH = Actor(ActorRole.COACH, DAY, NOW, "Ada")
RESTS = Restrictions(muscle_groups_rest=("calves",), effort_at_most=4.5, no_contact=True)
CHEST = HealthReport(KIM.id, DAY, NOW, "c-1", ("chest-pain",), "none", ())


def chest_pain(concern_id: str = "k-1", athlete_id: str = KIM.id, on: date = DAY) -> Concern:
    report = replace(CHEST, athlete_id=athlete_id, on=on)
    [concern] = consider_report((), report, lambda: concern_id, {}, lambda _: 0)
    return concern


def cleared(concern: Concern) -> Concern:
    clearance = Clearance("cl-1", ActorRole.COACH, DAY, "Ada", RESTS, until=DAY + timedelta(9))
    return clear(concern, clearance, COACH, {})


def of_every_field() -> Concern:
    pain = PainSite("joint", "left knee", ("quadriceps",), "knee", "left")
    opening = Opening(
        ConcernKind.PAIN, ("fainting",), "fever", pain, Restriction("injury", RESTS, DAY)
    )
    return cleared(open_by((), KIM.id, opening, COACH, "k-9"))


@pytest.fixture
def transaction(tmp_path: Path) -> Iterator[Transaction]:
    connection = connect(tmp_path / "dawnrule.db", busy_timeout_seconds=1)
    migrate(connection, busy_timeout_seconds=1)
    with closing(connection):
        transaction = Transaction.over(connection)
        transaction.athletes.put(KIM)
        transaction.athletes.put(SAM)
        yield transaction


def save(transaction: Transaction, concern: Concern) -> None:
    transaction.concerns.save(concern, by="key-1", at=NOW)


def test_a_concern_comes_back_as_saved_with_every_field(transaction: Transaction) -> None:
    save(transaction, of_every_field())
    assert transaction.concerns.get("k-9") == of_every_field()
    assert transaction.concerns.get("k-8") is None


def test_saving_again_stores_the_new_events_only(transaction: Transaction) -> None:
    save(transaction, chest_pain())
    save(transaction, chest_pain())
    save(transaction, cleared(chest_pain()))
    [concern] = transaction.concerns.of_athlete(KIM.id)
    assert [event.kind.value for event in concern.events] == ["opened", "cleared", "closed"]


def test_every_event_is_vouched_for_by_an_act_that_tells_nothing_of_it(
    transaction: Transaction,
) -> None:
    save(transaction, cleared(chest_pain()))
    acts = transaction.ledger.acts(limit=9)
    assert [act.act for act in acts] == ["concern-closed", "concern-cleared", "concern-opened"]
    walked = transaction.ledger.walk(0, 9)
    for one in walked:
        assert one.body is not None
        assert one.concern_event is not None
        about = json.loads(one.body)["about"]
        assert set(about) == {"athlete_id", "concern_id", "digest"}
        event = one.concern_event
        assert about["digest"] == record_digest(event.body, event.salt)
        assert "chest" not in one.body


def test_what_has_not_ended_is_found_for_one_and_for_all(transaction: Transaction) -> None:
    save(transaction, chest_pain("k-1"))
    save(transaction, cleared(chest_pain("k-2")))
    save(transaction, chest_pain("k-3", SAM.id))
    assert [concern.id for concern in transaction.concerns.not_ended()] == ["k-1", "k-3"]
    assert [one.id for one in transaction.concerns.current(KIM.id, DAY)] == ["k-1", "k-2"]
    later = DAY + timedelta(1)
    assert [one.id for one in transaction.concerns.current(KIM.id, later)] == ["k-1"]
    assert [one.id for one in transaction.concerns.of_athlete(KIM.id)] == ["k-1", "k-2"]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE concern_events SET state = 'closed'",
        "UPDATE concerns SET kind = 'pain'",
        "DELETE FROM concern_events",
        "DELETE FROM concerns",
        "INSERT OR REPLACE INTO concerns VALUES ('k-1', 'a-01', 'pain')",
    ],
)
def test_nothing_that_is_known_of_a_concern_is_changed_or_deleted(
    transaction: Transaction, statement: str
) -> None:
    save(transaction, chest_pain())
    with pytest.raises(sqlite3.IntegrityError, match=r"never|only with its athlete"):
        transaction.concerns.connection.execute(statement)


def test_a_history_grows_at_its_end_only(transaction: Transaction) -> None:
    save(transaction, chest_pain())
    with pytest.raises(sqlite3.IntegrityError, match="grows at its end"):
        transaction.concerns.connection.execute(
            "INSERT INTO concern_events VALUES (9, 'k-1', 5, 'closed', '2026-03-09', 'closed',"
            " '{}', '')"
        )


def test_concerns_leave_with_their_athlete(transaction: Transaction) -> None:
    save(transaction, cleared(chest_pain()))
    save(transaction, chest_pain("k-2", SAM.id))
    assert transaction.concerns.positions_of(KIM.id) == [1, 2, 3]
    assert transaction.athletes.delete(KIM.id)["concerns"] == 1
    assert transaction.concerns.of_athlete(KIM.id) == []
    assert [concern.id for concern in transaction.concerns.not_ended()] == ["k-2"]


def test_retention_deletes_what_ended_long_ago_and_nothing_that_is_open(
    transaction: Transaction,
) -> None:
    save(transaction, cleared(chest_pain("k-1")))
    save(transaction, chest_pain("k-2"))
    later = DAY + timedelta(1)
    assert transaction.retention.oldest_date() == DAY
    assert transaction.concerns.positions_ended_before(DAY) == []
    assert transaction.concerns.positions_ended_before(later) == [1, 2, 3]
    assert transaction.retention.delete_before(later, NOW)["concerns"] == 1
    assert [one.id for one in transaction.concerns.of_athlete(KIM.id)] == ["k-2"]
    assert transaction.retention.oldest_date() is None


def test_an_event_without_an_act_is_found(transaction: Transaction) -> None:
    save(transaction, chest_pain())
    assert transaction.concerns.events_without_entry(9) == []
    position = transaction.ledger.add_act("plan-set", {"act": "plan-set"}, NOW)
    transaction.concerns.connection.execute(
        "INSERT INTO concern_events VALUES (?, 'k-1', 2, 'closed', '2026-03-09', 'closed', '', '')",
        (position,),
    )
    assert transaction.concerns.events_without_entry(9) == ["k-1 2"]
    transaction.concerns.connection.execute("INSERT INTO concerns VALUES ('k-0', 'a-01', 'pain')")
    assert transaction.concerns.without_events(9) == ["k-0"]


# ---- migration --------------------------------------------------------------------------------

Fill = Callable[[Transaction], None]


def migrated(file: Path, fill: Fill) -> Store:
    """A database of the version before concerns, filled and then opened by this version."""
    connection = connect(file, busy_timeout_seconds=1)
    with closing(connection):
        migrate(
            connection, 1, MIGRATIONS[: [m.__name__ for m in MIGRATIONS].index("m008_concerns")]
        )
        fill(Transaction.over(connection))
        connection.commit()
    return Store.open(file)


def check_in(transaction: Transaction, day: int, **reported: Any) -> None:
    on = DAY + timedelta(days=day)
    at = datetime(on.year, on.month, on.day, 7, tzinfo=UTC)
    number = transaction.check_ins.connection.execute("SELECT count(*) FROM check_ins")
    check_in_id = f"c-{number.fetchone()[0]}"
    transaction.check_ins.add(
        StoredCheckIn(check_in_id, KIM.id, on, check_in_body(on, **reported), at, "k")
    )


WELL: dict[str, Any] = {"warning_signs": (), "illness": "none", "pain": ()}


@pytest.mark.parametrize(
    ("mornings", "expected"),
    [
        ([{"warning_signs": ("chest-pain",)}], {("heart-or-chest", "open")}),
        ([{"warning_signs": ("chest-pain",)}, WELL, WELL], {("heart-or-chest", "open")}),
        ([{"warning_signs": ("head-injury",)}, WELL, WELL, WELL], {("head-injury", "open")}),
        ([{"illness": "fever"}], {("illness", "open")}),
        ([{"illness": "fever"}, WELL], set()),
        ([{"illness": "fever"}, {}], {("illness", "open")}),
        ([WELL, {}], set()),
    ],
)
def test_concerns_are_opened_from_the_check_ins_that_are_stored(
    tmp_path: Path, mornings: list[dict[str, Any]], expected: set[tuple[str, str]]
) -> None:
    def fill(transaction: Transaction) -> None:
        transaction.athletes.put(KIM)
        for day, reported in enumerate(mornings):
            check_in(transaction, day, **reported)

    with migrated(tmp_path / "old.db", fill) as store:
        concerns = store.read(lambda transaction: transaction.concerns.of_athlete(KIM.id))
    assert {(one.kind.value, one.state.value) for one in concerns} == expected


def test_a_sign_that_was_withdrawn_on_its_own_date_waits_for_a_confirmation(
    tmp_path: Path,
) -> None:
    def fill(transaction: Transaction) -> None:
        transaction.athletes.put(KIM)
        check_in(transaction, 0, warning_signs=("fainting",))
        check_in(transaction, 0, **WELL)

    with migrated(tmp_path / "old.db", fill) as store:
        [concern] = store.read(lambda transaction: transaction.concerns.not_ended())
    assert (concern.state, concern.correction_on) == (ConcernState.OPEN, DAY)


def test_keys_and_sign_ins_outlive_the_migration_and_clinicians_may_have_keys(
    tmp_path: Path,
) -> None:
    def fill(transaction: Transaction) -> None:
        transaction.keys.add(Key("k-1", Role.COACH, None, "Ada", NOW), hash_key("coach"))
        transaction.keys.revoke("k-1", NOW)
        transaction.keys.add(Key("k-2", Role.COACH, None, None, NOW), hash_key("other"))
        transaction.sign_ins.begin(hash_token("in"), "k-2", NOW, NOW + timedelta(hours=12))

    with migrated(tmp_path / "old.db", fill) as store:
        keys = store.read(lambda transaction: transaction.keys.all())
        assert [(key.id, key.label, key.revoked_at) for key in keys] == [
            ("k-1", "Ada", NOW),
            ("k-2", None, None),
        ]
        key_id = store.read(lambda transaction: transaction.sign_ins.key_id(hash_token("in"), NOW))
        assert key_id == "k-2"
        clinician = Key("k-3", Role.CLINICIAN, None, None, NOW)
        store.write(lambda transaction: transaction.keys.add(clinician, hash_key("clinician")))
        assert store.read(lambda transaction: transaction.keys.in_use("k-3")) == clinician
