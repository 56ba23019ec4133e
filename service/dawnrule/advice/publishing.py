"""How does a rule set come to hold: published, activated, taken back, or tried in the shadow?"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from dawnrule.advice.acts import COMMAND_LINE, note_act
from dawnrule.advice.morning import known_athlete
from dawnrule.errors import Conflict, NotFound
from dawnrule.rules.findings import to_plain
from dawnrule.rules.library import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.trial import Tried, tell_apart, try_out
from dawnrule.store import Activation, Books, Candidate, ShadowDifference, Store, StoredRuleSet

DIFFERENCES_SHOWN = 100
"""How many mornings a comparison lists; its counts are of all."""


@dataclass(frozen=True, slots=True)
class Published:
    """A rule set that is published, with warnings as plain values; ``is_new`` is False when it was
    so before."""

    rule_set: RuleSet
    findings: list[dict[str, Any]]
    is_new: bool


@dataclass(frozen=True, slots=True)
class Compared:
    """What a candidate said beside the advice that holds: the verdict given, its own (None: it
    failed), on how many mornings; and the newest of those that differ."""

    candidate: Candidate
    rule_set: RuleSet
    counts: list[tuple[str, str | None, int]]
    differences: list[ShadowDifference]


@dataclass(frozen=True, slots=True)
class Publisher:
    """Publishes the rule sets of one store. ``library`` has them; ``clock`` gives aware times."""

    store: Store
    library: RuleSetLibrary
    clock: Callable[[], datetime]

    def publish(self, text: str, file: str, by: str | None) -> Published:
        """Try a rule set apart, and publish it; ``file`` is what findings call it.

        Raises ``RuleSetInvalid`` with every finding, and ``Conflict`` for a name and version that
        another rule set has.
        """
        tried = try_out(text, file, self.store.read(lambda books: books.rule_sets.texts()))
        warnings = [to_plain(finding) for finding in tried.warnings]
        is_new = self._keep(tried, text, json.dumps(warnings), by)
        return Published(self.library.by_digest(tried.digest), warnings, is_new)

    def findings(self, rule_set: RuleSet) -> list[dict[str, Any]]:
        """What the check of a published rule set found, as plain values. One that ships was
        checked before it was shipped."""
        found = self.store.read(lambda books: books.rule_sets.findings_on(rule_set.digest))
        plain: list[dict[str, Any]] = json.loads(found or "[]")
        return plain

    def difference(self, before: RuleSet, after: RuleSet) -> dict[str, Any]:
        """How one rule set differs from another, as plain values; told by a process of its own."""
        texts = self.store.read(lambda books: books.rule_sets.texts())
        return tell_apart((before.name, before.version), (after.name, after.version), texts)

    def activate(
        self,
        rule_set: RuleSet | None,
        from_date: date | None,
        athlete_ids: Sequence[str] | None,
        by: str | None,
    ) -> None:
        """Let a rule set decide from a date on (None: at once, for every date), for athletes or for
        all (None). No rule set lets athletes go with all again.

        Raises ``NotFound`` for an athlete who is not known, ``RuleSetInvalid`` or
        ``EngineFailure`` for a rule set that cannot be compiled or does not heed a warning sign.
        """
        if rule_set is not None:
            self.library.admit(rule_set)
        digest = rule_set.digest if rule_set else None
        about = _named(rule_set) | ({"from": from_date.isoformat()} if from_date else {})

        def add(books: Books) -> None:
            for athlete_id in _known(books, athlete_ids):
                at = self.clock()
                books.activations.add(digest, from_date, athlete_id, at, by)
                act = "rule-set-assigned" if athlete_id else "rule-set-activated"
                _note(books, act, by, at, about | _of_athlete(athlete_id))

        self.store.write(add)

    def roll_back(self, athlete_ids: Sequence[str] | None, by: str | None) -> None:
        """Take back the newest activation for athletes, or that for all (None), whether its date
        has come or not; what was before it holds again. All or none are taken back.

        Raises ``NotFound`` for an athlete who is not known, ``Conflict`` when there is nothing to
        take back.
        """

        def take_back(books: Books) -> None:
            for athlete_id in _known(books, athlete_ids):
                at = self.clock()
                number = books.activations.take_back(athlete_id, at, by)
                if number is None:
                    whom = f"the athlete {athlete_id}" if athlete_id else "all"
                    raise Conflict(f"There is no activation for {whom} that could be taken back.")
                about = {"activation": str(number)} | _of_athlete(athlete_id)
                _note(books, "rule-set-rolled-back", by, at, about)

        self.store.write(take_back)

    def activations(self) -> list[Activation]:
        """Every activation, the newest first."""
        return self.store.read(lambda books: books.activations.all())

    def run_in_shadow(self, rule_set: RuleSet | None, by: str | None) -> None:
        """Let a rule set decide every morning beside the one that holds; None ends it."""
        if rule_set is not None:
            self.library.decider(rule_set)
        digest = rule_set.digest if rule_set else None

        def run(books: Books) -> None:
            at = self.clock()
            books.shadow.set(digest, at, by)
            act = "shadow-started" if rule_set else "shadow-ended"
            _note(books, act, by, at, _named(rule_set))

        self.store.write(run)

    def compared(self) -> Compared:
        """What the candidate in the shadow said so far. Raises ``NotFound`` if there is none."""

        def compare(books: Books) -> Compared:
            candidate = books.shadow.candidate()
            if candidate is None:
                raise NotFound("No rule set runs in the shadow.")
            return Compared(
                candidate,
                self.library.by_digest(candidate.digest),
                books.shadow.counts(candidate.digest),
                books.shadow.differences(candidate.digest, DIFFERENCES_SHOWN),
            )

        return self.store.read(compare)

    def _keep(self, tried: Tried, text: str, findings: str, by: str | None) -> bool:
        """Store a rule set; False if it is there. Raises ``Conflict``."""

        def add(books: Books) -> bool:
            before = self._digest_named(books, tried.name, tried.version)
            if before not in (None, tried.digest):
                raise Conflict(
                    f"{tried.name}@{tried.version} is published with other rules, and stays as it "
                    "is; give the changed one another version."
                )
            if before is None:
                names, at = (tried.name, tried.version, tried.digest, tried.summary), self.clock()
                books.rule_sets.add(StoredRuleSet(*names, at, by), text, findings)
                about = {"rule_set": f"{tried.name}@{tried.version}", "digest": tried.digest}
                _note(books, "rule-set-published", by, at, about)
            return before is None

        return self.store.write(add)

    def _digest_named(self, books: Books, name: str, version: str) -> str | None:
        for rule_set in self.library.all():
            if (rule_set.name, rule_set.version) == (name, version):
                return rule_set.digest
        stored = books.rule_sets.get(name, version)
        return stored.digest if stored else None


def _note(books: Books, act: str, by: str | None, at: datetime, about: Mapping[str, str]) -> None:
    note_act(books, act, by=by or COMMAND_LINE, at=at, about=about)


def _named(rule_set: RuleSet | None) -> dict[str, str]:
    """What an act says of a rule set; nothing where all go with the one for all again."""
    return {"rule_set": rule_set.full_name, "digest": rule_set.digest} if rule_set else {}


def _of_athlete(athlete_id: str | None) -> dict[str, str]:
    return {"athlete_id": athlete_id} if athlete_id else {}


def _known(books: Books, athlete_ids: Sequence[str] | None) -> Sequence[str | None]:
    """The athletes of ids, or all as None. Raises ``NotFound``."""
    if athlete_ids is None:
        return (None,)
    return [known_athlete(books, athlete_id).id for athlete_id in athlete_ids]
