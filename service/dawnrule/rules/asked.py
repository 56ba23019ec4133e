"""Which questions are asked of some rule sets only? (pure; without the solver that answers them)"""

from __future__ import annotations

from dawnrule.model import FactDictionary
from dawnrule.rules.rule_set import RuleSet


def asked_of(rule_set: RuleSet, dictionary: FactDictionary) -> frozenset[str]:
    """What is asked of a rule set here, by the codes of the findings."""
    asked = set()
    if any(rule.limits for rule in rule_set.rules):
        asked |= {"limit-loosened", "limit-not-kept"}
    if concerns_read(rule_set, dictionary):
        asked.add("concern-loosens")
    if rule_set.more_permissive:
        asked.add("more-permissive")
    return frozenset(asked)


def concerns_read(rule_set: RuleSet, dictionary: FactDictionary) -> frozenset[str]:
    """The facts of open concerns that a rule set reads."""
    read = {fact for rule in rule_set.rules for fact in rule.reads}
    return frozenset(
        fact
        for fact in read
        if dictionary[fact].remembered or dictionary[fact].origin == "concerns"
    )
