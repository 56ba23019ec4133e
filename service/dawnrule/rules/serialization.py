"""Rule sets as JSON values, in the words of the rule files."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from dawnrule.model.advice import RuleSetName
from dawnrule.model.serialization import to_json
from dawnrule.rules.conditions import Condition, Group, Signal, Test, signals_of
from dawnrule.rules.rule_set import NOTE, Extension, Rule, RuleSet


def rule_set_to_json(rule_set: RuleSet) -> dict[str, Any]:
    """Convert a rule set in full; ``signals`` are those that its rules use."""
    return {
        **to_json(RuleSetName.of(rule_set)),
        "summary": rule_set.summary,
        "came_from": [to_json(RuleSetName.of(one)) for one in rule_set.ancestors],
        **_extension(rule_set.extension),
        "signals": signals_to_json(rule_set.rules),
        "rules": [rule_to_json(rule) for rule in rule_set.rules],
    }


def signals_to_json(rules: Iterable[Rule]) -> dict[str, Any]:
    """Convert the signals that rules use, by name, each after those it is made of."""
    signals = (signal for rule in rules for signal in signals_of(rule.when))
    return {signal.name: condition_to_json(signal.condition) for signal in signals}


def rule_head(rule: Rule) -> dict[str, Any]:
    """Convert the fields of a rule other than condition, reason and examples."""
    basis = rule.basis
    return {
        "id": rule.id,
        "title": rule.title,
        "scope": rule.scope,
        "verdict": rule.verdict.value if rule.verdict else NOTE,
        "caution": rule.caution,
        "basis": {"kind": basis.kind, "source": basis.source, "note": basis.note},
        "wrong_when": rule.wrong_when,
    }


def rule_to_json(rule: Rule) -> dict[str, Any]:
    """Convert a rule in full, as it could stand in a rule file."""
    return (
        rule_head(rule)
        | _optional_fields(rule)
        | {
            "reason": rule.reason,
            "when": condition_to_json(rule.when),
            "examples": [{"facts": dict(e.facts), "fires": e.fires} for e in rule.examples],
        }
    )


def _optional_fields(rule: Rule) -> dict[str, Any]:
    """Convert the limits of a rule and when it is given, where the rule states them."""
    data: dict[str, Any] = {"limits": rule.limits.to_json()} if rule.limits else {}
    if rule.told_when != "always":
        data["told_when"] = rule.told_when
    if rule.tell_again is not None:
        data["tell_again"] = rule.tell_again
    return data


def condition_to_json(condition: Condition) -> dict[str, Any]:
    """Convert a condition, as it could stand in a rule file."""
    match condition:
        case Test(fact, operator, value):
            operand = list(value) if isinstance(value, tuple) else value
            return {"fact": fact, operator.value: operand}
        case Signal(name):
            return {"signal": name}
        case Group(kind, conditions, count):
            several = [condition_to_json(inner) for inner in conditions]
            return {kind.value: several if count is None else {"n": count, "of": several}}


def in_flow(data: Any) -> str:
    """Write JSON values on one line, as in a rule file: ``{fact: soreness, below: 3}``."""
    if isinstance(data, Mapping):
        return "{" + ", ".join(f"{name}: {in_flow(value)}" for name, value in data.items()) + "}"
    if isinstance(data, list | tuple):
        return "[" + ", ".join(map(in_flow, data)) + "]"
    return str(data).lower() if isinstance(data, bool) else str(data)


def _extension(extension: Extension | None) -> dict[str, Any]:
    """Convert what an extension changed of the rule set that it extends."""
    changed, off = (extension.changed, extension.off) if extension else ((), ())
    return {
        "changed": [
            {
                "rule": change.rule,
                "before": condition_to_json(Test(change.fact, change.operator, change.before)),
                "after": condition_to_json(Test(change.fact, change.operator, change.after)),
                "because": change.because,
            }
            for change in changed
        ],
        "off": [{"rule": one.rule, "because": one.because} for one in off],
    }
