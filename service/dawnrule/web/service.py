"""What do the views work with?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from threading import Event

from flask import Flask, current_app

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.again import Again
from dawnrule.advice.archive import Archive
from dawnrule.advice.in_force import rule_set_in_force
from dawnrule.advice.morning import Answer, Posting, answer_check_in
from dawnrule.advice.publishing import Publisher
from dawnrule.advice.replays import ReplayJobs
from dawnrule.advice.training import Logged, log_session
from dawnrule.facts.check_in import CheckIn, Session
from dawnrule.rules.rule_set import RuleSet
from dawnrule.settings import Settings, name_and_version
from dawnrule.store import Books, Store
from dawnrule.web.backups import Backups
from dawnrule.web.metrics import Metrics

_EXTENSION = "dawnrule"


@dataclass(frozen=True, slots=True)
class Service:
    """The parts of one running service; ``rule_set`` decides where none was activated, and
    ``stopping`` is set once it is about to end."""

    settings: Settings
    store: Store
    archive: Archive
    advisor: Advisor
    publisher: Publisher
    replays: ReplayJobs
    rule_set: RuleSet
    clock: Callable[[], datetime]
    new_id: Callable[[], str]
    metrics: Metrics
    backups: Backups
    stopping: Event = field(default_factory=Event)

    def attach(self, app: Flask) -> None:
        """Make this the service of an application."""
        app.extensions[_EXTENSION] = self

    @classmethod
    def of(cls, app: Flask) -> Service:
        """The service of an application."""
        found: Service = app.extensions[_EXTENSION]
        return found

    def start(self) -> None:
        """Begin with what goes on in the background by itself."""
        self.backups.start()

    def close(self) -> None:
        """Stop what goes on in the background, so that the store can be closed."""
        self.backups.close()
        self.replays.close()
        self.metrics.close()

    def rule_set_named(self, name: str) -> RuleSet:
        """The rule set of a ``name@version``. Raises ``NotFound``."""
        return self.advisor.library.get(*name_and_version(name))

    def in_force(self, books: Books, athlete_id: str | None, on: date) -> RuleSet:
        """The rule set that decides for an athlete, or for all others (None), on a date."""
        return rule_set_in_force(books, self.advisor.library, self.rule_set, athlete_id, on)

    def in_force_today(self, books: Books) -> RuleSet:
        """The rule set that decides today for all who have none of their own."""
        return self.in_force(books, None, self.clock().date())

    @property
    def again(self) -> Again:
        """Today's advice, to be decided again after another rule set came to decide."""
        return Again(self.store, self.advisor, self.rule_set, self.clock, self.new_id)

    def posting(self, key_id: str) -> Posting:
        """One act of posting with a key, now."""
        return Posting(self.clock(), key_id, self.new_id(), self.new_id())

    def answer_for(self, key_id: str) -> Callable[[Books, CheckIn], Answer]:
        """How a check-in that a key posts is answered, inside a transaction."""

        def answer(books: Books, check_in: CheckIn) -> Answer:
            posting = self.posting(key_id)
            return answer_check_in(books, self.advisor, self.rule_set, check_in, posting)

        return answer

    def log_for(self, key_id: str) -> Callable[[Books, Session], Logged]:
        """How a session that a key posts is logged, inside a transaction."""

        def log(books: Books, session: Session) -> Logged:
            session_id, posting = self.new_id(), self.posting(key_id)
            return log_session(books, self.advisor, self.rule_set, session, session_id, posting)

        return log


def service() -> Service:
    """The service of the application that handles this request."""
    return Service.of(current_app)
