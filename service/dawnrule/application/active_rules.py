"""Which rule set decides for an athlete on a date, and what would the candidate have said?

Both are looked up in the transaction of the check-in itself, so that every process of the service
goes over to another rule set with the same check-in.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import date

from dawnrule.errors import DawnruleError
from dawnrule.facts.derive import MorningFacts
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Store, Transaction

_log = logging.getLogger("dawnrule.advice")


@dataclass(frozen=True, slots=True)
class StoredTexts:
    """The published rule sets of a store, for a library to read."""

    store: Store

    def digest_named(self, name: str, version: str) -> str | None:
        """The digest of a rule set; None if there is none of this name and version."""
        found = self.store.read(lambda transaction: transaction.rule_sets.get(name, version))
        return found.digest if found else None

    def text_of(self, digest: str) -> str | None:
        """The text of the rule set that had a digest when it was published; None if none had."""
        return self.store.read(lambda transaction: transaction.rule_sets.text_of(digest))

    def full_names(self) -> list[str]:
        """What was published, as name@version, in the order in which it came."""
        return self.store.read(
            lambda transaction: [f"{one.name}@{one.version}" for one in transaction.rule_sets.all()]
        )


def active_rule_set(
    transaction: Transaction,
    library: RuleSetLibrary,
    otherwise: RuleSet,
    athlete_id: str | None,
    on: date,
) -> RuleSet:
    """The rule set that decides for an athlete, or for all who have none of their own (None), on a
    date; ``otherwise`` where none was activated.

    One that cannot be used any more, or by which somebody with a warning sign would train, is
    passed over, and the one before it goes on.
    """
    deciding = map(library.deciding, transaction.activations.holding(athlete_id, on))
    return next((rule_set for rule_set in deciding if rule_set), otherwise)


def keep_shadow(
    transaction: Transaction, library: RuleSetLibrary, advice_id: str, facts: MorningFacts
) -> None:
    """Keep beside an advice what the candidate in the shadow says on the same facts, if one runs
    there; that it failed is kept too, and hinders nobody."""
    candidate = transaction.shadow.candidate()
    if candidate is None:
        return
    verdict, rule_id = _said(library, candidate.digest, facts)
    transaction.shadow.add(advice_id, candidate.digest, verdict, rule_id)


def _said(
    library: RuleSetLibrary, digest: str, facts: MorningFacts
) -> tuple[str | None, str | None]:
    rule_set = library.usable(digest)
    if rule_set is None:
        return None, None
    try:
        decider = library.decider(rule_set)
        decision = decider.decide(facts.day, [part.facts for part in facts.parts])
    except DawnruleError:
        _log.exception("the candidate %s failed in the shadow", digest)
        return None, None
    return decision.verdict.value, decision.deciding.id if decision.deciding else None
