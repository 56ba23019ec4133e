"""The loader: from the text of a rule file to a rule set, with every fault as a finding."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from typing import Any

from dawnrule.errors import Finding, NotFound, RuleSetInvalid
from dawnrule.i18n.resources import rules_folder
from dawnrule.model import FactDictionary, Verdict
from dawnrule.model.serialization import canonical_json
from dawnrule.rules.conditions import Condition, facts_of
from dawnrule.rules.limits import FromFact, Limits
from dawnrule.rules.loading.condition_parser import ConditionInvalid, ConditionReader
from dawnrule.rules.loading.extension import Resolve, write_out
from dawnrule.rules.loading.json_schema import RULE_SET, name_of, schema_findings
from dawnrule.rules.loading.published_files import is_published
from dawnrule.rules.loading.reason_template import (
    ALWAYS_NAMED,
    CONDITIONS_MET,
    TemplateError,
    placeholders,
    surely_reported,
)
from dawnrule.rules.loading.yaml_reader import YamlSource, read_yaml
from dawnrule.rules.rule_set import (
    NOTE,
    Basis,
    Example,
    MorePermissive,
    MorePermissivePlace,
    Rule,
    RuleSet,
)


def load_rule_set(
    file: Path,
    dictionary: FactDictionary | None = None,
    shown_as: str | None = None,
    resolve: Resolve | None = None,
) -> RuleSet:
    """Read a rule file. Raises ``RuleSetInvalid`` with every finding, or ``OSError``.

    ``shown_as`` is the name of the file in findings, by default its own. ``resolve`` is as in
    ``parse_rule_set``.
    """
    name = shown_as or file.name
    try:
        text = file.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        message = f"not UTF-8 at byte {error.start}"
        raise RuleSetInvalid([Finding(name, 1, None, "encoding", message)]) from error
    return parse_rule_set(text, name, dictionary, resolve)


def parse_rule_set(
    text: str,
    file: str,
    dictionary: FactDictionary | None = None,
    resolve: Resolve | None = None,
) -> RuleSet:
    """Read a rule set from YAML text; ``file`` is its name in findings.

    ``resolve`` returns a rule set that the text extends by name and version, or raises
    ``NotFound``; by default it knows the bundled ones. Raises ``RuleSetInvalid`` with every
    finding.
    """
    dictionary = dictionary or FactDictionary.bundled()
    source = read_yaml(text, file)
    if isinstance(source.data, dict) and "extends" in source.data:
        written = write_out(source, dictionary, resolve or bundled_rule_set)
        digest = digest_of(written.identity)
        rule_set = _parsed(written.source, dictionary)
        return replace(rule_set, extension=written.extension, digest=digest)
    return _parsed(source, dictionary)


def bundled_rule_set(name: str, version: str, within: tuple[str, ...] = ()) -> RuleSet:
    """Return a rule set that ships with the service. Raises ``NotFound`` or ``RuleSetInvalid``.

    ``within`` names the rule sets being read because they extend it.
    """
    full_name = f"{name}@{version}"
    file = rules_folder() / name / f"{version}.yaml"
    if full_name in within:
        raise NotFound(f"{full_name} extends itself.")
    if not file.is_file():
        raise NotFound(f"No rule set {full_name} ships with the service.")
    return _read_bundled(file, (*within, full_name))


@cache
def _read_bundled(file: Path, within: tuple[str, ...]) -> RuleSet:
    """Read a bundled file, once in each process; one that was published is not checked again."""
    shown_as = f"{file.parent.name}/{file.name}"
    data = file.read_bytes()
    if is_published(data):
        source = read_yaml(data.decode(), shown_as)
        return _RuleSetReader(source, FactDictionary.bundled()).rule_set()
    return load_rule_set(file, shown_as=shown_as, resolve=partial(bundled_rule_set, within=within))


def digest_of(data: Any) -> str:
    """Compute ``sha256:`` and the hex SHA-256 of the canonical JSON (RFC 8785) of JSON values."""
    return "sha256:" + hashlib.sha256(canonical_json(data).encode("utf-8")).hexdigest()


def _parsed(source: YamlSource, dictionary: FactDictionary) -> RuleSet:
    findings = list(dict.fromkeys(schema_findings(source, RULE_SET)))
    reader = None
    if not any(finding.rule is None for finding in findings):
        reader = _RuleSetReader(source, dictionary)
        findings += reader.findings(frozenset(f.rule for f in findings if f.rule))
    if findings or reader is None:
        raise RuleSetInvalid(sorted(findings, key=lambda finding: finding.line))
    return reader.rule_set()


def _is_of_a_signal(fault: ConditionInvalid) -> bool:
    """Tell whether a fault is reported with its signal, and not again for each rule that uses
    it."""
    return fault.pointer.startswith("/signals/") and fault.code != "scope"


class _RuleSetReader:
    """A reader for the rules of a source whose top level has the right form."""

    def __init__(self, source: YamlSource, dictionary: FactDictionary) -> None:
        self.source = source
        self.dictionary = dictionary
        self.signals: Mapping[str, Any] = source.data.get("signals", {})

    def findings(self, misshapen: frozenset[str]) -> list[Finding]:
        """Collect the faults in the meaning of the rules. Of ``misshapen`` rules only the condition
        is read, as their other fields cannot be relied on."""
        found = list(self._signal_findings())
        seen: dict[str, int] = {}
        for index, data in enumerate(self.source.data["rules"]):
            rule = name_of(data, index)
            if rule in seen:
                message = f"this id stands on line {seen[rule]} already"
                found.append(
                    self.source.finding("duplicate-id", f"/rules/{index}/id", message, rule)
                )
            seen.setdefault(rule, self.source.line(f"/rules/{index}"))
            found += self._findings_of(data, index, rule, only_condition=rule in misshapen)
        return [*found, *self._more_permissive_findings()]

    def rule_set(self) -> RuleSet:
        data = self.source.data
        return RuleSet(
            name=data["rule_set"],
            version=data["version"],
            summary=data["summary"],
            rules=tuple(self._rule(rule, index) for index, rule in enumerate(data["rules"])),
            digest=digest_of(data),
            file=self.source.file,
            more_permissive=self._more_permissive(),
        )

    def _more_permissive(self) -> MorePermissive | None:
        stated = self.source.data.get("more_permissive")
        if stated is None:
            return None
        where = tuple(
            MorePermissivePlace(
                one["id"],
                one["scope"],
                self._conditions(one).read(one["when"], pointer),
                one["because"],
                self.source.line(pointer.removesuffix("/when")),
                one.get("also_from_rest", False),
            )
            for one, pointer in self._more_permissive_entries()
        )
        return MorePermissive(stated["than"], where)

    def _more_permissive_entries(self) -> Iterator[tuple[Mapping[str, Any], str]]:
        """Yield the entries of ``more_permissive``, each with the pointer to its condition."""
        for index, one in enumerate(self.source.data.get("more_permissive", {}).get("where", ())):
            yield one, f"/more_permissive/where/{index}/when"

    def _more_permissive_findings(self) -> Iterator[Finding]:
        for one, pointer in self._more_permissive_entries():
            reader = self._conditions(one)
            try:
                reader.read(one["when"], pointer)
            except ConditionInvalid as fault:
                yield reader.finding(fault, None)

    def _signal_findings(self) -> Iterator[Finding]:
        for name in self.signals:
            reader = ConditionReader(self.source, self.dictionary, "part", self.signals)
            try:
                reader.read({"signal": name}, f"/signals/{name}")
            except ConditionInvalid as fault:
                yield reader.finding(fault, None)

    def _findings_of(
        self, data: Mapping[str, Any], index: int, rule: str, *, only_condition: bool
    ) -> Iterator[Finding]:
        if not isinstance(data, dict) or data.get("scope") not in ("day", "part"):
            return
        if "when" not in data:
            return
        reader = self._conditions(data)
        try:
            condition = reader.read(data["when"], f"/rules/{index}/when")
        except ConditionInvalid as fault:
            if not _is_of_a_signal(fault):
                yield reader.finding(fault, rule)
            return
        if not only_condition:
            yield from self._reason_findings(data, index, condition)
            yield from self._limit_findings(data, index, condition)
            yield from self._example_findings(data, index)

    def _reason_findings(
        self, data: Mapping[str, Any], index: int, condition: Condition
    ) -> Iterator[Finding]:
        allowed = surely_reported(condition) | {CONDITIONS_MET}
        if data["scope"] == "part":
            allowed |= ALWAYS_NAMED
        try:
            messages = [
                self._fault_of_placeholder(name, decimals, allowed, facts_of(condition))
                for name, decimals in placeholders(data["reason"])
            ]
        except TemplateError as fault:
            messages = [str(fault)]
        for message in filter(None, messages):
            yield self.source.finding("reason", f"/rules/{index}/reason", message, data["id"])

    def _fault_of_placeholder(
        self, name: str, decimals: str, allowed: frozenset[str], tested: tuple[str, ...]
    ) -> str | None:
        if name not in allowed:
            why = "is tested but may be missing" if name in tested else "is not tested"
            return f"{{{name}}} {why}; the reason may name: {', '.join(sorted(allowed))}"
        if decimals and not (name in self.dictionary and self.dictionary[name].is_numeric):
            return f"{{{name}}} is not a number and takes no decimals"
        return None

    def _limit_findings(
        self, data: Mapping[str, Any], index: int, condition: Condition
    ) -> Iterator[Finding]:
        """Yield limits whose fact is not a number, or not one that the rule tests and that is
        certain to be reported."""
        known = surely_reported(condition)
        for name, value in Limits.from_json(data.get("limits", {})).given():
            if not isinstance(value, FromFact):
                continue
            if value.fact not in known or not self.dictionary[value.fact].is_numeric:
                message = f"{name} names {value.fact}, which must be a number that the rule tests"
                pointer = f"/rules/{index}/limits/{name}"
                yield self.source.finding("limits", pointer, message, data["id"])

    def _example_findings(self, data: Mapping[str, Any], index: int) -> Iterator[Finding]:
        readable = self.dictionary.readable_in(data["scope"])
        for number, example in enumerate(data["examples"]):
            for fact, value in example["facts"].items():
                pointer = f"/rules/{index}/examples/{number}/facts/{fact}"
                if fact not in readable:
                    message = f"unknown fact {fact!r} for a {data['scope']} rule"
                    yield self.source.finding("unknown-fact", pointer, message, data["id"])
                elif not self.dictionary[fact].accepts(value):
                    message = f"{fact} is {self.dictionary[fact].allowed()}, not {value!r}"
                    yield self.source.finding("value", pointer, message, data["id"])
        if {example["fires"] for example in data["examples"]} != {True, False}:
            message = "at least one example that fires and one that does not are needed"
            yield self.source.finding("examples", f"/rules/{index}/examples", message, data["id"])

    def _conditions(self, data: Mapping[str, Any]) -> ConditionReader:
        return ConditionReader(self.source, self.dictionary, data["scope"], self.signals)

    def _rule(self, data: Mapping[str, Any], index: int) -> Rule:
        pointer = f"/rules/{index}"
        return Rule(
            id=data["id"],
            title=data["title"],
            scope=data["scope"],
            when=self._conditions(data).read(data["when"], f"{pointer}/when"),
            verdict=None if data["verdict"] == NOTE else Verdict(data["verdict"]),
            reason=data["reason"],
            caution=data["caution"],
            basis=Basis(**data["basis"]),
            wrong_when=data["wrong_when"],
            examples=tuple(
                Example(e["facts"], e["fires"], self.source.line(f"{pointer}/examples/{number}"))
                for number, e in enumerate(data["examples"])
            ),
            line=self.source.line(pointer),
            limits=Limits.from_json(data.get("limits", {})),
            told_when=data.get("told_when", "always"),
            tell_again=data.get("tell_again"),
        )
