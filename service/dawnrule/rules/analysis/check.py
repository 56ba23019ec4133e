"""Is a rule set sound: does it do what its examples say, and what rules must?"""

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

_SAID_ALREADY = frozenset({"weaker-stop", "not-proved"})
"""What says of a warning sign already that it is not heeded, or may not be."""


def check_rule_set(rule_set: RuleSet, dictionary: FactDictionary) -> list[Finding]:
    """Everything that can be found wrong with a rule set that was read, by file line: a rule that
    the engine cannot take, an example that does not come out, by both evaluations, as it says, an
    edge that no example shows, a text that an extension left behind, a warning sign that is not
    heeded, and what the solver proves.

    Raises ``EngineDisagreement`` or ``EngineFailure``.
    """
    # The solver is large, and only who checks rules needs it.
    from dawnrule.rules.analysis.proofs import proof_findings
    from dawnrule.rules.careful import careful_findings

    found = [
        *_example_findings(rule_set, dictionary),
        *_old_value_findings(rule_set),
        *boundary_findings(rule_set, dictionary),
        *proof_findings(rule_set, dictionary),
        *careful_findings(rule_set, dictionary),
    ]
    if not any(finding.code in _SAID_ALREADY for finding in found):
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
    said, does = ("fires", "does not") if example.fires else ("does not fire", "does")
    shown = in_flow(example.facts)
    message = f"the example says that the rule {said} on {shown}, but it {does}"
    return Finding(file, example.line, rule.id, "example", message, (example.facts,))


def _old_value_findings(rule_set: RuleSet) -> Iterator[Finding]:
    """Thresholds that an extension changed and whose old number a text of the rule still tells."""
    rules = {rule.id: rule for rule in rule_set.rules}
    for change in rule_set.extension.changed if rule_set.extension else ():
        rule = rules[change.rule]
        told = f"{rule.title} {rule.reason} {rule.caution}"
        tested = {in_flow(test.value) for test in tests_of(rule.when)}
        old = in_flow(change.before)
        if old not in tested and re.search(rf"(?<![\w.]){re.escape(old)}(?!\.?\w)", told):
            message = f"its texts still say {old}, which is now {in_flow(change.after)}"
            yield Finding(rule_set.file, change.line, rule.id, "old-value", message)
