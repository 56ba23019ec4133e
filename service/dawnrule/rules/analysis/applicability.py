"""Applicability: the proofs that are asked of some rule sets only (pure, without the solver)."""

from __future__ import annotations

from dawnrule.model import FactDictionary
from dawnrule.rules.rule_set import RuleSet


def applicable_codes(rule_set: RuleSet, dictionary: FactDictionary) -> frozenset[str]:
    """List the codes of the conditional findings that a rule set is checked for."""
    codes = set()
    if any(rule.limits for rule in rule_set.rules):
        codes |= {"limit-loosened", "limit-not-kept"}
    if concern_facts(rule_set, dictionary):
        codes.add("concern-loosens")
    if rule_set.more_permissive:
        codes.add("more-permissive")
    return frozenset(codes)


def concern_facts(rule_set: RuleSet, dictionary: FactDictionary) -> frozenset[str]:
    """List the facts of open concerns that a rule set reads."""
    read = {fact for rule in rule_set.rules for fact in rule.reads}
    return frozenset(
        fact
        for fact in read
        if dictionary[fact].remembered or dictionary[fact].origin == "concerns"
    )
