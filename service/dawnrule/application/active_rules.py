"""The active rule set of an athlete and date, and the candidate that runs in the shadow.

Both are read in the transaction of the check-in itself, so that every process of the service
changes to another rule set with the same check-in.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import date

from dawnrule.errors import DawnruleError
from dawnrule.facts.derive import MorningFacts
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Readable, Transaction

_log = logging.getLogger("dawnrule.advice")


@dataclass(frozen=True, slots=True)
class StoredTexts:
    """The published rule sets of a store, as a source for a library."""

    store: Readable

    def digest_named(self, name: str, version: str) -> str | None:
        """Find the digest of a rule set by name and version; None if there is none."""
        found = self.store.read(lambda transaction: transaction.rule_sets.get(name, version))
        return found.digest if found else None

    def text_of(self, digest: str) -> str | None:
        """Find the text that was published under a digest; None if there is none."""
        return self.store.read(lambda transaction: transaction.rule_sets.text_of(digest))

    def full_names(self) -> list[str]:
        """List the published rule sets as name@version, in order of publication."""
        return self.store.read(
            lambda transaction: [f"{one.name}@{one.version}" for one in transaction.rule_sets.all()]
        )


def active_rule_set(
    transaction: Transaction,
    library: RuleSetLibrary,
    default: RuleSet,
    athlete_id: str | None,
    on: date,
) -> RuleSet:
    """Find the rule set that decides on a date for an athlete, or for all who have none of their
    own (None); ``default`` where none was activated.

    A rule set that can no longer be used, or that would let somebody with a warning sign train, is
    skipped in favour of the one before it.
    """
    deciding = map(library.deciding, transaction.activations.holding(athlete_id, on))
    return next((rule_set for rule_set in deciding if rule_set), default)


def keep_shadow(
    transaction: Transaction, library: RuleSetLibrary, advice_id: str, facts: MorningFacts
) -> None:
    """Store the shadow candidate's verdict on the same facts beside an advice, if a candidate runs;
    a failure is stored too, and does no harm."""
    candidate = transaction.shadow.candidate()
    if candidate is None:
        return
    verdict, rule_id = _candidate_verdict(library, candidate.digest, facts)
    transaction.shadow.add(advice_id, candidate.digest, verdict, rule_id)


def _candidate_verdict(
    library: RuleSetLibrary, digest: str, facts: MorningFacts
) -> tuple[str | None, str | None]:
    rule_set = library.usable(digest)
    if rule_set is None:
        return None, None
    try:
        decider = library.decider(rule_set)
        parts = [part.facts for part in facts.parts]
        decision = decider.decide(facts.day, parts, facts.blocks)
    except DawnruleError:
        _log.exception("the candidate %s failed in the shadow", digest)
        return None, None
    return decision.verdict.value, decision.deciding.id if decision.deciding else None
