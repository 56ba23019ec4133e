"""Erasure and retention: deleted data is gone from every file, and files are private."""

from __future__ import annotations

import os
import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing, nullcontext
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from time import sleep

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.analytics.archive import Archive
from dawnrule.application import retention as retention_module
from dawnrule.application.athletes import DISAGREEMENTS_ENDING, erase
from dawnrule.application.audit import audit
from dawnrule.application.leftovers import Leftovers
from dawnrule.application.retention import apply_retention, retention_kept
from dawnrule.errors import Conflict, InvalidInput, NotFound
from dawnrule.model.entities import Athlete, Block, Session
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import (
    Key,
    Role,
    Store,
    StoredAdvice,
    StoredCheckIn,
    StoredPlan,
    StoredSession,
    Transaction,
    database,
    hash_key,
)
from tests.cli.terminal import typed
from tests.factories import DAY, LATER, ONE_DAY, SAM, add_session, post_check_in
from tests.faults.killed_at import killed_at

RARE = Athlete("a-rare-id", "Raritas Unmistakable", "Pacific/Chatham")
ATHLETES, DAYS = 12, 40
YEARS = timedelta(days=5 * 365)
"""How far a clock is ahead."""


def traces(store: Store, *words: str) -> dict[str, list[str]]:
    """The files beside a store, and itself, in which any of the words stand."""
    found = {
        file.name: [word for word in words if word.encode() in file.read_bytes()]
        for file in store.file.parent.iterdir()
    }
    return {name: words for name, words in found.items() if words}


@pytest.fixture
def no_umask() -> Iterator[None]:
    before = os.umask(0)
    yield
    os.umask(before)


@pytest.fixture
def rare(store: Store, advisor: Advisor) -> None:
    """Somebody whose words can be told from everybody else's, with some of everything."""
    for day in range(5):
        post_check_in(store, advisor, RARE, DAY + day * ONE_DAY, day)
        post_check_in(store, advisor, SAM, DAY + day * ONE_DAY, day)
        add_session(store, RARE, DAY + day * ONE_DAY)
    store.write(
        lambda transaction: transaction.keys.add(
            Key("k-rare", Role.ATHLETE, RARE.id, "the rare phone", LATER), hash_key("rare")
        )
    )
    Archive(store).mornings()
    beside = store.file.with_name(store.file.name + DISAGREEMENTS_ENDING)
    beside.write_text("words from the rare phone", encoding="utf-8")
    beside.chmod(0o600)


def fill(transaction: Transaction, squad: list[str], chance: random.Random) -> None:
    """Rows of all kinds for each of a squad and each date, in any order and of any length."""
    for who in squad:
        transaction.athletes.put(Athlete(who, f"Name of {who}!", "UTC"))
    for number in range(DAYS):
        for who in chance.sample(squad, ATHLETES):
            date = DAY + number * ONE_DAY
            at = datetime.combine(date, time(6), UTC)
            name = f"{chance.getrandbits(64):x}"
            note = {"note": f"words of {who}! " * chance.randrange(1, 60)}
            transaction.check_ins.add(StoredCheckIn(f"c{name}", who, date, note, at, None))
            done = Session(who, at, 60, (Block(note["note"]),))
            transaction.sessions.add(StoredSession(f"s{name}", done, at, None))
            transaction.plans.put(StoredPlan(who, date, done.blocks, at, None))
            transaction.advice.add(
                StoredAdvice(f"v{name}", f"c{name}", who, date, "rest", None, "d", "{}", at)
            )


@pytest.mark.usefixtures("rare")
def test_an_erased_person_is_in_no_file_but_by_id_in_the_act(store: Store) -> None:
    words = (RARE.name, RARE.time_zone, "the rare phone", hash_key("rare"))
    assert traces(store, *words, RARE.id)
    erased = erase(store, RARE.id, by="k-01", at=LATER)
    assert erased.is_wiped
    assert erased.removed["advice"] == erased.removed["check_ins"] == 5
    assert traces(store, *words) == {}
    whole = store.file.read_bytes()
    assert whole.count(RARE.id.encode()) == 1, "in the act, and nowhere else"


def test_no_copy_of_a_row_that_sqlite_once_moved_survives(store: Store) -> None:
    """Rows of many athletes, in no order, make SQLite split and fill pages; what it leaves in
    their gaps is of rows that may be erased later."""
    chance, squad = random.Random(1), [f"a-{number:02}" for number in range(ATHLETES)]
    store.write(lambda transaction: fill(transaction, squad, chance))
    for who in chance.sample(squad, 5):
        erase(store, who, by="k-01", at=LATER)
        dates = [(DAY + day * ONE_DAY).isoformat() for day in range(DAYS)]
        assert traces(store, f"words of {who}!", f"Name of {who}!") == {}
        assert traces(store, *(f"{who}{date}" for date in dates)) == {}, "keys of indexes"


@pytest.mark.usefixtures("rare")
def test_the_chain_of_who_stays_is_whole_after_an_erasure(store: Store) -> None:
    erase(store, RARE.id, by="k-01", at=LATER)
    found = audit(store, RuleSetLibrary.bundled(), by_engine_each=1)
    assert (found.is_clean, found.records, found.erased) == (True, 5, 5)


@pytest.mark.usefixtures("rare")
def test_when_others_hold_on_to_the_files_that_is_told(store: Store, tmp_path: Path) -> None:
    impatient = Store.open(store.file, busy_timeout_seconds=0.1)
    with closing(sqlite3.connect(store.file)) as other:
        other.execute("BEGIN")
        other.execute("SELECT count(*) FROM athletes").fetchone()
        erased = erase(impatient, RARE.id, by="k-01", at=LATER)
        assert not erased.is_wiped
        other.rollback()
        other.execute("BEGIN IMMEDIATE")
        assert not impatient.wipe()
        assert typed("athletes", "wipe", "--db", tmp_path / "none.db").exit_code == 2
        other.rollback()
    impatient.close()
    assert typed("athletes", "wipe", "--db", store.file).exit_code == 0
    assert traces(store, RARE.name) == {}


@pytest.mark.usefixtures("no_umask", "rare")
def test_every_file_is_its_owners_alone_whatever_the_umask(store: Store) -> None:
    packed = store.file.with_name("e.zip")
    typed("athletes", "export", RARE.id, "--output", packed, "--db", store.file)
    modes = {file.name: file.stat().st_mode & 0o777 for file in store.file.parent.iterdir()}
    name = store.file.name
    assert set(modes) >= {name, f"{name}-wal", f"{name}-shm", f"{name}.facts.parquet", "e.zip"}
    assert set(modes.values()) == {0o600}


# Retention


def reported(store: Store, who: Athlete) -> list[date]:
    """The dates for which somebody's check-ins are there."""
    days = timedelta(days=9_000)
    check_ins = store.read(lambda b: b.check_ins.before(who.id, DAY + days, days.days + 1))
    return [check_in.date for check_in in check_ins]


@pytest.fixture
def long_ago(store: Store, advisor: Advisor) -> datetime:
    """A time when the first two of the days above are older than 120 days."""
    for day in range(4):
        post_check_in(store, advisor, RARE, DAY + day * ONE_DAY, day)
        add_session(store, RARE, DAY + day * ONE_DAY)
    Archive(store).mornings()
    return datetime.combine(DAY + timedelta(days=122), time(0, 5), UTC)


def test_what_is_older_than_the_days_leaves_from_every_file(
    store: Store, long_ago: datetime
) -> None:
    forgotten = apply_retention(store, 120, by="service", at=long_ago)
    gone = {"advice": 2, "check_ins": 2, "sessions": 2, "plans": 0, "replays": 0, "concerns": 0}
    assert (forgotten.removed, forgotten.before) == (gone, DAY + 2 * ONE_DAY)
    assert traces(store, f'"date":"{DAY.isoformat()}"', f"{RARE.id}{DAY.isoformat()}") == {}
    kept = store.read(
        lambda transaction: transaction.check_ins.before(RARE.id, DAY + 9 * ONE_DAY, 9)
    )
    assert [check_in.date for check_in in kept] == [DAY + 2 * ONE_DAY, DAY + 3 * ONE_DAY]


def test_when_nothing_is_so_old_nothing_is_written(store: Store, long_ago: datetime) -> None:
    apply_retention(store, 120, by="service", at=long_ago)
    head = store.read(lambda transaction: transaction.ledger.head())
    assert apply_retention(store, 120, by="service", at=long_ago).removed == {}
    assert store.read(lambda transaction: transaction.ledger.head()) == head


def test_what_is_younger_cannot_be_deleted(store: Store, long_ago: datetime) -> None:
    apply_retention(store, 120, by="service", at=long_ago)
    with pytest.raises(sqlite3.IntegrityError, match="never deleted before its time"):
        store.write(lambda transaction: transaction.advice.connection.execute("DELETE FROM advice"))


def test_fewer_days_than_advice_looks_back_are_refused(store: Store) -> None:
    with pytest.raises(InvalidInput, match="at least 120 days, not 119"):
        apply_retention(store, 119, by="service", at=LATER)
    with pytest.raises(InvalidInput), retention_kept(store, 119, lambda: LATER):
        pass


def test_a_service_that_is_asked_to_applies_retention_each_night(
    store: Store, long_ago: datetime, advisor: Advisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(retention_module, "_seconds_to_midnight", lambda now: 0.01)
    post_check_in(store, advisor, SAM, DAY + 60 * ONE_DAY)
    nights = iter(long_ago + day * ONE_DAY for day in range(10_000))
    with retention_kept(store, 120, lambda: next(nights)):
        for _ in range(500):
            if reported(store, RARE) == []:
                break
            sleep(0.01)
    assert reported(store, RARE) == []


def test_a_clock_that_is_years_ahead_erases_nothing(store: Store, long_ago: datetime) -> None:
    head = store.read(lambda transaction: transaction.ledger.head())
    with pytest.raises(Conflict, match="the clock says 2031-07-08"):
        apply_retention(store, 120, by="service", at=long_ago + YEARS)
    assert len(reported(store, RARE)) == 4
    assert store.read(lambda transaction: transaction.ledger.head()) == head


def test_what_came_in_by_a_clock_that_is_ahead_does_not_make_it_right(
    store: Store, advisor: Advisor, long_ago: datetime
) -> None:
    ahead = long_ago + YEARS
    for day in (0, 1, 59):
        post_check_in(store, advisor, SAM, ahead.date() + day * ONE_DAY)
        with pytest.raises(Conflict):
            apply_retention(store, 120, by="service", at=ahead + day * ONE_DAY)
    assert len(reported(store, RARE)) == 4


def test_whoever_says_that_the_clock_is_right_is_believed(store: Store, long_ago: datetime) -> None:
    at = long_ago + YEARS
    forgotten = apply_retention(store, 120, by="command-line", at=at, clock_is_right=True)
    assert (forgotten.removed["check_ins"], reported(store, RARE)) == (4, [])


@pytest.mark.parametrize(("days", "is_doubted"), [(31, False), (32, True)])
def test_one_night_erases_no_more_than_31_days(
    store: Store, long_ago: datetime, days: int, is_doubted: bool
) -> None:
    at = datetime.combine(DAY + timedelta(days=120 + days), time(0, 5), UTC)
    with pytest.raises(Conflict) if is_doubted else nullcontext():
        apply_retention(store, 120, by="service", at=at)
    assert bool(reported(store, RARE)) is is_doubted


def test_a_squad_may_pause_for_as_long_as_it_likes(
    store: Store, advisor: Advisor, long_ago: datetime
) -> None:
    """While the service runs, a pause makes no single night delete more."""
    post_check_in(store, advisor, SAM, DAY + timedelta(days=100))
    for night in range(8):
        apply_retention(store, 120, by="service", at=long_ago + night * ONE_DAY)
    assert (reported(store, RARE), len(reported(store, SAM))) == ([], 1)


def test_an_old_training_log_counts_as_much_as_check_ins(
    store: Store, advisor: Advisor, long_ago: datetime
) -> None:
    add_session(store, SAM, DAY - timedelta(days=40))
    with pytest.raises(Conflict, match="more than 31 days"):
        apply_retention(store, 120, by="service", at=long_ago)


def test_a_service_whose_clock_is_ahead_warns_and_erases_nothing(
    store: Store,
    long_ago: datetime,
    caplog: pytest.LogCaptureFixture,
) -> None:
    with retention_kept(store, 120, lambda: long_ago + YEARS):
        for _ in range(500):
            if caplog.records:
                break
            sleep(0.01)
    [warning] = caplog.records
    assert (warning.levelname, warning.name) == ("WARNING", "dawnrule.retention")
    assert "retention was not applied" in warning.message
    assert "dawnrule retention apply --clock-is-right" in warning.message
    assert len(reported(store, RARE)) == 4


def test_the_command_that_doubts_the_clock_says_how_to_insist(
    store: Store, long_ago: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dawnrule.cli.maintenance.now", lambda: long_ago + YEARS)
    words = ("retention", "apply", "--days", "120", "--db", store.file)
    refused = typed(*words)
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert "--clock-is-right" in refused.stderr
    assert len(reported(store, RARE)) == 4
    assert typed(*words, "--clock-is-right").exit_code == 0
    assert reported(store, RARE) == []


def test_midnight_is_waited_for() -> None:
    before = datetime(2026, 3, 9, 23, 59, tzinfo=UTC)
    assert retention_module._seconds_to_midnight(before) == 60


def test_the_command_applies_retention_now(
    store: Store, long_ago: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dawnrule.cli.maintenance.now", lambda: long_ago)
    told = typed("retention", "apply", "--days", "120", "--db", store.file)
    assert told.exit_code == 0
    assert "Nothing from before" in told.stderr
    too_few = typed("retention", "apply", "--days", "30", "--db", store.file)
    assert (too_few.exit_code, "at least 120 days" in too_few.stderr) == (1, True)


def test_the_command_that_applies_retention_tells_when_traces_are_left(
    store: Store, long_ago: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Store, "wipe", lambda self: False)
    monkeypatch.setattr("dawnrule.cli.maintenance.now", lambda: long_ago)
    told = typed("retention", "apply", "--days", "120", "--db", store.file)
    assert "Try later: dawnrule athletes wipe" in told.stderr


# An erasure that is cut off

COMMITTED = ("dawnrule.application.athletes.delete_side_files", 2)
"""What an erasure does next when the rows are gone."""


@pytest.fixture
def cut_off(store: Store, rare: None) -> Store:
    """A store whose process was killed when the rows of the erased were gone and their bytes were
    not."""
    store.close()
    assert killed_at(*COMMITTED, "erase", store.file, RARE.id)
    reopened = Store.open(store.file)
    assert RARE.id not in {one.id for one in reopened.read(lambda rows: rows.athletes.all())}
    assert traces(reopened, RARE.name)
    return reopened


def test_an_erasure_that_was_cut_off_goes_on_at_the_next_start(
    cut_off: Store, caplog: pytest.LogCaptureFixture
) -> None:
    leftovers = Leftovers(cut_off)
    with caplog.at_level("INFO"):
        leftovers.start()
        leftovers.close()
    assert traces(cut_off, RARE.name) == {}
    assert [record.levelname for record in caplog.records] == ["WARNING", "INFO"]
    caplog.clear()
    leftovers.finish()
    assert not caplog.records
    cut_off.close()


def test_an_erasure_that_cannot_be_finished_is_told_until_it_is(
    cut_off: Store, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    leftovers = Leftovers(cut_off)
    with monkeypatch.context() as full:
        full.setattr(Store, "wipe", lambda self: False)
        for _ in range(2):
            caplog.clear()
            leftovers.finish()
            assert "could not be written anew" in caplog.messages[-1]
    leftovers.finish()
    assert traces(cut_off, RARE.name) == {}
    cut_off.close()


def test_an_erasure_that_is_asked_for_again_is_finished(cut_off: Store) -> None:
    again = erase(cut_off, RARE.id, by="k-01", at=LATER)
    assert (set(again.removed.values()), again.is_wiped) == ({0}, True)
    acts = cut_off.read(lambda rows: rows.ledger.acts(act="athlete-erased", limit=9))
    assert [act.position for act in acts] == [again.position]
    assert traces(cut_off, RARE.name) == {}
    with pytest.raises(NotFound):
        erase(cut_off, RARE.id, by="k-01", at=LATER)
    cut_off.close()


def test_the_command_finishes_an_erasure_that_was_cut_off(cut_off: Store) -> None:
    cut_off.close()
    words = ("athletes", "erase", RARE.id, "--yes", "--db", cut_off.file)
    assert typed(*words).exit_code == 0
    assert traces(cut_off, RARE.name) == {}
    assert "no athlete" in typed(*words).stderr


def test_who_was_never_there_is_not_found_while_an_erasure_is_unfinished(cut_off: Store) -> None:
    with pytest.raises(NotFound):
        erase(cut_off, "a-99", by="k-01", at=LATER)
    cut_off.close()


def test_retention_that_was_cut_off_is_finished_too(
    store: Store, long_ago: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as full:
        full.setattr(Store, "wipe", lambda self: False)
        apply_retention(store, 120, by="service", at=long_ago)
    assert store.read(lambda rows: rows.traces.count()) == 1
    Leftovers(store).finish()
    assert store.read(lambda rows: rows.traces.count()) == 0


def test_traces_of_another_erasure_that_came_in_meanwhile_stay_noted(
    cut_off: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def write_anew(connection: sqlite3.Connection) -> bool:
        cut_off.write(lambda rows: rows.athletes.delete(SAM.id))
        return True

    monkeypatch.setattr(database, "_write_anew", write_anew)
    assert cut_off.wipe()
    assert cut_off.read(lambda rows: rows.traces.count()) == 2
    cut_off.close()


# The commands


@pytest.mark.usefixtures("rare")
def test_the_command_erases_when_that_is_confirmed(store: Store) -> None:
    told = typed("athletes", "erase", RARE.id, "--db", store.file, given=b"n\n")
    assert told.exit_code == 1
    assert RARE.id in {one.id for one in store.read(lambda transaction: transaction.athletes.all())}
    told = typed("athletes", "erase", RARE.id, "--db", store.file, given=b"y\n")
    assert told.exit_code == 0
    assert "check_ins: 5" in told.stdout.splitlines()
    assert traces(store, RARE.name) == {}
    assert typed("athletes", "erase", RARE.id, "--yes", "--db", store.file).exit_code == 2


@pytest.mark.usefixtures("rare")
def test_the_command_exports_into_a_new_file_only(store: Store, tmp_path: Path) -> None:
    words = ("athletes", "export", RARE.id, "--output", tmp_path / "rare.zip", "--db", store.file)
    assert typed(*words).exit_code == 0
    assert (tmp_path / "rare.zip").read_bytes().startswith(b"PK")
    again = typed(*words)
    assert (again.exit_code, "File exists" in again.stderr) == (2, True)
