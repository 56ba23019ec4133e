"""Do the rules that ship say what they must, in words and by their own examples?"""

from __future__ import annotations

import pytest

from dawnrule.model import Verdict
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.loading.reason_template import placeholders
from dawnrule.rules.registry import shipped_rule_set_files
from dawnrule.rules.rule_set import Rule

RULES = [rule for file in shipped_rule_set_files() for rule in load_rule_set(file).rules]
WARNING_RULES = [rule for rule in RULES if rule.id.startswith("warning-")]


def name_of(rule: Rule) -> str:
    return rule.id


@pytest.mark.parametrize("rule", RULES, ids=name_of)
def test_each_example_of_a_rule_comes_out_as_it_says(rule: Rule) -> None:
    holds = predicate(rule.when)
    wrong = [example for example in rule.examples if holds(example.facts) is not example.fires]
    assert wrong == []


@pytest.mark.parametrize("rule", WARNING_RULES, ids=name_of)
def test_a_warning_rule_rests_and_sends_to_medical_care(rule: Rule) -> None:
    """The tone of public-health guidance: stop, get care now, be cleared first (common practice,
    no source)."""
    assert rule.verdict is Verdict.REST
    for words in ("medical care now", "emergency number", "until a clinician has cleared you"):
        assert words in " ".join(rule.caution.split())


@pytest.mark.parametrize("rule", RULES, ids=name_of)
def test_no_rule_reassures_or_diagnoses_or_speaks_of_overtraining(rule: Rule) -> None:
    """One morning shows none of these (Meeusen 2013, Med Sci Sports Exerc 45(1):186-205: no
    marker alone tells overtraining)."""
    said = f"{rule.title} {rule.reason} {rule.caution}".lower()
    for word in ("overtrain", "harmless", "nothing serious", "you have a ", "probably"):
        assert word not in said


@pytest.mark.parametrize("rule", RULES, ids=name_of)
def test_a_rule_without_a_source_claims_none(rule: Rule) -> None:
    """Cut-offs are policy: a house rule says so in its source."""
    if rule.basis.kind == "house":
        assert rule.basis.source.startswith("house judgement")
    if rule.basis.kind == "common-practice":
        assert rule.basis.source == "common practice, no source"


@pytest.mark.parametrize("rule", [rule for rule in RULES if not rule.is_note], ids=name_of)
def test_the_reason_of_a_protective_rule_tells_what_was_reported(rule: Rule) -> None:
    """A reason either carries the morning's numbers or says that something was reported."""
    assert list(placeholders(rule.reason)) or "was reported" in rule.reason
