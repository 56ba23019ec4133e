"""What do several tests of single modules find ready? A database with the demo's squad in it."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial
from itertools import count
from pathlib import Path

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.morning import Posting, answer_check_in
from dawnrule.demo.diary import Diary, invent_diaries
from dawnrule.demo.squad import Squad
from dawnrule.facts.plain import to_plain
from dawnrule.store import Books, Store
from tests.unit.past_samples import BASELINE

NOON = datetime(2024, 3, 11, 12, tzinfo=UTC)


@pytest.fixture(scope="session")
def demo_database(tmp_path_factory: pytest.TempPathFactory, advisor: Advisor) -> Path:
    """The four weeks of the demo's squad up to yesterday, told by the baseline 1.0.0. Tests share
    it: they may add replays, and nothing else."""
    file = tmp_path_factory.mktemp("demo") / "demo.db"
    numbers = count(1)

    def remember(books: Books, diary: Diary) -> None:
        books.athletes.put(diary.athlete)
        for day in diary.past:
            number = next(numbers)
            at = day.check_in.reported_at or NOON
            posting = Posting(at, None, f"c-{number}", f"v-{number}")
            answer_check_in(books, advisor, BASELINE, day.check_in, posting)
            if day.session is not None:
                start, body = day.session.starts_at, to_plain(day.session)
                books.sessions.add(f"s-{number}", diary.athlete.id, start, body, start, None)

    with Store.open(file) as store:
        for diary in invent_diaries(Squad.invented(), NOON):
            store.write(partial(remember, diary=diary))
    return file
