"""Batches beside other writers: nobody waits long for a batch, however long it is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import date, timedelta
from functools import partial
from itertools import count
from time import monotonic, sleep
from typing import Any

import pytest

from dawnrule.advice.advisor import AdvisedMorning, Advisor, Morning
from dawnrule.application import batches
from dawnrule.application.batches import Row, rows_of_json, submit_all_or_none, submit_each
from dawnrule.application.remembered import Remembered
from dawnrule.errors import InvalidInput, NotFound, StoreBusy
from dawnrule.model.entities import Athlete
from dawnrule.store import Store, Transaction
from dawnrule.web import context as web_context
from tests.conftest import Client
from tests.effort import tries
from tests.factories import EXAMPLE, changed

ROW_SECONDS = 0.02
ROWS = tries(25, 60)
LONGEST_WAIT_SECONDS = 0.25
SLACK_SECONDS = 0.1
"""What a busy machine may add."""


def slow(name: str) -> Callable[[Transaction], str]:
    """Begins a row whose answer takes its time."""

    def answer(transaction: Transaction) -> str:
        sleep(ROW_SECONDS)
        transaction.athletes.put(Athlete(name, name, "UTC"))
        return name

    return answer


def slow_once(name: str) -> Callable[[Transaction], str]:
    """Begins a row whose answer takes its time, and is remembered."""
    steps = Remembered()

    def answer(transaction: Transaction) -> str:
        steps.do("slow", sleep, ROW_SECONDS)
        transaction.athletes.put(Athlete(name, name, "UTC"))
        return name

    return answer


def rows(*names: str) -> list[Row[str]]:
    return rows_of_json(names, str)


def many(start: str) -> list[Row[str]]:
    return rows(*(f"{start}-{number}" for number in range(ROWS)))


def waits_beside(store: Store, batches: list[Callable[[], object]]) -> list[float]:
    """How long each of many writes of another process takes while batches are stored."""
    waits = []
    with ThreadPoolExecutor(len(batches)) as threads, closing(Store.open(store.file)) as other:
        running = [threads.submit(batch) for batch in batches]
        while not all(one.done() for one in running):
            begin = monotonic()
            other.write(lambda transaction: transaction.athletes.put(Athlete("o", "O", "UTC")))
            waits.append(monotonic() - begin)
            sleep(0.01)
        for one in running:
            one.result()
    return waits


@pytest.mark.parametrize("batches", [1, 3])
def test_a_batch_keeps_no_other_writer_waiting_for_more_than_a_quarter_of_a_second(
    store: Store, batches: int
) -> None:
    jobs: list[Callable[[], object]] = [
        partial(submit_each, store, many(f"a{number}"), slow) for number in range(batches)
    ]
    assert max(waits_beside(store, jobs)) < LONGEST_WAIT_SECONDS + SLACK_SECONDS
    athletes = store.read(lambda transaction: transaction.athletes.all())
    assert len(athletes) == batches * ROWS + 1


@pytest.mark.parametrize("sent", ["check-ins", "check-ins/batch", "check-ins/batch?atomic=true"])
def test_advice_on_a_large_plan_that_takes_long_keeps_nobody_waiting(
    poster: Client, store: Store, monkeypatch: pytest.MonkeyPatch, sent: str
) -> None:
    def consider_slowly(*given: Any) -> AdvisedMorning:
        sleep(4 * LONGEST_WAIT_SECONDS)
        return consider(*given)

    consider = Advisor.consider
    monkeypatch.setattr(Advisor, "consider", consider_slowly)
    large = changed("/plan", [{"goal": "strength", "muscle_groups": ["chest", "triceps"]}] * 5)
    body = {"check_ins": [large]} if "batch" in sent else large

    def post() -> None:
        assert poster.post(f"/v1/{sent}", json=body).status_code in (200, 201)

    assert max(waits_beside(store, [post])) < LONGEST_WAIT_SECONDS + SLACK_SECONDS


def test_rows_are_begun_in_the_pause_between_two_portions(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    pauses: list[float] = []

    def begin(name: str) -> Callable[[Transaction], str]:
        sleep(batches.PAUSE_SECONDS / 4)
        return slow(name)

    monkeypatch.setattr(batches, "sleep", pauses.append)
    monkeypatch.setattr(batches, "_BEGUN_AHEAD", 2)
    submit_each(store, rows("a", "b", "c", "d", "e"), begin)
    assert len(pauses) == 3
    assert max(pauses) <= batches.PAUSE_SECONDS * 3 / 4, "begin of one row took a quarter"


def test_no_row_is_composed_in_vain(
    poster: Client, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    composed: list[tuple[str, str]] = []

    def consider(advisor: Advisor, morning: Morning, *given: Any) -> AdvisedMorning:
        composed.append((morning.athlete.id, morning.check_in.date.isoformat()))
        return considered(advisor, morning, *given)

    considered = Advisor.consider
    monkeypatch.setattr(Advisor, "consider", consider)
    store.write(lambda transaction: transaction.athletes.put(Athlete("b", "B", "UTC")))
    today = EXAMPLE["date"]
    before = (date.fromisoformat(today) - timedelta(days=1)).isoformat()
    mornings = [(EXAMPLE["athlete_id"], before), (EXAMPLE["athlete_id"], today), ("b", today)]
    sent = [{"athlete_id": who, "date": day, "plan": []} for who, day in mornings]
    answer = poster.post("/v1/check-ins/batch", json={"check_ins": sent})
    assert [one["outcome"] for one in answer.json["results"]] == ["created"] * 3
    assert sorted(composed) == sorted(mornings)
    assert composed[-1] == mornings[1], "it hangs on the row before, so it waits for it"


def test_a_row_that_cannot_be_composed_ahead_is_composed_in_its_turn(
    poster: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def busy(*_: object) -> None:
        raise StoreBusy("The database is busy.")

    monkeypatch.setattr(web_context, "compose_told", busy)
    answer = poster.post("/v1/check-ins/batch", json={"check_ins": [EXAMPLE]})
    assert [one["outcome"] for one in answer.json["results"]] == ["created"]


def test_the_outcomes_of_all_portions_are_in_the_order_of_the_rows(store: Store) -> None:
    stored = submit_each(store, many("a"), slow)
    assert [one.outcome for one in stored] == [f"a-{number}" for number in range(ROWS)]


@pytest.mark.parametrize("kept", [True, False], ids=["as they were", "written by others"])
def test_a_batch_of_all_or_none_keeps_nobody_waiting_either(store: Store, kept: bool) -> None:
    tries: Counter[str] = Counter()

    def begin(name: str) -> Callable[[Transaction], str]:
        remembering, anew = slow_once(name), slow_once(name)

        def answer(transaction: Transaction) -> str:
            tries[name] += 1
            is_changed = tries[name] > 1 and not kept
            return (anew if is_changed else remembering)(transaction)

        return answer

    batch = partial(submit_all_or_none, store, many("a"), begin)
    assert max(waits_beside(store, [batch])) < LONGEST_WAIT_SECONDS + SLACK_SECONDS
    athletes = store.read(lambda transaction: transaction.athletes.all())
    assert len(athletes) == ROWS + 1


def test_a_row_that_can_no_longer_be_stored_when_its_turn_comes_spoils_the_batch(
    store: Store,
) -> None:
    tries = count()

    def begin(name: str) -> Callable[[Transaction], str]:
        def answer(transaction: Transaction) -> str:
            if name == "a-1" and next(tries):
                raise NotFound("no such athlete")
            return slow(name)(transaction)

        return answer

    outcomes = submit_all_or_none(store, rows("a-0", "a-1"), begin)
    assert [(one.is_rejected, one.is_stored) for one in outcomes] == [(False, False), (True, False)]
    assert store.read(lambda transaction: transaction.athletes.all()) == []


def test_a_batch_of_all_or_none_with_a_bad_row_keeps_nobody_waiting_either(store: Store) -> None:
    bad: Row[str] = Row((ROWS,), InvalidInput("no"), lambda faults: faults)

    def submit() -> None:
        outcomes = submit_all_or_none(store, [*many("a"), bad], slow)
        assert [one.is_rejected for one in outcomes] == [False] * ROWS + [True]
        assert not any(one.is_stored for one in outcomes)

    assert max(waits_beside(store, [submit])) < LONGEST_WAIT_SECONDS + SLACK_SECONDS
    assert [one.id for one in store.read(lambda transaction: transaction.athletes.all())] == ["o"]
