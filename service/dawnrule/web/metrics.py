"""What can be counted and measured of a running service? Never who, and nothing that they said.

Each application has a registry of its own. What is counted is counted in one process: whoever
runs several asks each of them.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from threading import Lock

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, ProcessCollector
from prometheus_client.exposition import choose_encoder

import dawnrule
from dawnrule.advice.advisor import Considered
from dawnrule.rules.decider import DISAGREEMENT
from dawnrule.store import Store
from dawnrule.vocabulary import Verdict

OTHER = "other"
"""What stands for a rule, or a method, beyond those that are counted by name."""

RULES_BY_NAME = 500
"""How many rules are counted by their ids; rule sets can be published without end."""

_METHODS = frozenset({"DELETE", "GET", "HEAD", "OPTIONS", "PATCH", "POST", "PUT"})
_SECONDS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10)
_STATUS_CLASS = 100


class Metrics:
    """The counts and measurements of one application."""

    def __init__(self, store: Store) -> None:
        """Over an open store, and of every disagreement from now on."""
        self.registry = registry = CollectorRegistry()
        ProcessCollector(registry=registry)
        self._verdicts = Counter(
            "dawnrule_verdicts", "Advice stored, by verdict.", ["verdict"], registry=registry
        )
        for verdict in Verdict:
            self._verdicts.labels(verdict)
        self._fired = Counter(
            "dawnrule_rules_fired",
            "In how many advices that were stored each rule fired.",
            ["rule"],
            registry=registry,
        )
        self._disagreements = Counter(
            "dawnrule_engine_disagreements",
            "How often the two evaluations of the rules differed, and no advice was given.",
            registry=registry,
        )
        self._seconds = Histogram(
            "dawnrule_request_seconds",
            "How long requests took, from the first byte read by the application to the answer.",
            ["route", "method", "status"],
            buckets=_SECONDS,
            registry=registry,
        )
        self._last_backup = Gauge(
            "dawnrule_last_backup_timestamp_seconds",
            "When this process last made a back-up; 0 if it has made none.",
            registry=registry,
        )
        self._failed_backups = Counter(
            "dawnrule_backups_failed", "Back-ups that could not be made.", registry=registry
        )
        Gauge(
            "dawnrule_version_info", "The version that runs.", ["version"], registry=registry
        ).labels(dawnrule.__version__).set(1)
        Gauge(
            "dawnrule_writes_waiting", "Writes that wait for their turn.", registry=registry
        ).set_function(lambda: store.writes_waiting)
        Gauge(
            "dawnrule_ledger_position",
            "The position of the newest entry of the ledger: how many entries there are.",
            registry=registry,
        ).set_function(lambda: store.read(lambda books: books.ledger.head().position))
        self._rules_by_name: set[str] = set()
        self._lock = Lock()
        self._listener = _Disagreements(self._disagreements.inc)
        logging.getLogger("dawnrule.rules").addHandler(self._listener)

    def close(self) -> None:
        """Count no more disagreements."""
        logging.getLogger("dawnrule.rules").removeHandler(self._listener)

    def stored(self, considered: Considered) -> None:
        """Count an advice that is being stored, and the rules that fired in it."""
        decision = considered.decision
        self._verdicts.labels(decision.verdict).inc()
        subjects = (decision.day, *decision.parts)
        for rule_id in {rule.id for subject in subjects for rule in subject.fired}:
            self._fired.labels(self._rule(rule_id)).inc()

    def answered(self, route: str, method: str, status: int, seconds: float) -> None:
        """Measure a request by its route as it is written in the code, and its class of status."""
        known = method if method in _METHODS else OTHER
        self._seconds.labels(route, known, f"{status // _STATUS_CLASS}xx").observe(seconds)

    def backed_up(self, timestamp: float) -> None:
        """Tell when a back-up was made, in seconds since 1970."""
        self._last_backup.set(timestamp)

    def backup_failed(self) -> None:
        """Count a back-up that could not be made."""
        self._failed_backups.inc()

    def exposition(self, accept: str) -> tuple[bytes, str]:
        """All of it in the form that an Accept header likes best, and that form's media type."""
        encode, content_type = choose_encoder(accept)
        return encode(self.registry), content_type

    def _rule(self, rule_id: str) -> str:
        """The label of a rule; what is counted by name is bounded."""
        if rule_id in self._rules_by_name:
            return rule_id
        with self._lock:
            if len(self._rules_by_name) >= RULES_BY_NAME:
                return OTHER
            self._rules_by_name.add(rule_id)
            return rule_id


class _Disagreements(logging.Handler):
    """Hears of every disagreement, wherever in the process it happens: for advice, for a row of a
    batch, or in the shadow."""

    def __init__(self, count: Callable[[], None]) -> None:
        super().__init__(logging.CRITICAL)
        self._count = count

    def emit(self, record: logging.LogRecord) -> None:
        """Count it."""
        if DISAGREEMENT in record.__dict__:
            self._count()
