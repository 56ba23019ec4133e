"""Safety: a rule set that lets an athlete with a warning sign train never decides."""

from __future__ import annotations

from dataclasses import fields

import pytest

from dawnrule.errors import Finding, RuleSetInvalid
from dawnrule.model import FactDictionary, Verdict
from dawnrule.rules.analysis import solver
from dawnrule.rules.analysis.check import check_rule_set
from dawnrule.rules.analysis.findings import Severity, errors_among, proved, severity_of
from dawnrule.rules.analysis.safety import safety_findings
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.limits import Limits
from dawnrule.rules.loading.loader import parse_rule_set
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from tests.factories import ALONE, CLUB
from tests.rules.test_findings import HEAD, rule

DICTIONARY = FactDictionary.bundled()
SHIPPED = RuleSetLibrary.bundled()
STOPS = [
    (name, value)
    for name, fact in DICTIONARY.items()
    if not fact.remembered
    for value in fact.rests
]
REMEMBERED = [
    (name, value)
    for name, fact in DICTIONARY.items()
    if fact.remembered
    for value in (*fact.rests, *fact.holds_back)
]


def heeds(name: str, value: object, *, when: str | None = None, verdict: str = "rest") -> str:
    """Write a rule on one warning sign, or on another condition with the sign in its examples."""
    shown = str(value).lower()
    test = f"{{fact: {name}, is: {shown}}}"
    return rule(
        f"{name}-{shown}".replace("_", "-"),
        test if when is None else when.replace("SIGN", test),
        f"{name}: {shown}",
        "",
        verdict,
        DICTIONARY[name].scope,
    )


ALL_HEEDED = "".join(heeds(*stop) for stop in STOPS)


def found(rules: str) -> list[Finding]:
    return list(safety_findings(parse_rule_set(HEAD + rules, "tried.yaml"), DICTIONARY))


def test_what_nobody_trains_with_is_what_is_never_weakened() -> None:
    """Warning signs, fever and illness below the neck, and joint, sharp or one-sided pain. What was
    left open is never weakened either, but rule sets that know nothing of it may still decide."""
    assert all(DICTIONARY[name].stop for name, _ in STOPS)
    left_open = {name for name in DICTIONARY if "left_open" in name}
    assert {name for name, fact in DICTIONARY.items() if fact.stop and not fact.rests} == {
        "pain_reported",
        "other_pain",
        *left_open,
        "worst_soreness",
        "very_sore_mornings",
        "soreness_rising_late",
        *(limit.name for limit in fields(Limits)),
        "open_warning_sign_days",
        "open_illness_because",
        "open_pain_days",
        "pain_mornings",
        "return_after",
        "return_stage",
        "return_left",
        "illness_days",
        "beyond_restriction",
        "beyond_return_stage",
    }
    assert DICTIONARY["illness"].rests == ("below-neck", "fever")
    assert len(STOPS) == 13


@pytest.mark.parametrize("rule_set", SHIPPED.all(), ids=lambda one: one.full_name)
def test_the_shipped_rule_sets_rest_everybody_with_a_warning_sign(rule_set: RuleSet) -> None:
    SHIPPED.require_safe(rule_set)
    assert list(safety_findings(rule_set, DICTIONARY)) == []


def test_a_set_of_ones_own_that_heeds_every_sign_may_decide() -> None:
    assert found(ALL_HEEDED) == []


def test_who_knows_of_concerns_must_heed_them_all() -> None:
    """A set that reads none of these was written before there were concerns, and may decide."""
    one = heeds("open_warning_sign", "chest-pain")
    [finding] = found(ALL_HEEDED + one)
    assert finding.code == "warning-sign-not-heeded"
    assert "illness, not over yet fever" in finding.message
    assert "more than the stage of a return allows pain" in finding.message
    assert found(ALL_HEEDED + "".join(heeds(*stop) for stop in REMEMBERED)) == []


def test_to_hold_back_is_enough_where_nobody_has_to_rest() -> None:
    back = ("beyond_return_stage", "pain")
    others = "".join(heeds(*stop) for stop in REMEMBERED if stop != back)
    assert found(ALL_HEEDED + others + heeds(*back, verdict="swap-to-low-damage")) == []
    assert found(ALL_HEEDED + others + heeds(*back, verdict="note")) != []


@pytest.mark.parametrize(("name", "value"), STOPS)
def test_each_sign_that_is_left_out_is_found_with_a_morning(name: str, value: object) -> None:
    [finding] = found(ALL_HEEDED.replace(heeds(name, value), ""))
    assert finding.code == "warning-sign-not-heeded"
    assert finding.inputs == ({name: value},)
    assert "gives train-as-planned" in finding.message


@pytest.mark.parametrize(
    ("faulty", "morning"),
    [
        (heeds("fainting", True, verdict="swap-to-low-damage"), {"fainting": True}),
        (heeds("fainting", True).replace("scope: day", "scope: part"), {"fainting": True}),
        (
            heeds("fainting", True, when="{all: [SIGN, {fact: fatigue, at_least: 1}]}"),
            {"fainting": True},
        ),
        (
            heeds("fainting", True, when="{all: [SIGN, {none: [{fact: stress, is: 0}]}]}"),
            {"fainting": True, "stress": 0},
        ),
    ],
)
def test_a_sign_that_is_not_always_rest_for_the_day_is_not_heeded(
    faulty: str, morning: dict[str, object]
) -> None:
    """A part rule does not rest a day off, and more fatigue must not be needed."""
    [finding] = found(ALL_HEEDED.replace(heeds("fainting", True), faulty))
    assert finding.inputs == (morning,)


def test_several_rules_may_heed_a_sign_together() -> None:
    tired = heeds("fainting", True, when="{all: [SIGN, {fact: fatigue, at_least: 5}]}")
    rested = heeds("fainting", True, when="{all: [SIGN, {none: [{fact: fatigue, at_least: 5}]}]}")
    together = tired + rested.replace("id: fainting-true", "id: fainting-rested")
    assert found(ALL_HEEDED.replace(heeds("fainting", True), together)) == []


@pytest.mark.parametrize(
    "when",
    [
        "{any: [SIGN, {fact: fatigue, at_least: 5}]}",
        "{at_least_n_of: {n: 1, of: [{fact: fatigue, at_least: 5}, SIGN]}}",
        "{all: [SIGN, {none: [{fact: fainting, is: false}]}]}",
        "{fact: fainting, reported: true}",
    ],
)
def test_a_sign_may_be_heeded_in_any_form(when: str) -> None:
    other = heeds("fainting", True, when=when)
    assert found(ALL_HEEDED.replace(heeds("fainting", True), other)) == []


def test_the_check_of_a_file_warns_and_what_is_to_decide_is_refused() -> None:
    rule_set = parse_rule_set(ALONE, "alone.yaml")
    [finding] = check_rule_set(rule_set, DICTIONARY)
    assert severity_of(finding) is Severity.WARNING
    assert errors_among([finding]) == []
    assert errors_among([finding], to_decide=True) == [finding]
    assert not any("always mean rest" in said for said in proved([finding], extends=False))
    with pytest.raises(RuleSetInvalid, match="chest pain") as refused:
        SHIPPED.require_safe(rule_set)
    resting = [one for one in rule_set.rules if one.verdict is Verdict.REST]
    for facts in refused.value.findings[0].inputs:
        assert not any(predicate(one.when)(facts) for one in resting)


def test_nothing_is_found_where_the_baseline_is_extended_and_that_is_proved() -> None:
    found = check_rule_set(parse_rule_set(CLUB, "club.yaml"), DICTIONARY)
    assert found == []
    assert any("always mean rest" in said for said in proved(found, extends=True))


def test_what_is_too_hard_to_prove_does_not_decide(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(solver, "WORK_LIMIT", 1)
    assert [finding.code for finding in found(ALL_HEEDED.replace("is: true", "is: false"))] == [
        "not-proved"
    ]
