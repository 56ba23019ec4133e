"""Bundled rules: their own examples, and what their texts must and must not say."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from dawnrule.model import Verdict
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.loading.reason_template import placeholders
from dawnrule.rules.registry import bundled_rule_set_files
from dawnrule.rules.rule_set import Rule

MEDICAL_CARE = ("medical care now", "emergency number", "until a clinician has cleared you")
REASSURING = ("overtrain", "harmless", "nothing serious", "you have a ", "probably")


def name_of(file: Path) -> str:
    return f"{file.parent.name}-{file.stem}"


@pytest.fixture(params=bundled_rule_set_files(), ids=name_of)
def rules(request: pytest.FixtureRequest) -> Sequence[Rule]:
    return load_rule_set(request.param).rules


def test_each_example_of_a_rule_comes_out_as_it_says(
    rules: Sequence[Rule], subtests: pytest.Subtests
) -> None:
    for rule in rules:
        with subtests.test(rule.id):
            holds = predicate(rule.when)
            wrong = [each for each in rule.examples if holds(each.facts) is not each.fires]
            assert wrong == []


def test_a_warning_rule_rests_and_sends_to_medical_care(
    rules: Sequence[Rule], subtests: pytest.Subtests
) -> None:
    """The tone of public-health guidance: stop, get care now, be cleared first (common practice,
    no source)."""
    warnings = [rule for rule in rules if rule.id.startswith("warning-")]
    assert warnings or all(rule.verdict is None for rule in rules)
    for rule in warnings:
        with subtests.test(rule.id):
            assert rule.verdict is Verdict.REST
            caution = " ".join(rule.caution.split())
            assert [words for words in MEDICAL_CARE if words not in caution] == []


def test_no_rule_reassures_or_diagnoses_or_speaks_of_overtraining(
    rules: Sequence[Rule], subtests: pytest.Subtests
) -> None:
    """One morning shows none of these (Meeusen 2013, Med Sci Sports Exerc 45(1):186-205: no
    marker alone tells overtraining)."""
    for rule in rules:
        with subtests.test(rule.id):
            said = f"{rule.title} {rule.reason} {rule.caution}".lower()
            assert [words for words in REASSURING if words in said] == []


def test_a_rule_without_a_source_claims_none(
    rules: Sequence[Rule], subtests: pytest.Subtests
) -> None:
    """Cut-offs are policy: a house rule says so in its source."""
    for rule in rules:
        with subtests.test(rule.id):
            if rule.basis.kind == "house":
                assert rule.basis.source.startswith("house judgement")
            if rule.basis.kind == "common-practice":
                assert rule.basis.source == "common practice, no source"


def test_the_reason_of_a_protective_rule_tells_what_was_reported(
    rules: Sequence[Rule], subtests: pytest.Subtests
) -> None:
    """A reason either carries the morning's numbers or says that something was reported."""
    for rule in (rule for rule in rules if not rule.is_note):
        with subtests.test(rule.id):
            assert list(placeholders(rule.reason)) or "was reported" in rule.reason
