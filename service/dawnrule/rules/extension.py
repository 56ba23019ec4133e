"""What does a rule set say that extends another?

It is written out as a rule file that says everything itself, and then read like any other. Each
thing keeps the line on which the extension says it; what it says nothing of, that of ``extends``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

from dawnrule.errors import NotFound, RuleSetInvalid
from dawnrule.rules.conditions import All, AnyOf, AtLeast, Condition, NoneOf, Signal, Test
from dawnrule.rules.evaluator import predicate
from dawnrule.rules.extension_source import Change, Changes, read_changes
from dawnrule.rules.plain import in_flow, name_to_plain, rule_to_plain, signals_to_plain
from dawnrule.rules.rule_set import Basis, ChangedThreshold, Extension, Rule, RuleSet
from dawnrule.rules.shape import EXTENSION, shape_findings
from dawnrule.rules.yaml_source import YamlSource
from dawnrule.vocabulary import FactDictionary

Resolve: TypeAlias = Callable[[str, str], RuleSet]
"""A rule set by name and version; raises ``NotFound``."""

_TEXTS = ("title", "reason", "caution")


@dataclass(frozen=True, slots=True)
class WrittenOut:
    """An extension as a rule file of its own. ``identity`` is all that makes it what it is, as
    plain values: what it says, and what it came from and how."""

    source: YamlSource
    extension: Extension
    identity: Mapping[str, Any]


def write_out(source: YamlSource, dictionary: FactDictionary, resolve: Resolve) -> WrittenOut:
    """Write out an extension. Raises ``RuleSetInvalid`` with all that is wrong with its changes;
    its own rules are not looked at yet."""
    shape = [finding for finding in shape_findings(source, EXTENSION) if finding.rule is None]
    if shape:
        raise RuleSetInvalid(shape)
    base = _base(source, resolve)
    changes = read_changes(source, dictionary, base)
    written = _written(source, base, changes)
    told = {name: source.data.get(name, []) for name in ("change", "off")}
    thresholds = tuple(change.threshold for change in changes.changed)
    return WrittenOut(
        written,
        Extension(base, thresholds, tuple(changes.off)),
        {"says": written.data, "extends": name_to_plain(base), **told},
    )


def _base(source: YamlSource, resolve: Resolve) -> RuleSet:
    name, _, version = source.data["extends"].partition("@")
    try:
        return resolve(name, version)
    except NotFound as missing:
        finding = source.finding("extends", "/extends", missing.detail)
        raise RuleSetInvalid([finding]) from missing


def _written(source: YamlSource, base: RuleSet, changes: Changes) -> YamlSource:
    """The rules of the base that are left, changed, and the extension's own after them."""
    off = {one.rule for one in changes.off}
    kept = [_kept(rule, changes.of(rule), base) for rule in base.rules if rule.id not in off]
    own = source.data
    data = {name: own[name] for name in ("rule_set", "version", "summary")} | {
        "signals": _signals(source, base),
        "rules": [_plain(rule, changes.of(rule)) for rule in kept] + own.get("rules", []),
    }
    lines = dict(_own_lines(source, len(kept)))
    for index, rule in enumerate(kept):
        lines |= dict(_kept_lines(source, f"/rules/{index}", rule, changes.of(rule)))
    return YamlSource(source.file, data, lines)


def _signals(source: YamlSource, base: RuleSet) -> Mapping[str, Any]:
    """The signals of both; a name cannot mean two things."""
    theirs = signals_to_plain(base.rules)
    ours = source.data.get("signals", {})
    twice = [name for name in ours if name in theirs]
    if twice:
        message = f"{base.full_name} has a signal {twice[0]!r} already; choose another name"
        raise RuleSetInvalid([source.finding("signal", f"/signals/{twice[0]}", message)])
    return {**theirs, **ours}


def _kept(rule: Rule, changes: Sequence[Change], base: RuleSet) -> Rule:
    """A rule of the base with its new values, and those of its examples that still come out."""
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
    """The condition with another value in its test. A signal in which the test stands is written
    out, as it keeps its own value everywhere else."""
    match condition:
        case Test(change.fact, change.operator):
            return replace(condition, value=change.after)
        case Test():
            return condition
        case Signal(condition=inner):
            changed = _with_value(inner, change)
            return condition if changed == inner else changed
        case All() | AnyOf() | NoneOf() | AtLeast():
            several = tuple(_with_value(inner, change) for inner in condition.conditions)
            return replace(condition, conditions=several)


def _basis(before: Basis, changes: Sequence[ChangedThreshold], base: RuleSet) -> Basis:
    """A changed value is house judgement, whatever the rule was based on."""
    because = "; ".join(change.because for change in changes)
    was = "; ".join(f"{c.fact} {c.operator} {in_flow(c.before)}" for c in changes)
    note = f"In {base.full_name} it is {was}, with the basis: {before.source}."
    return Basis("house", f"house judgement: {because}", f"{note} {before.note or ''}".strip())


def _plain(rule: Rule, changes: Sequence[Change]) -> dict[str, Any]:
    """A rule as it stands in a rule file, with the texts and examples that its changes give."""
    plain = rule_to_plain(rule)
    plain["basis"] = {name: text for name, text in plain["basis"].items() if text is not None}
    for change in changes:
        plain |= {name: change.entry[name] for name in _TEXTS if name in change.entry}
        plain["examples"] = [*plain["examples"], *change.entry.get("examples", [])]
    return plain


def _own_lines(source: YamlSource, kept: int) -> Iterator[tuple[str, int]]:
    """The lines of the extension, its own rules moved behind those kept."""
    for pointer, line in source.lines.items():
        match pointer.split("/"):
            case ["", "rules", index, *rest]:
                yield "/".join(["", "rules", str(kept + int(index)), *rest]), line
            case _:
                yield pointer, line


def _kept_lines(
    source: YamlSource, pointer: str, rule: Rule, changes: Sequence[Change]
) -> Iterator[tuple[str, int]]:
    """The lines on which an extension says something of a rule that it keeps."""
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
