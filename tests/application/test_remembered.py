"""What is tried again gives the same, and is composed again only where it has to be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from unittest.mock import patch

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.model.entities import CheckIn
from dawnrule.store import Store, Transaction
from tests.factories import (
    DAY,
    GROWTH,
    KIM,
    NOW,
    add_check_in,
    add_session,
    baseline,
    bundled_advisor,
)

CHECK_IN = CheckIn(KIM.id, DAY, (GROWTH,), fatigue=3)
SUBMISSION = Submission(NOW, "k-01", "c-1", "v-1")
YESTERDAY = DAY - timedelta(days=1)
SECONDS = 5


def check_ins() -> CheckIns:
    return CheckIns(bundled_advisor(), baseline("2.0.0"), lambda: NOW, lambda: "unused")


def nothing(_: Store) -> None:
    """Nobody writes meanwhile."""


def a_correction(store: Store) -> None:
    store.write(lambda transaction: add_check_in(transaction, "c-0", YESTERDAY, fatigue=9))


def a_session(store: Store) -> None:
    add_session(store, KIM, YESTERDAY)


def another_zone(store: Store) -> None:
    moved = replace(KIM, time_zone="Asia/Tokyo")
    store.write(lambda transaction: transaction.athletes.put(moved))


@pytest.mark.parametrize(
    ("change", "composed"), [(nothing, 1), (a_correction, 2), (a_session, 2), (another_zone, 2)]
)
def test_what_is_tried_again_is_composed_again_only_where_somebody_wrote_what_it_hangs_on(
    store: Store, change: Callable[[Store], None], composed: int
) -> None:
    store.write(lambda transaction: transaction.athletes.put(KIM))
    remembering, records = check_ins().remembering(), []

    def submit(transaction: Transaction, anew: bool) -> None:
        (check_ins() if anew else remembering).submit(transaction, CHECK_IN, SUBMISSION)
        stored = transaction.advice.latest(KIM.id, DAY)
        assert stored is not None
        records.append(stored.record)

    with patch.object(Advisor, "consider", autospec=True, side_effect=Advisor.consider) as consider:
        store.rehearse(lambda transaction: submit(transaction, anew=False), SECONDS)
        change(store)
        store.rehearse(lambda transaction: submit(transaction, anew=False), SECONDS)
        assert consider.call_count == composed
    store.rehearse(lambda transaction: submit(transaction, anew=True), SECONDS)
    assert records[1] == records[2]
    assert (records[0] == records[1]) is (change is nothing)


def test_another_rule_set_decides_again(store: Store) -> None:
    store.write(lambda transaction: transaction.athletes.put(KIM))
    remembering = check_ins().remembering()

    def rule_set_of(one: CheckIns) -> list[str]:
        digests: list[str] = []

        def submit(transaction: Transaction) -> None:
            advice = one.submit(transaction, CHECK_IN, SUBMISSION).advice
            digests.append(advice.rule_set.digest)

        store.rehearse(submit, SECONDS)
        return digests

    assert rule_set_of(remembering) == [baseline("2.0.0").digest]
    activated = replace(remembering, default_rule_set=baseline("1.0.0"))
    assert rule_set_of(activated) == [baseline("1.0.0").digest]
