"""Why was this advice given? From its record and its rule set, rule by rule (pure)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dawnrule.advice.compose import Composer
from dawnrule.rules.conditions import Test
from dawnrule.rules.evaluator import explain, missing_tests, predicate
from dawnrule.rules.plain import rule_head
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.wording import Wording
from dawnrule.vocabulary import Facts, Scope


@dataclass(frozen=True, slots=True)
class Subject:
    """The day (``block`` None) or a part, as the record has it: its facts, the rules that decided
    on it, and all that fired."""

    scope: Scope
    block: int | None
    muscle_group: str | None
    facts: Facts
    decided_by: frozenset[str]
    fired: tuple[str, ...]


def explain_record(
    record: Mapping[str, Any], rule_set: RuleSet, composer: Composer
) -> dict[str, Any]:
    """Every rule with how it came out, as plain JSON values; ``rule_set`` is the record's own.

    ``reproduced`` says whether the rules, evaluated again on the recorded facts, fire as they did.
    """
    wording = Wording(composer.dictionary, composer.vocabulary, composer.texts)
    subjects = subjects_of(record)
    return {
        "rules": [
            rule_head(rule)
            | {"results": [_result(rule, s, wording) for s in subjects if s.scope == rule.scope]}
            for rule in rule_set.rules
        ],
        "reproduced": fires_again(subjects, rule_set),
    }


def subjects_of(record: Mapping[str, Any]) -> list[Subject]:
    """The day of a record and then its parts. A day rule decides when the verdict of the day or of
    any part is its own."""
    advice, facts, fired = record["advice"], record["facts"], record["fired"]
    deciding = _ids(advice, *advice["parts"])
    day = Subject("day", None, None, facts["day"], deciding, tuple(fired["day"]))
    parts = (
        Subject(
            "part",
            of["block"],
            of["muscle_group"],
            facts["day"] | of["facts"],
            _ids(part),
            tuple(fired_here),
        )
        for of, part, fired_here in zip(
            facts["parts"], advice["parts"], fired["parts"], strict=True
        )
    )
    return [day, *parts]


def _ids(*advised: Mapping[str, Any]) -> frozenset[str]:
    return frozenset(of["rule"]["id"] for of in advised if of["rule"])


def _result(rule: Rule, subject: Subject, wording: Wording) -> dict[str, Any]:
    trace = explain(rule.when, subject.facts)
    return {
        "block": subject.block,
        "muscle_group": subject.muscle_group,
        "fired": trace.holds,
        "decided": rule.id in subject.decided_by,
        "conditions": trace.to_plain(),
        "near_miss": [
            _told(test, subject.facts, wording) for test in missing_tests(rule.when, subject.facts)
        ],
    }


def _told(test: Test, facts: Facts, wording: Wording) -> dict[str, Any]:
    value = test.value
    return {
        "fact": test.fact,
        "operator": test.operator.value,
        "threshold": list(value) if isinstance(value, tuple) else value,
        "value": facts.get(test.fact),
        "said": wording.test(test, facts),
    }


def fires_again(subjects: Sequence[Subject], rule_set: RuleSet) -> bool:
    """Whether on each subject just the recorded rules fire; day rules count for every part, whose
    facts hold those of the day."""
    return all(_fired_on(subject, rule_set) == subject.fired for subject in subjects)


def _fired_on(subject: Subject, rule_set: RuleSet) -> tuple[str, ...]:
    rules = rule_set.counting_for(subject.scope)
    return tuple(rule.id for rule in rules if predicate(rule.when)(subject.facts))
