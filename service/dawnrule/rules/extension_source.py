"""What does an extension change of what it extends, and what is wrong with its changes?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dawnrule.errors import Finding, RuleSetInvalid
from dawnrule.rules.condition_source import ConditionInvalid, ConditionReader
from dawnrule.rules.conditions import Operator, Test, tests_of
from dawnrule.rules.plain import condition_to_plain, in_flow
from dawnrule.rules.rule_set import ChangedThreshold, Rule, RuleSet, SwitchedOff
from dawnrule.rules.yaml_source import YamlSource
from dawnrule.vocabulary import FactDictionary


@dataclass(frozen=True, slots=True)
class Change:
    """One entry of ``change``: what it does, the entry itself, and its JSON Pointer."""

    threshold: ChangedThreshold
    entry: Mapping[str, Any]
    pointer: str


@dataclass(frozen=True, slots=True)
class Changes:
    """All that an extension changes of the rules that it extends, in its order."""

    changed: Sequence[Change]
    off: Sequence[SwitchedOff]

    def of(self, rule: Rule) -> list[Change]:
        """The changes of one rule."""
        return [change for change in self.changed if change.threshold.rule == rule.id]


def read_changes(source: YamlSource, dictionary: FactDictionary, base: RuleSet) -> Changes:
    """Read what an extension of the right form changes of ``base``. Raises ``RuleSetInvalid`` with
    all that is wrong with it."""
    reader = _Reader(source, dictionary, base)
    changes = reader.changes()
    if reader.findings:
        raise RuleSetInvalid(sorted(reader.findings, key=lambda finding: finding.line))
    return changes


class _Fault(ValueError):
    """A change that cannot be made."""


class _Reader:
    def __init__(self, source: YamlSource, dictionary: FactDictionary, base: RuleSet) -> None:
        self.findings: list[Finding] = []
        self._source = source
        self._dictionary = dictionary
        self._base = base
        self._rules = {rule.id: rule for rule in base.rules}

    def changes(self) -> Changes:
        off = list(self._switched_off())
        return Changes(list(self._changed({one.rule for one in off})), off)

    def _switched_off(self) -> Iterator[SwitchedOff]:
        for pointer, entry in self._entries("off"):
            try:
                rule = self._rule(entry)
            except _Fault as fault:
                self.findings.append(self._source.finding("off", pointer, str(fault)))
            else:
                yield SwitchedOff(rule.id, entry["because"], self._source.line(pointer))

    def _changed(self, off: set[str]) -> Iterator[Change]:
        for pointer, entry in self._entries("change"):
            try:
                yield Change(self._threshold(entry, pointer, off), entry, pointer)
            except _Fault as fault:
                self._found(self._source.finding("change", pointer, str(fault), entry["rule"]))
            except ConditionInvalid as fault:
                self._found(
                    self._source.finding(fault.code, fault.pointer, str(fault), entry["rule"])
                )

    def _threshold(self, entry: Mapping[str, Any], pointer: str, off: set[str]) -> ChangedThreshold:
        rule = self._rule(entry)
        if rule.id in off:
            raise _Fault("the rule is switched off here")
        new = self._test(rule, entry, pointer)
        tests = dict.fromkeys(tests_of(rule.when))
        old = [t for t in tests if (t.fact, t.operator) == (new.fact, new.operator)]
        if len(old) != 1:
            shown = ", ".join(in_flow(condition_to_plain(test)) for test in tests)
            raise _Fault(
                f"{new.fact} {new.operator} is not one test of the rule, which has {shown}"
            )
        line = self._source.line(pointer)
        return ChangedThreshold(
            rule.id, new.fact, new.operator, old[0].value, new.value, entry["because"], line
        )

    def _test(self, rule: Rule, entry: Mapping[str, Any], pointer: str) -> Test:
        """The test that the rule is to have. Raises ``ConditionInvalid``."""
        operators = [word for word in entry if word in [*Operator]]
        if len(operators) != 1:
            raise _Fault("a change gives one operator, with its new value")
        reader = ConditionReader(self._source, self._dictionary, rule.scope, signals={})
        asked = {word: entry[word] for word in ("fact", *operators)}
        [test] = tests_of(reader.read(asked, pointer))
        return test

    def _rule(self, entry: Mapping[str, Any]) -> Rule:
        if entry["rule"] not in self._rules:
            raise _Fault(f"there is no rule {entry['rule']!r} in {self._base.full_name}")
        return self._rules[entry["rule"]]

    def _entries(self, name: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
        for index, entry in enumerate(self._source.data.get(name, [])):
            yield f"/{name}/{index}", entry

    def _found(self, finding: Finding) -> None:
        self.findings.append(finding)
