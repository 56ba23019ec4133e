"""Rule sets: roster, publication, activation, shadow runs, and re-decision of today's advice."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import takewhile

from dawnrule.application.active_rules import active_rule_set
from dawnrule.application.athletes import require_athlete
from dawnrule.application.check_ins import CheckIns
from dawnrule.errors import Conflict, NotFound
from dawnrule.model.entities import Athlete
from dawnrule.model.serialization import from_json_text, to_json
from dawnrule.rules.analysis.diff import Difference
from dawnrule.rules.analysis.findings import ReportedFinding
from dawnrule.rules.analysis.sandbox import SandboxResult, check_in_sandbox, diff_in_sandbox
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import (
    Activation,
    Candidate,
    ShadowCount,
    ShadowDifference,
    Store,
    StoredRuleSet,
    Transaction,
)
from dawnrule.store.activity_log import COMMAND_LINE, record_act


@dataclass(frozen=True, slots=True)
class RosterEntry:
    """A rule set and its part in today's advice.

    ``active`` means that it decides today for all athletes without a rule set of their own, by
    ``activation``, or by the settings where that is None. ``ahead`` are the activations for all
    athletes whose date has not come, newest first; ``athletes`` the ids of those for whom it
    decides today as their own; ``activations`` every one that was ever made, newest first.
    ``published_at`` and ``published_by`` are None for a bundled rule set.
    """

    name: str
    version: str
    digest: str
    summary: str
    published_at: datetime | None
    published_by: str | None
    active: bool
    activation: Activation | None
    ahead: tuple[Activation, ...]
    athletes: tuple[str, ...]
    shadow_since: datetime | None
    activations: tuple[NamedActivation, ...]

    @property
    def full_name(self) -> str:
        """``name@version``."""
        return f"{self.name}@{self.version}"


def roster(
    transaction: Transaction, library: RuleSetLibrary, default: RuleSet, today: date
) -> list[RosterEntry]:
    """List the bundled rule sets and then the published ones, in order of publication, with what
    each decides on ``today``; ``default`` decides where none was activated."""
    activations = transaction.activations.all()
    named = _named_activations(activations, rule_set_names(transaction, library))
    standing = [one for one in activations if one.taken_back_at is None]
    for_all = [one for one in standing if one.athlete_id is None]
    active = active_rule_set(transaction, library, default, None, today).digest
    own = _own_rule_sets(standing, library, today)
    candidate = transaction.shadow.candidate()

    def entry(rule_set: RuleSet | StoredRuleSet) -> RosterEntry:
        digest = rule_set.digest
        of_all = [one for one in for_all if one.digest == digest]
        come = (one for one in of_all if _has_come(one, today))
        stored = rule_set if isinstance(rule_set, StoredRuleSet) else None
        return RosterEntry(
            name=rule_set.name,
            version=rule_set.version,
            digest=digest,
            summary=rule_set.summary,
            published_at=stored.published_at if stored else None,
            published_by=stored.published_by if stored else None,
            active=digest == active,
            activation=next(come, None) if digest == active else None,
            ahead=tuple(one for one in of_all if not _has_come(one, today)),
            athletes=tuple(sorted(who for who, decides in own.items() if decides == digest)),
            shadow_since=candidate.since if candidate and candidate.digest == digest else None,
            activations=tuple(n for n in named if n.rule_set and n.rule_set.digest == digest),
        )

    return [
        *(entry(rule_set) for rule_set in library.all()),
        *(entry(stored) for stored in transaction.rule_sets.all()),
    ]


def rule_set_names(transaction: Transaction, library: RuleSetLibrary) -> dict[str, str]:
    """Map digests to ``name@version``, in the order of the roster."""
    published = {one.digest: f"{one.name}@{one.version}" for one in transaction.rule_sets.all()}
    return {one.digest: one.full_name for one in library.all()} | published


@dataclass(frozen=True, slots=True)
class RuleSetReference:
    """A rule set by digest, and by name@version (None: it is not known here any more)."""

    digest: str
    full_name: str | None


@dataclass(frozen=True, slots=True)
class NamedActivation:
    """An activation with the name of its rule set; None returns an athlete to that of all."""

    number: int
    rule_set: RuleSetReference | None
    from_date: date | None
    athlete_id: str | None
    at: datetime
    by: str | None
    taken_back_at: datetime | None
    taken_back_by: str | None


def named_activations(transaction: Transaction, library: RuleSetLibrary) -> list[NamedActivation]:
    """List every activation, newest first, with the names of the rule sets."""
    return _named_activations(transaction.activations.all(), rule_set_names(transaction, library))


def _named_activations(
    activations: Sequence[Activation], names: Mapping[str, str]
) -> list[NamedActivation]:
    return [
        NamedActivation(
            one.number,
            RuleSetReference(one.digest, names.get(one.digest)) if one.digest else None,
            one.from_date,
            one.athlete_id,
            one.at,
            one.by,
            one.taken_back_at,
            one.taken_back_by,
        )
        for one in activations
    ]


def _own_rule_sets(
    standing: Sequence[Activation], library: RuleSetLibrary, today: date
) -> dict[str, str]:
    """Map the athletes whose own activation decides today to the digest of that rule set."""
    by_athlete: dict[str, list[str | None]] = {}
    for one in standing:
        if one.athlete_id is not None and _has_come(one, today):
            by_athlete.setdefault(one.athlete_id, []).append(one.digest)
    decides = {
        athlete_id: next((d for d in takewhile(bool, digests) if d and library.deciding(d)), None)
        for athlete_id, digests in by_athlete.items()
    }
    return {athlete_id: digest for athlete_id, digest in decides.items() if digest}


def _has_come(activation: Activation, today: date) -> bool:
    return activation.from_date is None or activation.from_date <= today


@dataclass(frozen=True, slots=True)
class RedecisionCounts:
    """The number of athletes whose advice for today was given by other rules than decide now and
    ``stays``, and of those whose advice was ``decided_again``."""

    stays: int
    decided_again: int = 0


@dataclass(frozen=True, slots=True)
class Redecision:
    """Re-decision of today's advice after the active rule set has changed."""

    store: Store
    check_ins: CheckIns

    def count(
        self, athlete_ids: Sequence[str] | None, *, decide: bool, by: str | None
    ) -> RedecisionCounts:
        """Count the advice by other rules, for athletes or for all (None); with ``decide``,
        decide it again."""
        athletes = self._by_other_rules(athlete_ids)
        if not decide:
            return RedecisionCounts(len(athletes))
        # Each in a transaction of its own, so that check-ins come in between.
        done = sum(self._decided_again(athlete, by) for athlete in athletes)
        return RedecisionCounts(len(athletes) - done, done)

    def _by_other_rules(self, athlete_ids: Sequence[str] | None) -> list[Athlete]:
        def find(transaction: Transaction) -> list[Athlete]:
            return [
                athlete
                for athlete in transaction.athletes.all()
                if (athlete_ids is None or athlete.id in athlete_ids)
                and self._is_affected(transaction, athlete)
            ]

        return self.store.read(find)

    def _is_affected(self, transaction: Transaction, athlete: Athlete) -> bool:
        """Tell whether other rules decided; never of an athlete whose time zone cannot be loaded:
        nothing is decided of them, and the others' advice must not wait for that."""
        now = self.check_ins.clock()
        try:
            today = athlete.today(now)
        except Conflict:
            return False
        return self.check_ins.is_decided_by_other_rules(transaction, athlete, today, now)

    def _decided_again(self, athlete: Athlete, by: str | None) -> bool:
        """Decide again; return False where the athlete or today's check-in is gone meanwhile."""
        submission = self.check_ins.submission(by)

        def decide(transaction: Transaction) -> bool:
            answer = self.check_ins.redecide_today(transaction, athlete, submission)
            return answer is not None

        return self.store.write(decide)


DIFFERENCES_SHOWN = 100
"""Mornings that a comparison lists; its counts cover all."""


@dataclass(frozen=True, slots=True)
class Published:
    """A published rule set, with warnings; ``is_new`` is False when it was published before."""

    rule_set: RuleSet
    findings: list[ReportedFinding]
    is_new: bool

    @property
    def name(self) -> str:
        """The name of the rule set."""
        return self.rule_set.name

    @property
    def version(self) -> str:
        """The version of the rule set."""
        return self.rule_set.version

    @property
    def digest(self) -> str:
        """The digest of the rule set."""
        return self.rule_set.digest


@dataclass(frozen=True, slots=True)
class Compared:
    """A candidate compared with the advice that holds, and the newest differences."""

    candidate: Candidate
    rule_set: RuleSet
    counts: list[ShadowCount]
    differences: list[ShadowDifference]

    @property
    def mornings(self) -> int:
        """The number of mornings compared."""
        return sum(one.count for one in self.counts)


@dataclass(frozen=True, slots=True)
class Publisher:
    """A publisher of rule sets in one store. ``library`` has them; ``clock`` gives aware times."""

    store: Store
    library: RuleSetLibrary
    clock: Callable[[], datetime]

    def publish(self, text: str, file: str, by: str | None) -> Published:
        """Check a rule set in a sandbox, and publish it; findings name ``file``.

        Raises ``RuleSetInvalid`` with every finding, and ``Conflict`` for a name and version that
        another rule set has.
        """
        tried = check_in_sandbox(
            text, file, self.store.read(lambda transaction: transaction.rule_sets.texts())
        )
        warnings = [ReportedFinding.of(finding) for finding in tried.warnings]
        stored = json.dumps([to_json(warning) for warning in warnings])
        is_new = self._keep(tried, text, stored, by)
        return Published(self.library.by_digest(tried.digest), warnings, is_new)

    def findings(self, rule_set: RuleSet) -> list[ReportedFinding]:
        """Read the findings of a published rule set's check; none for a bundled one."""
        found = self.store.read(
            lambda transaction: transaction.rule_sets.findings_on(rule_set.digest)
        )
        return from_json_text(list[ReportedFinding], found or "[]")

    def difference(self, before: RuleSet, after: RuleSet) -> Difference:
        """Compare two rule sets in a sandbox."""
        texts = self.store.read(lambda transaction: transaction.rule_sets.texts())
        return diff_in_sandbox((before.name, before.version), (after.name, after.version), texts)

    def activate(
        self,
        rule_set: RuleSet | None,
        from_date: date | None,
        athlete_ids: Sequence[str] | None,
        by: str | None,
    ) -> None:
        """Let a rule set decide from a date on (None: at once, for every date), for athletes or for
        all (None). Pass None as the rule set to return athletes to the one for all.

        Raises ``NotFound`` for an unknown athlete, ``RuleSetInvalid`` or ``EngineFailure`` for a
        rule set that cannot be compiled or lets somebody with a warning sign train.
        """
        if rule_set is not None:
            self.library.require_safe(rule_set)
        digest = rule_set.digest if rule_set else None
        about = _named(rule_set) | ({"from": from_date.isoformat()} if from_date else {})

        def add(transaction: Transaction) -> None:
            for athlete_id in _known(transaction, athlete_ids):
                at = self.clock()
                transaction.activations.add(digest, from_date, athlete_id, at, by)
                act = "rule-set-assigned" if athlete_id else "rule-set-activated"
                _note(transaction, act, by, at, about | _of_athlete(athlete_id))

        self.store.write(add)

    def roll_back(self, athlete_ids: Sequence[str] | None, by: str | None) -> None:
        """Roll back the newest activation for athletes, or for all (None), whether its date has
        come or not; the one before it holds again. All are rolled back, or none.

        Raises ``NotFound`` for an unknown athlete, ``Conflict`` when there is nothing to roll back.
        """

        def take_back(transaction: Transaction) -> None:
            for athlete_id in _known(transaction, athlete_ids):
                at = self.clock()
                number = transaction.activations.take_back(athlete_id, at, by)
                if number is None:
                    whom = f"the athlete {athlete_id}" if athlete_id else "all"
                    raise Conflict(f"There is no activation for {whom} that could be taken back.")
                about = {"activation": str(number)} | _of_athlete(athlete_id)
                _note(transaction, "rule-set-rolled-back", by, at, about)

        self.store.write(take_back)

    def activations(self) -> list[Activation]:
        """List every activation, newest first."""
        return self.store.read(lambda transaction: transaction.activations.all())

    def run_in_shadow(self, rule_set: RuleSet | None, by: str | None) -> None:
        """Let a rule set decide every morning beside the active one; None ends the run."""
        if rule_set is not None:
            self.library.decider(rule_set)
        digest = rule_set.digest if rule_set else None

        def run(transaction: Transaction) -> None:
            at = self.clock()
            transaction.shadow.set(digest, at, by)
            act = "shadow-started" if rule_set else "shadow-ended"
            _note(transaction, act, by, at, _named(rule_set))

        self.store.write(run)

    def compared(self) -> Compared:
        """Compare the shadow candidate so far. Raises ``NotFound`` if none runs."""

        def compare(transaction: Transaction) -> Compared:
            candidate = transaction.shadow.candidate()
            if candidate is None:
                raise NotFound("No rule set runs in the shadow.")
            return Compared(
                candidate,
                self.library.by_digest(candidate.digest),
                transaction.shadow.counts(candidate.digest),
                transaction.shadow.differences(candidate.digest, DIFFERENCES_SHOWN),
            )

        return self.store.read(compare)

    def _keep(self, tried: SandboxResult, text: str, findings: str, by: str | None) -> bool:
        """Store a rule set; return False if it is stored already. Raises ``Conflict``."""

        def add(transaction: Transaction) -> bool:
            before = self._digest_named(transaction, tried.name, tried.version)
            if before not in (None, tried.digest):
                raise Conflict(
                    f"{tried.name}@{tried.version} is published with other rules, and stays as it "
                    "is; give the changed one another version."
                )
            if before is None:
                names, at = (tried.name, tried.version, tried.digest, tried.summary), self.clock()
                transaction.rule_sets.add(StoredRuleSet(*names, at, by), text, findings)
                about = {"rule_set": f"{tried.name}@{tried.version}", "digest": tried.digest}
                _note(transaction, "rule-set-published", by, at, about)
            return before is None

        return self.store.write(add)

    def _digest_named(self, transaction: Transaction, name: str, version: str) -> str | None:
        for rule_set in self.library.all():
            if (rule_set.name, rule_set.version) == (name, version):
                return rule_set.digest
        stored = transaction.rule_sets.get(name, version)
        return stored.digest if stored else None


def _note(
    transaction: Transaction, act: str, by: str | None, at: datetime, about: Mapping[str, str]
) -> None:
    record_act(transaction, act, by=by or COMMAND_LINE, at=at, about=about)


def _named(rule_set: RuleSet | None) -> dict[str, str]:
    """Describe a rule set for an act; empty for a return to the one for all."""
    return {"rule_set": rule_set.full_name, "digest": rule_set.digest} if rule_set else {}


def _of_athlete(athlete_id: str | None) -> dict[str, str]:
    return {"athlete_id": athlete_id} if athlete_id else {}


def _known(transaction: Transaction, athlete_ids: Sequence[str] | None) -> Sequence[str | None]:
    """Find athletes by id, or all as None. Raises ``NotFound``."""
    if athlete_ids is None:
        return (None,)
    return [require_athlete(transaction, athlete_id).id for athlete_id in athlete_ids]
