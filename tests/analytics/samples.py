"""Mornings and training as they came in, for tests of what is done with them later."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from itertools import count

from dawnrule.advice.advisor import Advisor
from dawnrule.application.check_ins import Submission, submit_check_in
from dawnrule.model import Facts, Verdict
from dawnrule.model.entities import Athlete, Block, CheckIn, Session
from dawnrule.rules.columnar import PastMorning, PastSubject
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import Store, StoredSession, Transaction

DAY = date(2026, 3, 9)
ONE_DAY = timedelta(days=1)
LATER = datetime(2026, 6, 1, tzinfo=UTC)
"""When all of these mornings are over."""

KIM = Athlete("a-01", "Kim", "Europe/Berlin")
SAM = Athlete("a-02", "Sam", "UTC")

BASELINE = RuleSetLibrary.bundled().get("baseline", "1.0.0")
GROWTH = Block("hypertrophy", ("quadriceps",))

_numbers = count(1)


def post(
    store: Store,
    advisor: Advisor,
    athlete: Athlete,
    day: date,
    soreness: int | Mapping[str, int] = 0,
    plan: tuple[Block, ...] = (GROWTH,),
) -> None:
    """A check-in at six in the morning (UTC), answered by the baseline 1.0.0; soreness is that of
    the quadriceps unless it says otherwise."""
    groups = {"quadriceps": soreness} if isinstance(soreness, int) else soreness
    check_in = CheckIn(athlete.id, day, plan, soreness=groups)
    at = datetime.combine(day, time(6), UTC)
    posting = Submission(at, None, f"c-{next(_numbers)}", f"v-{next(_numbers)}")

    def answer(transaction: Transaction) -> None:
        transaction.athletes.put(athlete)
        submit_check_in(transaction, advisor, BASELINE, check_in, posting)

    store.write(answer)


def log(store: Store, athlete: Athlete, day: date, output: str | None = None) -> None:
    """A session at six in the evening (UTC)."""
    starts_at = datetime.combine(day, time(18), UTC)
    session = Session(athlete.id, starts_at, 60, (GROWTH,), output=output)

    def add(transaction: Transaction) -> None:
        transaction.athletes.put(athlete)
        session_id = f"s-{next(_numbers)}"
        transaction.sessions.add(StoredSession(session_id, session, starts_at, None))

    store.write(add)


def subject(facts: Facts, verdict: str = Verdict.TRAIN, rule_id: str | None = None) -> PastSubject:
    """A day or a part on which no rule, or one, is said to have fired."""
    return PastSubject(verdict, rule_id, (rule_id,) if rule_id else (), facts)


def morning(position: int, day: PastSubject, *parts: PastSubject) -> PastMorning:
    """A morning of the first athlete, one for each date."""
    when = DAY + position * ONE_DAY
    return PastMorning(position, KIM.id, when, BASELINE.digest, day, parts)
