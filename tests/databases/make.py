"""The database that this version leaves behind. Run once per release with a migration.

    python -m tests.databases.make

writes a small database, named after the newest migration, beside this file. What a later version
does with it is tested in ``tests/store/test_old_databases.py``. A file that was committed is never
made anew: it is what an earlier version really wrote.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from dawnrule.advice.advisor import Advisor
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.application.sessions import log_session
from dawnrule.clock import new_id, now
from dawnrule.model.entities import Athlete
from dawnrule.schemas import load_check_in, load_session
from dawnrule.store import Key, Role, Store, Transaction, hash_key, hash_token
from dawnrule.store.migrations import MIGRATIONS

FOLDER = Path(__file__).parent
KEY_ID = "coach-key"
KEY = "dawn_a-key-of-the-tests-that-opens-nothing-else"
"""The coach's key in each database."""

SIGN_IN = "a-sign-in-of-the-tests"
"""What the cookie of that coach names, until the first evening."""

FIRST_MORNING = datetime(2026, 3, 9, 5, 45, tzinfo=UTC)
EVENING = FIRST_MORNING + timedelta(hours=12)
ATHLETES = (
    Athlete("a-03", "Mara", "Europe/Berlin", training_status="trained"),
    Athlete("a-04", "Tomo", "Asia/Tokyo"),
)
PLAN = {"goal": "hypertrophy", "muscle_groups": ["quadriceps"], "modality": "free-weights"}
CHECK_INS: tuple[dict[str, Any], ...] = (
    {"athlete_id": "a-03", "date": "2026-03-09", "sleep": {"hours": 7.5}, "plan": [PLAN]},
    {"athlete_id": "a-03", "date": "2026-03-10", "sleep": {"hours": 4.5}, "plan": [PLAN]},
    {"athlete_id": "a-03", "date": "2026-03-10", "sleep": {"hours": 5.5}, "plan": [PLAN]},
    {"athlete_id": "a-04", "date": "2026-03-11", "illness": "fever", "plan": []},
)
SESSION: dict[str, Any] = {
    "athlete_id": "a-03",
    "starts_at": "2026-03-09T18:00:00+01:00",
    "minutes": 70,
    "rpe": 7.5,
    "blocks": [{"goal": "hypertrophy", "pattern": "squat", "modality": "free-weights"}],
}


def make(file: Path) -> None:
    """Write a database as this version does."""
    advisor = Advisor.bundled()
    rule_set = advisor.library.get("baseline", "1.1.0")
    check_ins = CheckIns(advisor, rule_set, now, new_id)
    with Store.open(file) as store:
        store.write(_people)
        for number, plain in enumerate(CHECK_INS):
            at = FIRST_MORNING + timedelta(days=number)
            posting = Submission(at, KEY_ID, f"check-in-{number}", f"advice-{number}")
            check_in = load_check_in(plain)
            store.write(partial(check_ins.submit, check_in=check_in, submission=posting))
        at = FIRST_MORNING + timedelta(days=len(CHECK_INS))
        evening = Submission(at, KEY_ID, "check-in-9", "advice-9")
        session = load_session(SESSION)
        store.write(
            lambda transaction: log_session(transaction, check_ins, session, "session-1", evening)
        )


def _people(transaction: Transaction) -> None:
    for athlete in ATHLETES:
        transaction.athletes.put(athlete)
    transaction.keys.add(Key(KEY_ID, Role.COACH, None, None, FIRST_MORNING), hash_key(KEY))
    transaction.sign_ins.begin(hash_token(SIGN_IN), KEY_ID, FIRST_MORNING, EVENING)


def into_one_file(file: Path) -> None:
    """Leave no log beside a database that is to be committed."""
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute("VACUUM")


if __name__ == "__main__":
    made = FOLDER / f"{MIGRATIONS[-1].__name__}.db"
    if made.exists():
        raise SystemExit(f"{made.name} is there; what was released is not made anew.")
    make(made)
    into_one_file(made)
