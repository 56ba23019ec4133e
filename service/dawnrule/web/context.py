"""Application context shared by all views."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime
from threading import Event
from typing import Any

from flask import Flask, current_app

from dawnrule.advice.advisor import Advisor
from dawnrule.analytics.archive import Archive
from dawnrule.analytics.replay_jobs import ReplayJobs
from dawnrule.application.active_rules import active_rule_set
from dawnrule.application.amendments import Told, compose_told, planned_parts, submit_told
from dawnrule.application.batches import Begin
from dawnrule.application.check_ins import CheckIns, Submitted
from dawnrule.application.leftovers import Leftovers
from dawnrule.application.recoveries import Recoveries
from dawnrule.application.rule_sets import (
    Publisher,
    Redecision,
    RosterEntry,
    roster,
    rule_set_names,
)
from dawnrule.application.sessions import Logged, log_session
from dawnrule.application.weeks import Weeks
from dawnrule.errors import DawnruleError
from dawnrule.model.entities import Session
from dawnrule.rules.rule_set import RuleSet
from dawnrule.settings import Settings, name_and_version
from dawnrule.store import Store, Transaction
from dawnrule.web.backup_schedule import Backups
from dawnrule.web.observability import Metrics

_EXTENSION = "dawnrule"
_PARTS_COMPOSED_SOON = 8
"""So many are composed in 25 ms; the most that a plan can have, 700, in three seconds."""


def _takes_long(told: Told) -> bool:
    return planned_parts(told) > _PARTS_COMPOSED_SOON


@dataclass(frozen=True, slots=True)
class Context:
    """The parts of one running service; ``rule_set`` decides where none was activated, and
    ``stopping`` is set once the service is about to end."""

    settings: Settings
    store: Store
    archive: Archive
    advisor: Advisor
    publisher: Publisher
    replays: ReplayJobs
    recoveries: Recoveries
    rule_set: RuleSet
    clock: Callable[[], datetime]
    new_id: Callable[[], str]
    metrics: Metrics
    backups: Backups
    leftovers: Leftovers
    stopping: Event = field(default_factory=Event)
    judged_weeks: dict[str, tuple[Any, tuple[str, ...]]] = field(default_factory=dict)
    """What of the rest of a week is refused, by athlete, with what was judged."""

    def attach(self, app: Flask) -> None:
        """Make this the context of an application."""
        app.extensions[_EXTENSION] = self

    @classmethod
    def of(cls, app: Flask) -> Context:
        """Return the context of an application."""
        found: Context = app.extensions[_EXTENSION]
        return found

    def start(self) -> None:
        """Start the background work."""
        self.backups.start()
        self.leftovers.start()

    def close(self) -> None:
        """End the background work, so that the store can be closed."""
        self.backups.close()
        self.leftovers.close()
        self.replays.close()
        self.metrics.close()

    def rule_set_named(self, name: str) -> RuleSet:
        """Get the rule set of a ``name@version``. Raises ``NotFound``."""
        return self.advisor.library.get(*name_and_version(name))

    def rule_set_for(self, transaction: Transaction, athlete_id: str | None, on: date) -> RuleSet:
        """Find the rule set that decides for an athlete, or for all others (None), on a date."""
        return active_rule_set(transaction, self.advisor.library, self.rule_set, athlete_id, on)

    def rule_set_today(self, transaction: Transaction) -> RuleSet:
        """Find the rule set that decides today for all who have none of their own."""
        return self.rule_set_for(transaction, None, self.clock().date())

    def roster(self) -> list[RosterEntry]:
        """List the rule sets with what each decides today."""
        today = self.clock().date()
        return self.store.read(
            lambda transaction: roster(transaction, self.advisor.library, self.rule_set, today)
        )

    def rule_set_names(self) -> list[str]:
        """List the rule sets as name@version, in the order of the roster."""
        names = self.store.read(
            lambda transaction: rule_set_names(transaction, self.advisor.library)
        )
        return list(names.values())

    @property
    def again(self) -> Redecision:
        """The re-decision of today's advice after another rule set was activated."""
        return Redecision(self.store, self.check_ins)

    @property
    def weeks(self) -> Weeks:
        """What lays out weeks by the rules of this service, and judges them."""
        return Weeks(self.advisor, self.recoveries, self.rule_set_for)

    @property
    def check_ins(self) -> CheckIns:
        """The answers to check-ins of this service."""
        return CheckIns(self.advisor, self.rule_set, self.clock, self.new_id)

    def answer_for(
        self, key_id: str, is_composed_ahead: Callable[[Told], bool] = _takes_long
    ) -> Begin[Told, Submitted]:
        """Return the function that begins a submission of a check-in posted with a key, or of a
        change of one. The advice on a large plan, which takes long, is composed before the job has
        its turn to write; what stands against it is found again then."""

        def begin(told: Told) -> Callable[[Transaction], Submitted]:
            check_ins = self.check_ins.remembering()
            given = check_ins, told, check_ins.submission(key_id)
            if is_composed_ahead(told):
                with suppress(DawnruleError):
                    self.store.read(lambda transaction: compose_told(transaction, *given))
            return lambda transaction: submit_told(transaction, *given)

        return begin

    def answer_rows_for(self, key_id: str) -> Begin[Told, Submitted]:
        """Return the function that begins the rows of a batch one after the other. Each is composed
        ahead, while others have their turn to write, but for those that may hang on a row before
        them: they are about the same athlete."""
        seen: set[str] = set()

        def is_composed_ahead(told: Told) -> bool:
            is_first = told.athlete_id not in seen
            seen.add(told.athlete_id)
            return is_first or _takes_long(told)

        return self.answer_for(key_id, is_composed_ahead)

    def log_for(self, key_id: str) -> Begin[Session, Logged]:
        """Return the function that begins the logging of a session posted with a key."""

        def begin(session: Session) -> Callable[[Transaction], Logged]:
            check_ins = self.check_ins.remembering()
            given = session, self.new_id(), check_ins.submission(key_id)
            return lambda transaction: log_session(transaction, check_ins, *given)

        return begin


def context() -> Context:
    """Return the context of the application that handles this request."""
    return Context.of(current_app)
