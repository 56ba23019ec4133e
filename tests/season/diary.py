"""A diary that is posted to the application, entry after entry, each with the clock at its hour."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cache
from itertools import count
from typing import Any

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.summary import cautions_on_pain, spoken_summary
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.application.concerns import (
    Acting,
    clear_concern,
    concerns_of,
    confirm_correction,
    open_concern,
)
from dawnrule.application.sessions import log_session
from dawnrule.model.advice import Advice
from dawnrule.model.concern_transitions import ClearanceTerms, Opening
from dawnrule.model.concerns import ActorRole, Concern, ConcernKind, Restriction
from dawnrule.model.entities import Athlete, CheckIn, Session
from dawnrule.store import Store

VERSION = "2.0.0"
"""The version of the baseline under which seasons are lived."""


@cache
def advisor() -> Advisor:
    """The advisor that ships."""
    return Advisor.bundled()


def spoken(advice: Advice) -> str:
    """The line that is read aloud."""
    composer = advisor().composer
    return spoken_summary(advice, composer, cautions_on_pain(advice, advisor().library, composer))


@dataclass(slots=True)
class Diary:
    """The diary of one athlete, under one version of the baseline."""

    store: Store
    athlete: Athlete
    version: str = VERSION
    _numbers: count[int] = field(default_factory=count)

    def __post_init__(self) -> None:
        self.store.write(lambda transaction: transaction.athletes.put(self.athlete))

    def post(self, check_in: CheckIn, at: datetime) -> Advice:
        """Post a check-in and return the advice on it."""
        submission = self._submission(at)
        posted = self.store.write(
            lambda transaction: self._check_ins().submit(transaction, check_in, submission)
        )
        return posted.advice

    def log(self, session: Session) -> None:
        """Log a session when it is over."""
        submission = self._submission(session.starts_at + timedelta(minutes=session.minutes))
        self.store.write(
            lambda transaction: log_session(
                transaction, self._check_ins(), session, f"{submission.check_in_id} s", submission
            )
        )

    def clear(self, at: datetime, role: ActorRole = ActorRole.CLINICIAN, **terms: Any) -> Concern:
        """Clear the only concern that has not ended."""
        (concern,) = self.concerns(at)
        acting = Acting(role, self._submission(at))
        changed = self.store.write(
            lambda transaction: clear_concern(
                transaction, self._check_ins(), concern.id, ClearanceTerms(**terms), acting
            )
        )
        return changed.concern

    def order(self, at: datetime, role: ActorRole, restriction: Restriction) -> Concern:
        """Order a restriction."""
        acting = Acting(role, self._submission(at))
        opening = Opening(ConcernKind.RESTRICTION, restriction=restriction)
        changed = self.store.write(
            lambda transaction: open_concern(
                transaction, self._check_ins(), self.athlete.id, opening, acting
            )
        )
        return changed.concern

    def confirm_correction(self, at: datetime) -> Concern:
        """Confirm, as the coach, that what was taken back was a typing error."""
        (concern,) = self.concerns(at)
        acting = Acting(ActorRole.COACH, self._submission(at))
        changed = self.store.write(
            lambda transaction: confirm_correction(
                transaction, self._check_ins(), concern.id, acting
            )
        )
        return changed.concern

    def concerns(self, at: datetime) -> list[Concern]:
        """The concerns that have not ended."""
        found = self.store.read(lambda reading: concerns_of(reading, self.athlete.id, at))
        return [concern for concern in found if not concern.is_closed]

    def _check_ins(self) -> CheckIns:
        rule_set = advisor().library.get("baseline", self.version)
        return CheckIns(advisor(), rule_set, _no_clock, lambda: "unused")

    def _submission(self, at: datetime) -> Submission:
        name = f"{self.athlete.id} {next(self._numbers)}"
        return Submission(at, None, f"{name} c", f"{name} v")


def _no_clock() -> datetime:
    raise AssertionError("each entry has a time of its own")
