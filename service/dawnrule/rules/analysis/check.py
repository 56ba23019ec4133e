"""The check of a rule set: examples, boundaries, leftover texts, safety and proofs."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import closing

from dawnrule.errors import Finding, RuleSetInvalid
from dawnrule.model import FactDictionary
from dawnrule.rules.analysis.boundary_coverage import boundary_findings
from dawnrule.rules.analysis.safety import safety_findings
from dawnrule.rules.conditions import tests_of
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.rule_set import Example, Rule, RuleSet
from dawnrule.rules.serialization import in_flow

_SAFETY_CODES = frozenset({"weaker-stop", "not-proved"})
"""Findings that already report a warning sign without rest, or one that may be."""


def check_rule_set(rule_set: RuleSet, dictionary: FactDictionary) -> list[Finding]:
    """List everything that can be found wrong with a loaded rule set, by file line: a rule that the
    engine cannot take, an example that both evaluations contradict, a boundary without an example,
    a text that still states a changed value, a warning sign that does not always mean rest, and
    what the solver proves.

    Raises ``EngineDisagreement`` or ``EngineFailure``.
    """
    # The solver is large, and only checking needs it.
    from dawnrule.rules.analysis.permissiveness import permissiveness_findings
    from dawnrule.rules.analysis.proofs import proof_findings

    found = [
        *_example_findings(rule_set, dictionary),
        *_old_value_findings(rule_set),
        *boundary_findings(rule_set, dictionary),
        *proof_findings(rule_set, dictionary),
        *permissiveness_findings(rule_set, dictionary),
    ]
    if not any(finding.code in _SAFETY_CODES for finding in found):
        found += safety_findings(rule_set, dictionary)
    return sorted(found, key=lambda finding: finding.line)


def _example_findings(rule_set: RuleSet, dictionary: FactDictionary) -> list[Finding]:
    try:
        decider = Decider(rule_set, dictionary)
    except RuleSetInvalid as invalid:
        return list(invalid.findings)
    with closing(decider):
        return [
            _example_finding(rule_set.file, rule, example)
            for rule, example in _examples(rule_set)
            if (rule in decider.fired(rule.scope, example.facts)) is not example.fires
        ]


def _examples(rule_set: RuleSet) -> Iterator[tuple[Rule, Example]]:
    for rule in rule_set.rules:
        for example in rule.examples:
            yield rule, example


def _example_finding(file: str, rule: Rule, example: Example) -> Finding:
    expected, actual = ("fires", "does not") if example.fires else ("does not fire", "does")
    facts = in_flow(example.facts)
    message = f"the example says that the rule {expected} on {facts}, but it {actual}"
    return Finding(file, example.line, rule.id, "example", message, (example.facts,))


def _old_value_findings(rule_set: RuleSet) -> Iterator[Finding]:
    """Yield thresholds that an extension changed while a text of the rule still states the old
    number."""
    rules = {rule.id: rule for rule in rule_set.rules}
    for change in rule_set.extension.changed if rule_set.extension else ():
        rule = rules[change.rule]
        texts = f"{rule.title} {rule.reason} {rule.caution}"
        tested = {in_flow(test.value) for test in tests_of(rule.when)}
        old = in_flow(change.before)
        if old not in tested and re.search(rf"(?<![\w.]){re.escape(old)}(?!\.?\w)", texts):
            message = f"its texts still say {old}, which is now {in_flow(change.after)}"
            yield Finding(rule_set.file, change.line, rule.id, "old-value", message)
