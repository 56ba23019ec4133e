"""A database with the demo's squad, for the tests of analytics."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial
from itertools import count
from pathlib import Path

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.clock import new_id
from dawnrule.demo.squad import Diary, Squad, invent_diaries
from dawnrule.store import Store, StoredSession, Transaction
from tests.factories import FIRST_BASELINE

NOON = datetime(2024, 3, 11, 12, tzinfo=UTC)


@pytest.fixture(scope="session")
def demo_database(tmp_path_factory: pytest.TempPathFactory, advisor: Advisor) -> Path:
    """The four weeks of the demo's squad up to yesterday, told by the baseline 1.0.0. Tests share
    it: they may add replays, and nothing else."""
    file = tmp_path_factory.mktemp("demo") / "demo.db"
    numbers = count(1)
    check_ins = CheckIns(advisor, FIRST_BASELINE, lambda: NOON, new_id)

    def remember(transaction: Transaction, diary: Diary) -> None:
        transaction.athletes.put(diary.athlete)
        for day in diary.past:
            number = next(numbers)
            at = day.check_in.reported_at or NOON
            posting = Submission(at, None, f"c-{number}", f"v-{number}")
            check_ins.submit(transaction, day.check_in, posting)
            if day.session is not None:
                done = StoredSession(f"s-{number}", day.session, day.session.starts_at, None)
                transaction.sessions.add(done)

    with Store.open(file) as store:
        for diary in invent_diaries(Squad.invented(), NOON):
            store.write(partial(remember, diary=diary))
    return file
