"""Submission of check-ins: the pipeline from a check-in to stored advice."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import NAMESPACE_OID, uuid5

from dawnrule.advice.advisor import AdvisedMorning, Advisor, Morning
from dawnrule.application.active_rules import active_rule_set, keep_shadow
from dawnrule.application.athletes import require_athlete
from dawnrule.application.concern_reports import (
    changes_by_check_in,
    concerns_on,
    keep_changes,
    opened_by,
)
from dawnrule.application.remembered import EachTime, Remembered, Steps
from dawnrule.errors import InvalidInput
from dawnrule.facts.history import CHECK_IN_DAYS, SESSION_DAYS
from dawnrule.facts.plausibility import implausible
from dawnrule.i18n.lazy import lazy
from dawnrule.model.advice import Advice, GivenNote
from dawnrule.model.concerns import Concern
from dawnrule.model.entities import Athlete, CheckIn, History
from dawnrule.model.serialization import to_json
from dawnrule.rules.advice_policy import AdvicePolicy
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import DecidedOn, StoredAdvice, StoredCheckIn, Transaction
from dawnrule.store.activity_log import COMMAND_LINE

_HEALTH = ("pain", "illness", "warning_signs", "temperature_c", "fever_medicine")
"""The answers of a check-in that open a concern, ease it or end it."""

EVERYTHING = frozenset(_HEALTH)
"""All of these, as a check-in says them that is told as a whole."""


@dataclass(frozen=True, slots=True)
class Submission:
    """One submission: its time (aware), the key that was used, and the ids for what it stores."""

    now: datetime
    posted_by: str | None
    check_in_id: str
    advice_id: str

    def for_another_advice(self) -> Submission:
        """Copy with a new advice id, which is derived from this one's and as unique."""
        return replace(self, advice_id=str(uuid5(NAMESPACE_OID, self.advice_id)))


@dataclass(frozen=True, slots=True)
class Submitted:
    """The advice on a check-in; ``is_new`` is False when nothing had to be stored, and
    ``supersedes`` is the id of the advice that it replaces."""

    advice: Advice
    is_new: bool
    supersedes: str | None = None


@dataclass(frozen=True, slots=True)
class CheckIns:
    """Answers to check-ins. ``default_rule_set`` decides where none was activated; ``clock`` gives
    aware times, ``new_id`` unique ids. Each method that takes a transaction runs inside it."""

    advisor: Advisor
    default_rule_set: RuleSet
    clock: Callable[[], datetime]
    new_id: Callable[[], str]
    steps: Steps = field(default_factory=EachTime)

    def remembering(self) -> CheckIns:
        """Copy for one submission whose transaction may be tried several times: the advice is
        composed again only where what it hangs on has changed since the last time."""
        return replace(self, steps=Remembered())

    def submission(self, posted_by: str | None) -> Submission:
        """Begin a submission with a key, now."""
        return Submission(self.clock(), posted_by, self.new_id(), self.new_id())

    def submit(
        self,
        transaction: Transaction,
        check_in: CheckIn,
        submission: Submission,
        said: Collection[str] = EVERYTHING,
    ) -> Submitted:
        """Store a check-in with its advice and return the advice.

        ``said`` names the fields that are said now, where others were said before: a sign that was
        cleared since is not reported again by a submission that does not speak of it.

        A repeated check-in writes nothing and returns the advice that was given before, unless
        another rule set decides today than did then: then today's advice is decided again. A
        check-in of an earlier date is history for today, whose advice is decided again too.

        Raises ``NotFound`` for an unknown athlete, ``InvalidInput`` for what cannot be true.
        """
        athlete = require_athlete(transaction, check_in.athlete_id)
        reject_implausible(athlete, check_in, submission.now)
        body = to_json(check_in)
        stored = transaction.check_ins.latest(athlete.id, check_in.date)
        given = transaction.advice.latest(athlete.id, check_in.date)
        if stored is not None and given is not None and stored.body == body:
            return self._resubmitted(transaction, athlete, given, submission)

        changed, considered = self._advised(transaction, athlete, check_in, submission, said)
        by = submission.posted_by or COMMAND_LINE
        keep_changes(transaction, changed, by=by, at=submission.now)
        transaction.check_ins.add(
            StoredCheckIn(
                submission.check_in_id,
                athlete.id,
                check_in.date,
                body,
                submission.now,
                submission.posted_by,
            )
        )
        answer = self._store(transaction, considered, submission, given)
        if check_in.date < athlete.today(submission.now):
            self.redecide_today(transaction, athlete, submission.for_another_advice())
        return answer

    def answer_alone(
        self, athlete: Athlete, check_in: CheckIn, submission: Submission
    ) -> Submitted:
        """Answer the check-in of an athlete of whom nothing else is known or will be, as ``submit``
        would answer it in an empty database: so nothing has to be read or stored. Raises
        ``InvalidInput`` for what cannot be true."""
        reject_implausible(athlete, check_in, submission.now)
        opened = opened_by(check_in, submission.now, submission.check_in_id)
        history = History(concerns=concerns_on(opened, check_in.date, submission.now))
        morning = Morning(athlete, check_in, history, submission.now)
        given = morning, self.default_rule_set, submission.advice_id
        return Submitted(self.advisor.consider(*given).advice, is_new=True)

    def compose(
        self,
        transaction: Transaction,
        check_in: CheckIn,
        submission: Submission,
        said: Collection[str] = EVERYTHING,
    ) -> None:
        """Compose the advice on a check-in, unless it is a repeated one, in a transaction that only
        reads: ``submit`` of the same that remembers finds it done. Raises as ``submit``."""
        athlete = require_athlete(transaction, check_in.athlete_id)
        reject_implausible(athlete, check_in, submission.now)
        stored = transaction.check_ins.latest(athlete.id, check_in.date)
        if stored is None or stored.body != to_json(check_in):
            self._advised(transaction, athlete, check_in, submission, said)

    def is_decided_by_other_rules(
        self, transaction: Transaction, athlete: Athlete, on: date, now: datetime
    ) -> bool:
        """Tell whether the advice that holds for a date was given by another rule set than decides
        then. That is never so for earlier dates: advice on a morning that is over stays."""
        given = transaction.advice.latest(athlete.id, on)
        if given is None or on != athlete.today(now):
            return False
        return given.rule_set_digest != self._active(transaction, athlete, on).digest

    def redecide_today(
        self, transaction: Transaction, athlete: Athlete, submission: Submission
    ) -> Submitted | None:
        """Decide today's check-in again after its history or the active rule set has changed.

        The advice that was given stays stored, with the facts that it was given on; different
        advice supersedes it. Return None when there is nothing to supersede.
        """
        today = athlete.today(submission.now)
        stored = transaction.check_ins.latest(athlete.id, today)
        given = transaction.advice.latest(athlete.id, today)
        if stored is None or given is None:
            return None
        check_in = stored.check_in
        history = history_before(transaction, check_in, submission.now)
        morning = Morning(athlete, check_in, history, stored.received_at)
        considered = self._consider(transaction, morning, submission)
        before = replace(given.read_record().advice, advice_id=submission.advice_id)
        if to_json(considered.advice) == to_json(before):  # equal moments may differ in their zone
            return None
        return self._store(
            transaction, considered, replace(submission, check_in_id=stored.id), given
        )

    def _resubmitted(
        self,
        transaction: Transaction,
        athlete: Athlete,
        given: StoredAdvice,
        submission: Submission,
    ) -> Submitted:
        again = None
        if self.is_decided_by_other_rules(transaction, athlete, given.date, submission.now):
            again = self.redecide_today(transaction, athlete, submission)
        if again is not None:
            return again
        return Submitted(given.read_record().advice, is_new=False, supersedes=given.supersedes)

    def _advised(
        self,
        transaction: Transaction,
        athlete: Athlete,
        check_in: CheckIn,
        submission: Submission,
        said: Collection[str],
    ) -> tuple[Sequence[Concern], AdvisedMorning]:
        """Advise on a new check-in; the concerns are those that it changes."""
        unsaid: dict[str, Any] = {name: None for name in _HEALTH if name not in said}
        reported = replace(check_in, **unsaid)
        by = submission.check_in_id, submission.now
        changed, concerns = changes_by_check_in(transaction, reported, *by)
        history = history_before(transaction, check_in, submission.now, concerns)
        morning = Morning(athlete, check_in, history, submission.now)
        return changed, self._consider(transaction, morning, submission)

    def _active(self, transaction: Transaction, athlete: Athlete, on: date) -> RuleSet:
        return active_rule_set(
            transaction, self.advisor.library, self.default_rule_set, athlete.id, on
        )

    def _consider(
        self, transaction: Transaction, morning: Morning, submission: Submission
    ) -> AdvisedMorning:
        active = self._active(transaction, morning.athlete, morning.check_in.date)
        name = f"advice {submission.advice_id}"
        return self.steps.do(name, self.advisor.consider, morning, active, submission.advice_id)

    def _store(
        self,
        transaction: Transaction,
        considered: AdvisedMorning,
        submission: Submission,
        given: StoredAdvice | None,
    ) -> Submitted:
        """Write advice to the ledger, superseding what was given before, and the decision of the
        shadow candidate with it."""
        advice = considered.advice
        supersedes = given.id if given else None
        name = f"record {submission.advice_id}"
        record = self.steps.do(name, _record, considered, submission, supersedes)
        position = transaction.advice.add(
            StoredAdvice(
                id=submission.advice_id,
                check_in_id=submission.check_in_id,
                athlete_id=advice.athlete_id,
                date=considered.morning.check_in.date,
                verdict=advice.verdict.value,
                rule_id=advice.rule.id if advice.rule else None,
                rule_set_digest=advice.rule_set.digest,
                record=record,
                decided_at=submission.now,
                supersedes=supersedes,
            )
        )
        keep_shadow(transaction, self.advisor.library, submission.advice_id, considered.facts)
        on, by = considered.morning.check_in.date, submission.now
        transaction.vouched_rows.enter(
            DecidedOn(position, advice.athlete_id, on, by, CHECK_IN_DAYS, SESSION_DAYS)
        )
        self.steps.do(f"stored {submission.advice_id}", self.advisor.stored, considered)
        return Submitted(advice, is_new=True, supersedes=supersedes)


def _record(considered: AdvisedMorning, submission: Submission, supersedes: str | None) -> str:
    """Write the record of an advice, as canonical JSON."""
    record = considered.record(
        decided_at=submission.now, posted_by=submission.posted_by, supersedes=supersedes
    )
    return record.to_canonical_json()


def reject_implausible(athlete: Athlete, check_in: CheckIn, now: datetime) -> None:
    """Raises ``InvalidInput`` with every field that cannot be true."""
    errors = list(implausible(athlete, check_in, now))
    if errors:
        raise InvalidInput(lazy("field.untrue_check_in"), errors)


def history_before(
    transaction: Transaction,
    check_in: CheckIn,
    now: datetime,
    concerns: Sequence[Concern] | None = None,
) -> History:
    """The check-ins of earlier dates and the sessions that have started, as far back as the facts
    look, the concerns that the morning knows of, and the notes that were given in full lately;
    where a question that stops training is left open, also what last answered it. ``concerns`` are
    those that are current; they are read where they are not given."""
    athlete_id = check_in.athlete_id
    first_date = check_in.date - timedelta(days=SESSION_DAYS)
    first = datetime.combine(first_date, time.min, UTC)
    sessions = transaction.sessions.window(athlete_id, first, now)
    if concerns is None:
        concerns = transaction.concerns.current(athlete_id, check_in.date)
    return History(
        check_ins=tuple(transaction.check_ins.before(athlete_id, check_in.date, CHECK_IN_DAYS)),
        sessions=tuple(session for _, session in sessions),
        last_answers=_last_answers(transaction, check_in),
        concerns=concerns_on(concerns, check_in.date, now),
        given_notes=tuple(_given_notes(transaction, athlete_id, check_in.date)),
    )


def _given_notes(transaction: Transaction, athlete_id: str, before: date) -> Iterator[GivenNote]:
    """Yield the notes that the advice of the last days gave in full. A note without the words that
    it fired on is from before notes had them."""
    first = before - timedelta(days=AdvicePolicy.bundled().name_only_for_days)
    last = before - timedelta(days=1)
    for on, notes in transaction.advice.notes(athlete_id, first, last).items():
        for note in notes:
            if note["caution"] and "reason" in note:
                yield GivenNote(note["rule"]["id"], note["reason"], on)


def _last_answers(transaction: Transaction, check_in: CheckIn) -> tuple[CheckIn, ...]:
    """Nothing is looked up for a check-in that leaves none of these questions open."""
    if None not in (check_in.warning_signs, check_in.illness, check_in.pain):
        return ()
    return tuple(
        transaction.check_ins.last_answers(check_in.athlete_id, check_in.date, CHECK_IN_DAYS)
    )
