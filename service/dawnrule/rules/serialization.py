"""How is a rule set told as plain data, in the words of the rule files?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from dawnrule.rules.conditions import Condition, Group, Signal, Test, signals_of
from dawnrule.rules.rule_set import NOTE, Extension, Rule, RuleSet


def rule_set_to_plain(rule_set: RuleSet) -> dict[str, Any]:
    """A rule set in full, as plain JSON values; ``signals`` are those that its rules use."""
    return {
        **name_to_json(rule_set),
        "summary": rule_set.summary,
        "came_from": [name_to_json(one) for one in rule_set.came_from],
        **_extension(rule_set.extension),
        "signals": signals_to_plain(rule_set.rules),
        "rules": [rule_to_plain(rule) for rule in rule_set.rules],
    }


def name_to_json(rule_set: RuleSet) -> dict[str, str]:
    """A rule set by name, version and digest."""
    return {"name": rule_set.name, "version": rule_set.version, "digest": rule_set.digest}


def signals_to_plain(rules: Iterable[Rule]) -> dict[str, Any]:
    """The signals that rules use, by name, those inside of others before them."""
    signals = (signal for rule in rules for signal in signals_of(rule.when))
    return {signal.name: condition_to_plain(signal.condition) for signal in signals}


def rule_head(rule: Rule) -> dict[str, Any]:
    """What a rule is, besides its condition."""
    return {
        "id": rule.id,
        "title": rule.title,
        "scope": rule.scope,
        "verdict": rule.verdict.value if rule.verdict else NOTE,
        "caution": rule.caution,
        "basis": asdict(rule.basis),
        "wrong_when": rule.wrong_when,
    }


def rule_to_plain(rule: Rule) -> dict[str, Any]:
    """A rule in full, as it could stand in a rule file."""
    return rule_head(rule) | {
        "reason": rule.reason,
        "when": condition_to_plain(rule.when),
        "examples": [{"facts": dict(e.facts), "fires": e.fires} for e in rule.examples],
    }


def condition_to_plain(condition: Condition) -> dict[str, Any]:
    """A condition as it could stand in a rule file."""
    match condition:
        case Test(fact, operator, value):
            plain = list(value) if isinstance(value, tuple) else value
            return {"fact": fact, operator.value: plain}
        case Signal(name):
            return {"signal": name}
        case Group(kind, conditions, count):
            several = [condition_to_plain(inner) for inner in conditions]
            return {kind.value: several if count is None else {"n": count, "of": several}}


def in_flow(plain: Any) -> str:
    """Plain values on one line, as in a rule file: ``{fact: soreness, below: 3}``."""
    if isinstance(plain, Mapping):
        return "{" + ", ".join(f"{name}: {in_flow(value)}" for name, value in plain.items()) + "}"
    if isinstance(plain, list | tuple):
        return "[" + ", ".join(map(in_flow, plain)) + "]"
    return str(plain).lower() if isinstance(plain, bool) else str(plain)


def _extension(extension: Extension | None) -> dict[str, Any]:
    """What a rule set changed of the one that it extends, besides adding rules."""
    changed, off = (extension.changed, extension.off) if extension else ((), ())
    return {
        "changed": [
            {
                "rule": change.rule,
                "before": condition_to_plain(Test(change.fact, change.operator, change.before)),
                "after": condition_to_plain(Test(change.fact, change.operator, change.after)),
                "because": change.because,
            }
            for change in changed
        ],
        "off": [{"rule": one.rule, "because": one.because} for one in off],
    }
