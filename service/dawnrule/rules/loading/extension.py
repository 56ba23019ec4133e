"""Extensions: rule sets that change another by thresholds, switched-off rules and additions.

An extension is written out as a complete rule file and then loaded like any other. Each value keeps
the line on which the extension gives it; everything inherited has the line of ``extends``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

from dawnrule.errors import Finding, NotFound, RuleSetInvalid
from dawnrule.model import FactDictionary
from dawnrule.model.advice import RuleSetName
from dawnrule.model.serialization import to_json
from dawnrule.rules.conditions import Condition, Group, Operator, Signal, Test, tests_of
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.loading.condition_parser import ConditionInvalid, ConditionReader
from dawnrule.rules.loading.json_schema import EXTENSION, schema_findings
from dawnrule.rules.loading.yaml_reader import YamlSource
from dawnrule.rules.rule_set import Basis, ChangedThreshold, DisabledRule, Extension, Rule, RuleSet
from dawnrule.rules.serialization import (
    condition_to_json,
    in_flow,
    rule_to_json,
    signals_to_json,
)

Resolve: TypeAlias = Callable[[str, str], RuleSet]
"""A function that finds a rule set by name and version, or raises ``NotFound``."""


_TEXTS = ("title", "reason", "caution")


@dataclass(frozen=True, slots=True)
class Change:
    """One entry of ``change``: its effect, the entry itself, and its JSON Pointer."""

    threshold: ChangedThreshold
    entry: Mapping[str, Any]
    pointer: str


@dataclass(frozen=True, slots=True)
class Changes:
    """All that an extension changes of the rules that it extends, in its order."""

    changed: Sequence[Change]
    off: Sequence[DisabledRule]

    def of(self, rule: Rule) -> list[Change]:
        """List the changes of one rule."""
        return [change for change in self.changed if change.threshold.rule == rule.id]


@dataclass(frozen=True, slots=True)
class WrittenOut:
    """An extension as a complete rule file. ``identity`` is what its digest is taken from, as JSON
    values: the written-out rules, the rule set extended, and the changes."""

    source: YamlSource
    extension: Extension
    identity: Mapping[str, Any]


def write_out(source: YamlSource, dictionary: FactDictionary, resolve: Resolve) -> WrittenOut:
    """Write out an extension in full. Raises ``RuleSetInvalid`` with every fault in its changes;
    its own rules are not checked yet."""
    shape = [finding for finding in schema_findings(source, EXTENSION) if finding.rule is None]
    if shape:
        raise RuleSetInvalid(shape)
    base = _base(source, resolve)
    changes = read_changes(source, dictionary, base)
    written = _written(source, base, changes)
    entries = {name: source.data.get(name, []) for name in ("change", "off")}
    thresholds = tuple(change.threshold for change in changes.changed)
    return WrittenOut(
        written,
        Extension(base, thresholds, tuple(changes.off)),
        {"says": written.data, "extends": to_json(RuleSetName.of(base)), **entries},
    )


def read_changes(source: YamlSource, dictionary: FactDictionary, base: RuleSet) -> Changes:
    """Read the changes that a well-formed extension makes to ``base``. Raises ``RuleSetInvalid``
    with every fault."""
    reader = _Reader(source, dictionary, base)
    changes = reader.changes()
    if reader.findings:
        raise RuleSetInvalid(sorted(reader.findings, key=lambda finding: finding.line))
    return changes


def _base(source: YamlSource, resolve: Resolve) -> RuleSet:
    name, _, version = source.data["extends"].partition("@")
    try:
        return resolve(name, version)
    except NotFound as missing:
        finding = source.finding("extends", "/extends", missing.detail)
        raise RuleSetInvalid([finding]) from missing


def _written(source: YamlSource, base: RuleSet, changes: Changes) -> YamlSource:
    """Build the file: the remaining rules of the base with their changes, then the extension's
    own."""
    off = {one.rule for one in changes.off}
    kept = [_kept(rule, changes.of(rule), base) for rule in base.rules if rule.id not in off]
    own = source.data
    data = {name: own[name] for name in ("rule_set", "version", "summary")} | {
        "signals": _signals(source, base),
        "rules": [_rule_data(rule, changes.of(rule)) for rule in kept] + own.get("rules", []),
    }
    lines = dict(_own_lines(source, len(kept)))
    for index, rule in enumerate(kept):
        lines |= dict(_kept_lines(source, f"/rules/{index}", rule, changes.of(rule)))
    return YamlSource(source.file, data, lines)


def _signals(source: YamlSource, base: RuleSet) -> Mapping[str, Any]:
    """Merge the signals of both; a name cannot have two meanings."""
    theirs = signals_to_json(base.rules)
    ours = source.data.get("signals", {})
    twice = [name for name in ours if name in theirs]
    if twice:
        message = f"{base.full_name} has a signal {twice[0]!r} already; choose another name"
        raise RuleSetInvalid([source.finding("signal", f"/signals/{twice[0]}", message)])
    return {**theirs, **ours}


def _kept(rule: Rule, changes: Sequence[Change], base: RuleSet) -> Rule:
    """Apply changes to a rule of the base, and keep those of its examples that still pass."""
    if not changes:
        return rule
    when = rule.when
    for change in changes:
        when = _with_value(when, change.threshold)
    holds = predicate(when)
    return replace(
        rule,
        when=when,
        basis=_basis(rule.basis, [change.threshold for change in changes], base),
        examples=tuple(e for e in rule.examples if holds(e.facts) is e.fires),
    )


def _with_value(condition: Condition, change: ChangedThreshold) -> Condition:
    """Replace the value of a test. A signal that contains the test is written out, as the signal
    keeps its value everywhere else."""
    match condition:
        case Test(change.fact, change.operator):
            return replace(condition, value=change.after)
        case Test():
            return condition
        case Signal(condition=inner):
            changed = _with_value(inner, change)
            return condition if changed == inner else changed
        case Group():
            several = tuple(_with_value(inner, change) for inner in condition.conditions)
            return replace(condition, conditions=several)


def _basis(before: Basis, changes: Sequence[ChangedThreshold], base: RuleSet) -> Basis:
    """Describe the basis of a changed value: house judgement, whatever the rule was based on."""
    because = "; ".join(change.because for change in changes)
    was = "; ".join(f"{c.fact} {c.operator} {in_flow(c.before)}" for c in changes)
    note = f"In {base.full_name} it is {was}, with the basis: {before.source}."
    return Basis("house", f"house judgement: {because}", f"{note} {before.note or ''}".strip())


def _rule_data(rule: Rule, changes: Sequence[Change]) -> dict[str, Any]:
    """Build a rule as it stands in a rule file, with the texts and examples that its changes
    give."""
    data = rule_to_json(rule)
    data["basis"] = {name: text for name, text in data["basis"].items() if text is not None}
    for change in changes:
        data |= {name: change.entry[name] for name in _TEXTS if name in change.entry}
        data["examples"] = [*data["examples"], *change.entry.get("examples", [])]
    return data


def _own_lines(source: YamlSource, kept: int) -> Iterator[tuple[str, int]]:
    """Yield the lines of the extension, with its own rules moved behind those kept."""
    for pointer, line in source.lines.items():
        match pointer.split("/"):
            case ["", "rules", index, *rest]:
                yield "/".join(["", "rules", str(kept + int(index)), *rest]), line
            case _:
                yield pointer, line


def _kept_lines(
    source: YamlSource, pointer: str, rule: Rule, changes: Sequence[Change]
) -> Iterator[tuple[str, int]]:
    """Yield the lines of what an extension gives for a rule that it keeps."""
    yield pointer, source.line("/extends")
    given = len(rule.examples)
    for change in changes:
        yield pointer, source.line(change.pointer)
        for name in _TEXTS:
            yield f"{pointer}/{name}", source.line(f"{change.pointer}/{name}")
        for number, _ in enumerate(change.entry.get("examples", [])):
            line = source.line(f"{change.pointer}/examples/{number}")
            yield f"{pointer}/examples/{given + number}", line
        given += len(change.entry.get("examples", []))


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
        off = list(self._disabled_rules())
        return Changes(list(self._changed({one.rule for one in off})), off)

    def _disabled_rules(self) -> Iterator[DisabledRule]:
        for pointer, entry in self._entries("off"):
            try:
                rule = self._rule(entry)
            except _Fault as fault:
                self.findings.append(self._source.finding("off", pointer, str(fault)))
            else:
                yield DisabledRule(rule.id, entry["because"], self._source.line(pointer))

    def _changed(self, off: set[str]) -> Iterator[Change]:
        for pointer, entry in self._entries("change"):
            try:
                yield Change(self._threshold(entry, pointer, off), entry, pointer)
            except _Fault as fault:
                self._found("change", pointer, fault, entry)
            except ConditionInvalid as fault:
                self._found(fault.code, fault.pointer, fault, entry)

    def _threshold(self, entry: Mapping[str, Any], pointer: str, off: set[str]) -> ChangedThreshold:
        rule = self._rule(entry)
        if rule.id in off:
            raise _Fault("the rule is switched off here")
        new = self._test(rule, entry, pointer)
        tests = dict.fromkeys(tests_of(rule.when))
        old = [t for t in tests if (t.fact, t.operator) == (new.fact, new.operator)]
        if len(old) != 1:
            present = ", ".join(in_flow(condition_to_json(test)) for test in tests)
            raise _Fault(
                f"{new.fact} {new.operator} is not one test of the rule, which has {present}"
            )
        line = self._source.line(pointer)
        return ChangedThreshold(
            rule.id, new.fact, new.operator, old[0].value, new.value, entry["because"], line
        )

    def _test(self, rule: Rule, entry: Mapping[str, Any], pointer: str) -> Test:
        """Parse the test that the rule is to have. Raises ``ConditionInvalid``."""
        operators = [word for word in entry if word in [*Operator]]
        if len(operators) != 1:
            raise _Fault("a change gives one operator, with its new value")
        reader = ConditionReader(self._source, self._dictionary, rule.scope, signals={})
        data = {word: entry[word] for word in ("fact", *operators)}
        [test] = tests_of(reader.read(data, pointer))
        return test

    def _rule(self, entry: Mapping[str, Any]) -> Rule:
        if entry["rule"] not in self._rules:
            raise _Fault(f"there is no rule {entry['rule']!r} in {self._base.full_name}")
        return self._rules[entry["rule"]]

    def _entries(self, name: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
        for index, entry in enumerate(self._source.data.get(name, [])):
            yield f"/{name}/{index}", entry

    def _found(self, code: str, pointer: str, fault: ValueError, entry: Mapping[str, Any]) -> None:
        self.findings.append(self._source.finding(code, pointer, str(fault), entry["rule"]))
