"""Submission of check-ins: the straight line from a check-in to stored advice."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from typing import TypeAlias, TypeVar
from uuid import NAMESPACE_OID, uuid5

from dawnrule.advice.advisor import Advisor, Considered, Morning
from dawnrule.application.active_rules import active_rule_set, keep_shadow
from dawnrule.application.athletes import require_athlete
from dawnrule.errors import DawnruleError, FieldError, InvalidInput
from dawnrule.facts.history import CHECK_IN_DAYS, SESSION_DAYS
from dawnrule.facts.plausibility import implausible
from dawnrule.i18n.lazy import lazy
from dawnrule.model.advice import Advice
from dawnrule.model.entities import Athlete, CheckIn, History
from dawnrule.model.serialization import from_json, to_json
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Store, StoredAdvice, StoredCheckIn, Transaction


@dataclass(frozen=True, slots=True)
class Submission:
    """One act of posting: when (aware), under which key, and the ids that it may use."""

    now: datetime
    posted_by: str | None
    check_in_id: str
    advice_id: str

    def again(self) -> Submission:
        """The same act for one more advice; its id is made of the other's, and as unique."""
        return replace(self, advice_id=str(uuid5(NAMESPACE_OID, self.advice_id)))


@dataclass(frozen=True, slots=True)
class Submitted:
    """The advice on a check-in; ``is_new`` is False when nothing had to be stored, and
    ``supersedes`` is the id of the advice that it replaces."""

    advice: Advice
    is_new: bool
    supersedes: str | None = None


def submit_check_in(
    transaction: Transaction,
    advisor: Advisor,
    rule_set: RuleSet,
    check_in: CheckIn,
    posting: Submission,
) -> Submitted:
    """Store a check-in with its advice and give the advice; run it inside one transaction.

    ``rule_set`` decides where none was activated. The same check-in again gives the advice that it
    was given before, and writes nothing; only where another rule set decides today than then,
    today's is considered again. One of an earlier date is history for today, whose advice is
    considered again.
    Raises ``NotFound`` for an unknown athlete, ``InvalidInput`` for what cannot be true.
    """
    athlete = require_athlete(transaction, check_in.athlete_id)
    reject_implausible(athlete, check_in, posting.now)
    body = to_json(check_in)
    stored = transaction.check_ins.latest(athlete.id, check_in.date)
    given = transaction.advice.latest(athlete.id, check_in.date)
    if stored is not None and given is not None and stored.body == body:
        again = None
        if decided_by_other_rules(
            transaction, advisor, rule_set, athlete, check_in.date, posting.now
        ):
            again = redecide_today(transaction, advisor, rule_set, athlete, posting)
        if again is not None:
            return again
        return Submitted(given.read_record().advice, is_new=False, supersedes=given.supersedes)

    history = history_before(transaction, check_in, posting.now)
    morning = Morning(athlete, check_in, history, posting.now)
    in_force = active_rule_set(transaction, advisor.library, rule_set, athlete.id, check_in.date)
    considered = advisor.consider(morning, in_force, posting.advice_id)
    transaction.check_ins.add(
        StoredCheckIn(
            posting.check_in_id, athlete.id, check_in.date, body, posting.now, posting.posted_by
        )
    )
    answer = _keep(transaction, advisor, considered, posting, given)
    if check_in.date < athlete.today(posting.now):
        redecide_today(transaction, advisor, rule_set, athlete, posting.again())
    return answer


def decided_by_other_rules(
    transaction: Transaction,
    advisor: Advisor,
    rule_set: RuleSet,
    athlete: Athlete,
    on: date,
    now: datetime,
) -> bool:
    """Whether the advice that holds for a date was given by another rule set than decides then.
    Of earlier dates it never is: what was advised on a morning that is over stays.

    ``rule_set`` decides where none was activated.
    """
    given = transaction.advice.latest(athlete.id, on)
    if given is None or on != athlete.today(now):
        return False
    in_force = active_rule_set(transaction, advisor.library, rule_set, athlete.id, on)
    return given.rule_set_digest != in_force.digest


def redecide_today(
    transaction: Transaction,
    advisor: Advisor,
    rule_set: RuleSet,
    athlete: Athlete,
    posting: Submission,
) -> Submitted | None:
    """Consider today's check-in again after the history before it, or what decides, has changed.

    The advice that was given stays as it is, with the facts that it was given on; where the new
    facts lead to other advice, that supersedes it. None when there is nothing to supersede.
    ``rule_set`` decides where none was activated.
    """
    today = athlete.today(posting.now)
    stored = transaction.check_ins.latest(athlete.id, today)
    given = transaction.advice.latest(athlete.id, today)
    if stored is None or given is None:
        return None
    check_in = from_json(CheckIn, stored.body)
    history = history_before(transaction, check_in, posting.now)
    morning = Morning(athlete, check_in, history, stored.received_at)
    in_force = active_rule_set(transaction, advisor.library, rule_set, athlete.id, today)
    considered = advisor.consider(morning, in_force, posting.advice_id)
    before = replace(given.read_record().advice, advice_id=posting.advice_id)
    if to_json(considered.advice) == to_json(before):  # equal moments may differ in their zone
        return None
    again = Submission(posting.now, posting.posted_by, stored.id, posting.advice_id)
    return _keep(transaction, advisor, considered, again, given)


def reject_implausible(athlete: Athlete, check_in: CheckIn, now: datetime) -> None:
    """Raises ``InvalidInput`` with every field that cannot be true."""
    errors = list(implausible(athlete, check_in, now))
    if errors:
        raise InvalidInput(lazy("field.untrue_check_in"), errors)


def history_before(transaction: Transaction, check_in: CheckIn, now: datetime) -> History:
    """The check-ins of earlier dates and the sessions that have started, as far back as the facts
    look; where a question that stops training is left open, also what last answered it."""
    athlete_id = check_in.athlete_id
    first_date = check_in.date - timedelta(days=SESSION_DAYS)
    first = datetime.combine(first_date, time.min, UTC)
    sessions = transaction.sessions.window(athlete_id, first, now)
    return History(
        check_ins=tuple(transaction.check_ins.before(athlete_id, check_in.date, CHECK_IN_DAYS)),
        sessions=tuple(session for _, session in sessions),
        last_answers=_last_answers(transaction, check_in),
    )


def _last_answers(transaction: Transaction, check_in: CheckIn) -> tuple[CheckIn, ...]:
    """Nothing is looked up for a check-in that leaves none of these questions open."""
    if None not in (check_in.warning_signs, check_in.illness, check_in.pain):
        return ()
    return tuple(
        transaction.check_ins.last_answers(check_in.athlete_id, check_in.date, CHECK_IN_DAYS)
    )


def _keep(
    transaction: Transaction,
    advisor: Advisor,
    considered: Considered,
    posting: Submission,
    given: StoredAdvice | None,
) -> Submitted:
    """Write advice to the ledger, superseding what was given before, with the decision of the
    shadow candidate beside it."""
    advice = considered.advice
    record = considered.record(
        decided_at=posting.now,
        posted_by=posting.posted_by,
        supersedes=given.id if given else None,
    )
    transaction.advice.add(
        StoredAdvice(
            id=posting.advice_id,
            check_in_id=posting.check_in_id,
            athlete_id=advice.athlete_id,
            date=considered.morning.check_in.date,
            verdict=advice.verdict.value,
            rule_id=advice.rule.id if advice.rule else None,
            rule_set_digest=advice.rule_set.digest,
            record=record.to_canonical_json(),
            decided_at=record.decided_at,
            supersedes=record.supersedes,
        )
    )
    keep_shadow(transaction, advisor.library, posting.advice_id, considered.facts)
    advisor.stored(considered)
    return Submitted(advice, is_new=True, supersedes=record.supersedes)


T = TypeVar("T")
A = TypeVar("A")

Entry: TypeAlias = CheckIn | DawnruleError
"""A check-in, or what is wrong with what should have been one."""

Outcome: TypeAlias = Submitted | DawnruleError | None
"""The answer, the error that stands against one, or None: nothing wrong, yet not stored."""

PER_TRANSACTION = 50
"""How many are stored at a time, so that others who want to write need not wait for all."""


class _Spoiled(Exception):
    """At least one of all cannot be stored, so none is."""


def submit_each(
    store: Store, entries: Sequence[T | DawnruleError], answer: Callable[[Transaction, T], A]
) -> list[A | DawnruleError | None]:
    """Store all that can be stored; the outcomes are in the order of the entries.

    ``answer`` answers one inside a transaction; what it raises, it raises before it writes.
    """
    outcomes: list[A | DawnruleError | None] = []
    for start in range(0, len(entries), PER_TRANSACTION):
        some = entries[start : start + PER_TRANSACTION]
        outcomes += store.write(partial(_outcomes, entries=some, answer=answer))
    return outcomes


def submit_all_or_none(
    store: Store, entries: Sequence[T | DawnruleError], answer: Callable[[Transaction, T], A]
) -> list[A | DawnruleError | None]:
    """Store all in one transaction, or nothing when one of them cannot be stored."""
    outcomes: list[A | DawnruleError | None] = []

    def job(transaction: Transaction) -> None:
        outcomes[:] = _outcomes(transaction, entries, answer)
        if any(isinstance(outcome, DawnruleError) for outcome in outcomes):
            raise _Spoiled

    try:
        store.write(job)
    except _Spoiled:
        return [o if isinstance(o, DawnruleError) else None for o in outcomes]
    return outcomes


def without_contradictions(entries: Sequence[Entry]) -> list[Entry]:
    """The entries, save those that say different things of one athlete's same date: which of
    them holds cannot be told, so none does."""
    first: dict[tuple[str, str], CheckIn] = {}
    contradicted = set()
    for entry in entries:
        if isinstance(entry, CheckIn) and first.setdefault(_subject(entry), entry) != entry:
            contradicted.add(_subject(entry))
    return [
        _contradiction(entry)
        if isinstance(entry, CheckIn) and _subject(entry) in contradicted
        else entry
        for entry in entries
    ]


def _outcomes(
    transaction: Transaction,
    entries: Sequence[T | DawnruleError],
    answer: Callable[[Transaction, T], A],
) -> list[A | DawnruleError | None]:
    return [_outcome(transaction, entry, answer) for entry in entries]


def _outcome(
    transaction: Transaction, entry: T | DawnruleError, answer: Callable[[Transaction, T], A]
) -> A | DawnruleError:
    if isinstance(entry, DawnruleError):
        return entry
    try:
        return answer(transaction, entry)
    except DawnruleError as error:
        return error


def _subject(check_in: CheckIn) -> tuple[str, str]:
    return check_in.athlete_id, check_in.date.isoformat()


def _contradiction(check_in: CheckIn) -> InvalidInput:
    day = check_in.date.isoformat()
    detail = lazy("field.once_or_the_same", athlete=check_in.athlete_id)
    return InvalidInput(
        lazy("field.two_check_ins", athlete=check_in.athlete_id, day=day),
        [FieldError("/date", day, detail)],
    )
