"""A check-in comes in: what is stored, and what goes out? The straight line of the service."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import NAMESPACE_OID, uuid5

from dawnrule.advice.advisor import Advisor, Considered, Morning
from dawnrule.advice.in_force import keep_shadow, rule_set_in_force
from dawnrule.advice.squad import unknown_athlete
from dawnrule.errors import InvalidInput
from dawnrule.facts.check_in import Athlete, CheckIn, History
from dawnrule.facts.plain import from_plain, to_plain
from dawnrule.facts.plausible import implausible
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Books, StoredAdvice
from dawnrule.vocabulary.said import say

CHECK_IN_DAYS = 36
"""How far back facts look at check-ins: a week, and the 28 days of a baseline before it."""

SESSION_DAYS = 120
"""How far back facts look at sessions: a 28-day weighted mean has forgotten its start by then."""


@dataclass(frozen=True, slots=True)
class Posting:
    """One act of posting: when (aware), under which key, and the ids that it may use."""

    now: datetime
    posted_by: str | None
    check_in_id: str
    advice_id: str

    def again(self) -> Posting:
        """The same act for one more advice; its id is made of the other's, and as unique."""
        return replace(self, advice_id=str(uuid5(NAMESPACE_OID, self.advice_id)))


@dataclass(frozen=True, slots=True)
class Answer:
    """The advice as plain JSON values; ``is_new`` is False when nothing had to be stored, and
    ``supersedes`` names the advice that it takes the place of."""

    advice: dict[str, Any]
    is_new: bool
    supersedes: str | None = None


def answer_check_in(
    books: Books, advisor: Advisor, rule_set: RuleSet, check_in: CheckIn, posting: Posting
) -> Answer:
    """Store a check-in with its advice and give the advice; run it inside one transaction.

    ``rule_set`` decides where none was activated. The same check-in again gives the advice that it
    was given before, and writes nothing; only where another rule set decides today than then,
    today's is considered again. One of an earlier date is history for today, whose advice is
    considered again.
    Raises ``NotFound`` for an unknown athlete, ``InvalidInput`` for what cannot be true.
    """
    athlete = known_athlete(books, check_in.athlete_id)
    refuse_implausible(athlete, check_in, posting.now)
    body = to_plain(check_in)
    stored = books.check_ins.latest(athlete.id, check_in.date)
    given = books.advice.latest(athlete.id, check_in.date)
    if stored is not None and given is not None and stored.body == body:
        again = None
        if by_other_rules(books, advisor, rule_set, athlete, check_in.date, posting.now):
            again = advise_again_today(books, advisor, rule_set, athlete, posting)
        told = advice_of_record(given.record)
        return again or Answer(told, is_new=False, supersedes=given.supersedes)

    history = history_before(books, check_in, posting.now)
    morning = Morning(athlete, check_in, history, posting.now)
    in_force = rule_set_in_force(books, advisor.library, rule_set, athlete.id, check_in.date)
    considered = advisor.consider(morning, in_force, posting.advice_id)
    books.check_ins.add(
        posting.check_in_id, athlete.id, check_in.date, body, posting.now, posting.posted_by
    )
    answer = _keep(books, advisor, considered, posting, given)
    if check_in.date < athlete.today(posting.now):
        advise_again_today(books, advisor, rule_set, athlete, posting.again())
    return answer


def by_other_rules(
    books: Books, advisor: Advisor, rule_set: RuleSet, athlete: Athlete, on: date, now: datetime
) -> bool:
    """Whether the advice that holds for a date was given by another rule set than decides then.
    Of earlier dates it never is: what was advised on a morning that is over stays.

    ``rule_set`` decides where none was activated.
    """
    given = books.advice.latest(athlete.id, on)
    if given is None or on != athlete.today(now):
        return False
    in_force = rule_set_in_force(books, advisor.library, rule_set, athlete.id, on)
    return given.rule_set_digest != in_force.digest


def advise_again_today(
    books: Books, advisor: Advisor, rule_set: RuleSet, athlete: Athlete, posting: Posting
) -> Answer | None:
    """Consider today's check-in again after the history before it, or what decides, has changed.

    The advice that was given stays as it is, with the facts that it was given on; where the new
    facts lead to other advice, that supersedes it. None when there is nothing to supersede.
    ``rule_set`` decides where none was activated.
    """
    today = athlete.today(posting.now)
    stored = books.check_ins.latest(athlete.id, today)
    given = books.advice.latest(athlete.id, today)
    if stored is None or given is None:
        return None
    check_in = from_plain(CheckIn, stored.body)
    history = history_before(books, check_in, posting.now)
    morning = Morning(athlete, check_in, history, stored.received_at)
    in_force = rule_set_in_force(books, advisor.library, rule_set, athlete.id, today)
    considered = advisor.consider(morning, in_force, posting.advice_id)
    before = advice_of_record(given.record) | {"advice_id": posting.advice_id}
    if considered.plain() == before:
        return None
    again = Posting(posting.now, posting.posted_by, stored.id, posting.advice_id)
    return _keep(books, advisor, considered, again, given)


def known_athlete(books: Books, athlete_id: str) -> Athlete:
    """The athlete of an id. Raises ``NotFound``; nobody is created by a typing error."""
    athlete = books.athletes.get(athlete_id)
    if athlete is None:
        raise unknown_athlete(athlete_id)
    return athlete


def refuse_implausible(athlete: Athlete, check_in: CheckIn, now: datetime) -> None:
    """Raises ``InvalidInput`` with every field that cannot be true."""
    errors = list(implausible(athlete, check_in, now))
    if errors:
        raise InvalidInput(say("field.untrue_check_in"), errors)


def history_before(books: Books, check_in: CheckIn, now: datetime) -> History:
    """The check-ins of earlier dates and the sessions that have started, as far back as the facts
    look; where a question that stops training is left open, also what last answered it."""
    athlete_id = check_in.athlete_id
    first_date = check_in.date - timedelta(days=SESSION_DAYS)
    first = datetime.combine(first_date, time.min, UTC)
    sessions = books.sessions.window(athlete_id, first, now)
    return History(
        check_ins=tuple(books.check_ins.before(athlete_id, check_in.date, CHECK_IN_DAYS)),
        sessions=tuple(session for _, session in sessions),
        last_answers=_last_answers(books, check_in),
    )


def _last_answers(books: Books, check_in: CheckIn) -> tuple[CheckIn, ...]:
    """Nothing is looked up for a check-in that leaves none of these questions open."""
    if None not in (check_in.warning_signs, check_in.illness, check_in.pain):
        return ()
    return tuple(books.check_ins.last_answers(check_in.athlete_id, check_in.date, CHECK_IN_DAYS))


def advice_of_record(record: str) -> dict[str, Any]:
    """The advice that a stored record holds, as plain JSON values."""
    advice: dict[str, Any] = json.loads(record)["advice"]
    return advice


def _keep(
    books: Books,
    advisor: Advisor,
    considered: Considered,
    posting: Posting,
    given: StoredAdvice | None,
) -> Answer:
    """Write advice to the ledger, in the place of what was given before, and beside it what the
    candidate in the shadow would have said."""
    advice = considered.advice
    supersedes = given.id if given else None
    books.advice.add(
        StoredAdvice(
            id=posting.advice_id,
            check_in_id=posting.check_in_id,
            athlete_id=advice.athlete_id,
            date=considered.morning.check_in.date,
            verdict=advice.verdict.value,
            rule_id=advice.rule.id if advice.rule else None,
            rule_set_digest=advice.rule_set.digest,
            record=considered.record(
                decided_at=posting.now, posted_by=posting.posted_by, supersedes=supersedes
            ),
            decided_at=posting.now,
            supersedes=supersedes,
        )
    )
    keep_shadow(books, advisor.library, advice.advice_id, considered.facts)
    advisor.stored(considered)
    return Answer(considered.plain(), is_new=True, supersedes=supersedes)
