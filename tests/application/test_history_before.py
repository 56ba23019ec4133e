"""The history handed to the facts: all that they read."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from dawnrule.application.check_ins import history_before
from dawnrule.facts.derive import derive_facts
from dawnrule.model.entities import History, Sleep
from dawnrule.model.serialization import to_json
from dawnrule.store import Store, StoredCheckIn, StoredSession, Transaction
from tests.factories import GROWTH, KIM, NOW, STRENGTH, morning, session

A_YEAR = range(365)
MORNINGS = [
    morning(
        days,
        GROWTH,
        sleep=Sleep(6.0 + days % 3),
        soreness={"quadriceps": days % 5},
        resting_hr_bpm=50 + days % 7,
        hrv_rmssd_ms=50.0 + days % 11,
    )
    for days in A_YEAR
]
SESSIONS = [
    session(days, GROWTH if days % 2 else STRENGTH, rpe=3.0 + days % 4, output="held")
    for days in A_YEAR
    if days % 9
]
WEIGHTED = {"acute_load", "chronic_load"}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A store with a year of mornings and sessions."""
    path: Path = tmp_path_factory.mktemp("store") / "dawnrule.db"
    with Store.open(path) as store:
        store.write(_fill)
        yield store


def _fill(transaction: Transaction) -> None:
    transaction.athletes.put(KIM)
    for number, check_in in enumerate(MORNINGS):
        body = to_json(check_in)
        transaction.check_ins.add(
            StoredCheckIn(f"c-{number}", KIM.id, check_in.date, body, NOW, None)
        )
    for number, done in enumerate(SESSIONS):
        transaction.sessions.add(StoredSession(f"s-{number}", done, NOW, None))


@pytest.mark.parametrize("days", [0, 1, 200])
def test_the_windows_of_the_store_hide_nothing_that_a_fact_reads(store: Store, days: int) -> None:
    """Also for a check-in that is posted long after its date. The weighted loads forget their
    start; the other facts are the same to the last bit."""
    check_in = MORNINGS[days]
    in_window = store.read(lambda transaction: history_before(transaction, check_in, NOW))
    everything = History(tuple(MORNINGS), tuple(SESSIONS))
    told = derive_facts(KIM, check_in, in_window, NOW).parts[0]
    fully = derive_facts(KIM, check_in, everything, NOW).parts[0]
    weighted = {name: fully.facts[name] for name in WEIGHTED}
    assert {name: told.facts[name] for name in WEIGHTED} == pytest.approx(weighted, rel=1e-3)
    assert {**told.facts, **weighted} == fully.facts
    assert told.missing == fully.missing


def test_the_last_answer_is_found_also_where_a_newer_check_in_took_its_place(
    tmp_path: Path,
) -> None:
    sent = [
        morning(36, GROWTH, pain=()),
        morning(3, GROWTH, warning_signs=("chest-pain",), illness="fever"),
        morning(3, GROWTH, illness="none"),
        morning(3, GROWTH),
        morning(1, GROWTH),
        morning(0, GROWTH, fatigue=1),
    ]

    def fill(transaction: Transaction) -> None:
        transaction.athletes.put(KIM)
        for number, check_in in enumerate(sent):
            body = to_json(check_in)
            transaction.check_ins.add(
                StoredCheckIn(f"c-{number}", KIM.id, check_in.date, body, NOW, None)
            )

    with Store.open(tmp_path / "dawnrule.db") as store:
        store.write(fill)
        history = store.read(
            lambda transaction: history_before(transaction, morning(0, GROWTH), NOW)
        )
        answered = morning(0, GROWTH, warning_signs=(), illness="none", pain=())
        nothing = store.read(lambda transaction: history_before(transaction, answered, NOW))
    assert history.last_answers == tuple(sent[:3])
    assert nothing.last_answers == ()
    told = derive_facts(KIM, morning(0, GROWTH), history, NOW).day
    assert (told["warning_sign_left_open"], told["warning_sign_left_open_days"]) == (
        "chest-pain",
        3,
    )
    assert "illness_left_open" not in told


def test_the_history_ends_now(store: Store) -> None:
    """What has not begun yet is no history, as a session is not in the log before it is done."""
    an_hour_after = SESSIONS[0].starts_at + timedelta(hours=1)
    in_window = store.read(
        lambda transaction: history_before(transaction, MORNINGS[0], an_hour_after)
    )
    assert max(done.starts_at for done in in_window.sessions) == SESSIONS[0].starts_at
    before_it = store.read(
        lambda transaction: history_before(transaction, MORNINGS[0], SESSIONS[0].starts_at)
    )
    assert len(before_it.sessions) == len(in_window.sessions) - 1
