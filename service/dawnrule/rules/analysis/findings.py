"""Kinds of findings: their severity and remedy, and findings as JSON and SARIF."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Self
from urllib.parse import quote

from dawnrule.errors import Finding

SCHEMA = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)


class Severity(StrEnum):
    """The severity of a finding: with an error a rule set is not published; a warning is for its
    author to weigh. The words are those of SARIF."""

    ERROR = "error"
    WARNING = "warning"


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of finding: its severity, what it says of the rule set, and its remedy. ``proves``
    is what a check proves that finds none of the kind; ``decides`` is False for a warning that
    keeps a rule set from deciding for people."""

    severity: Severity
    description: str
    remedy: str
    proves: str | None = None
    decides: bool = True


def _error(description: str, remedy: str, proves: str | None = None) -> Kind:
    return Kind(Severity.ERROR, description, remedy, proves)


def _warning(description: str, remedy: str) -> Kind:
    return Kind(Severity.WARNING, description, remedy)


KINDS: Mapping[str, Kind] = {
    # ---- the file cannot be read as rules
    "encoding": _error("The file is not UTF-8 text.", "Save it as UTF-8."),
    "yaml": _error("The file is not the plain YAML of a rule file.", "Mend the YAML there."),
    "schema": _error("A field is missing, unknown or of the wrong form.", "Write it as allowed."),
    "duplicate-id": _error("Two rules have one id.", "Give one of them another id."),
    "condition": _error("A condition is not of any known form.", "Use one of the forms named."),
    "unknown-signal": _error("A signal is not defined.", "Define it, or use one that is."),
    "signal": _error("A signal cannot be written out.", "Write its condition where it is needed."),
    "size": _error("A rule tests too many facts.", "Split the rule."),
    "unknown-fact": _error("A fact is not in the dictionary.", "Use one of the facts named."),
    "scope": _error("A day rule tests a fact of a part.", "Make it a part rule."),
    "operator": _error("An operator does not fit the fact.", "Use one of the operators named."),
    "value": _error("A value has the wrong type or range.", "Write a value of the fact."),
    "limits": _error("A limit names what may be missing.", "Name a number that the rule tests."),
    "reason": _error("A reason names what may be missing.", "Name only facts that it may name."),
    "examples": _error("A side has no example.", "Give one that fires and one that does not."),
    "too-many-ways": _error("The engine cannot take the rule.", "Split it into several rules."),
    "too-many-facts": _error("The engine cannot take the rule set.", "Test fewer facts."),
    "trial": _error("Its trial run failed.", "Simplify the rules, or split the rule set."),
    # ---- an extension does not fit what it extends
    "extends": _error("What it extends cannot be loaded.", "Name a rule set and version there is."),
    "change": _error("A change fits no test of the rule.", "Name a test that the rule has."),
    "off": _error("The rule to disable does not exist.", "Name a rule of what it extends."),
    "weaker-stop": _error(
        "A rule on pain, illness or a warning sign was made weaker or disabled.",
        "Take the change back. Such a rule can be made stricter, or another can be added.",
        proves="rules on pain, illness and warning signs are as strict as in what it extends",
    ),
    "warning-sign-not-heeded": Kind(
        Severity.WARNING,
        "A warning sign, fever, illness below the neck or joint pain does not always mean rest. "
        "Such a rule set is neither published nor activated.",
        "Extend the baseline, which has these rules: write `extends: baseline@2.0.0`.",
        proves="warning signs, fever, illness below the neck, and joint, sharp or one-sided pain "
        "of a part always mean rest",
        decides=False,
    ),
    "old-value": _warning(
        "A text still states a value that was changed.",
        "Give the change a title, reason or caution of its own with the new value.",
    ),
    # ---- the rules do not do what they say or should
    "example": _error("An example does not pass.", "Mend the condition, or the example."),
    "contradictory": _error(
        "A condition can never hold.",
        "Widen it, or delete the rule if it is not needed.",
        proves="every rule can fire",
    ),
    "unreachable": _error(
        "A rule never decides: others always decide before it.",
        "Delete it, narrow the others, or move it above those of the same verdict.",
        proves="every rule that can fire and has a verdict decides some morning",
    ),
    "not-monotone": _error(
        "Worse facts lead to a more permissive verdict.",
        "Turn the test round, or add a rule that also covers the worse facts.",
        proves="worse facts never lead to a more permissive verdict",
    ),
    "limit-loosened": _error(
        "Worse facts, or an open concern, lead to more than a limit allows.",
        "Give the worse case a limit that is as strict, or a more protective verdict.",
        proves="worse facts and open concerns never loosen a limit",
    ),
    "limit-not-kept": _error(
        "A block that is known to exceed a limit is trained as planned.",
        "Add a rule that swaps what the plan asks for beyond the limit.",
        proves="what exceeds a limit is never trained as planned",
    ),
    "concern-loosens": _error(
        "An open concern leads to a more permissive verdict.",
        "Turn the test on the concern round.",
        proves="an open concern never leads to a more permissive verdict",
    ),
    "more-permissive": _error(
        "It is more permissive than an earlier version where it does not say so.",
        "Add the protection that is missing, or say where it is more permissive and why.",
        proves="it is more permissive than the version it names only where it says so",
    ),
    "never-train": _error(
        "Nothing leads to train as planned.",
        "Narrow the rules so that a good morning passes.",
        proves="days and parts can be trained as planned",
    ),
    "not-proved": _error(
        "A question was too hard for the solver.", "Simplify the conditions of the rules."
    ),
    "always-true": _warning(
        "A condition always holds.", "Delete it, or test what was meant to be tested."
    ),
    "duplicate": _warning("Two rules mean the same.", "Delete one of them."),
    "subsumed": _warning(
        "A rule changes no verdict: another of the same verdict applies wherever it does.",
        "Delete it if its reason and caution are not needed, or narrow the other.",
    ),
    "edge": _warning(
        "No example shows a value at which the rule turns.",
        "Add an example with that value, and all else so that the rule turns on it.",
    ),
}
"""Every kind by its code, which never changes."""


TOTAL = "every morning has a verdict: the most protective that fires, or train as planned"
"""A property of every rule set, by the definition of a verdict."""


def severity_of(finding: Finding, *, to_decide: bool = False) -> Severity:
    """Return the severity of a finding: in a rule file, or in rules that are to decide for
    people."""
    kind = KINDS[finding.code]
    return kind.severity if kind.decides or not to_decide else Severity.ERROR


def errors_among(findings: Iterable[Finding], *, to_decide: bool = False) -> list[Finding]:
    """Select the findings that must be fixed: in a rule file, or before the rules decide for
    people."""
    return [
        finding
        for finding in findings
        if severity_of(finding, to_decide=to_decide) is Severity.ERROR
    ]


_CONDITIONAL = frozenset({"limit-loosened", "limit-not-kept", "concern-loosens", "more-permissive"})
"""Findings looked for in some rule sets only: those that have limits, read concerns, or state where
they are more permissive."""


def proved(
    findings: Iterable[Finding | ReportedFinding],
    *,
    extends: bool,
    applicable: Collection[str] = (),
) -> list[str]:
    """List what is proved of a rule set, over all mornings, by a check that found no more than
    this; ``applicable`` are the codes of the conditional findings it was checked for."""
    found = {finding.code for finding in findings}
    if "not-proved" in found:
        return []
    if "weaker-stop" in found:
        found.add("warning-sign-not-heeded")  # the check then leaves it out
    properties = [
        kind.proves
        for code, kind in KINDS.items()
        if kind.proves
        and code not in found
        and (extends or code != "weaker-stop")
        and (code in applicable or code not in _CONDITIONAL)
    ]
    return [TOTAL, *properties]


@dataclass(frozen=True, slots=True)
class ReportedFinding:
    """A finding with its severity and remedy, as it is stored and shown. ``inputs`` are the facts
    that show it, worse ones last."""

    code: str
    severity: Severity
    file: str
    line: int
    rule: str | None
    message: str
    mend: str
    inputs: tuple[Mapping[str, Any], ...]

    @classmethod
    def of(cls, finding: Finding, *, to_decide: bool = False) -> Self:
        """Describe a finding; ``to_decide`` is that of ``severity_of``."""
        return cls(
            finding.code,
            severity_of(finding, to_decide=to_decide),
            finding.file,
            finding.line,
            finding.rule,
            finding.message,
            KINDS[finding.code].remedy,
            finding.inputs,
        )


def to_sarif(findings: Iterable[Finding], service_version: str) -> dict[str, Any]:
    """Convert findings to one SARIF log of one run, in JSON values."""
    driver = {
        "name": "dawnrule",
        "semanticVersion": service_version,
        "rules": [_descriptor(code, kind) for code, kind in KINDS.items()],
    }
    results = [_result(finding) for finding in findings]
    return {
        "$schema": SCHEMA,
        "version": "2.1.0",
        "runs": [
            {"tool": {"driver": driver}, "columnKind": "unicodeCodePoints", "results": results}
        ],
    }


def _descriptor(code: str, kind: Kind) -> dict[str, Any]:
    return {
        "id": code,
        "shortDescription": {"text": kind.description},
        "help": {"text": kind.remedy},
        "defaultConfiguration": {"level": kind.severity.value},
    }


def _result(finding: Finding) -> dict[str, Any]:
    where: dict[str, Any] = {
        "physicalLocation": {
            "artifactLocation": {"uri": quote(finding.file)},
            "region": {"startLine": finding.line},
        }
    }
    if finding.rule:
        where["logicalLocations"] = [{"name": finding.rule, "kind": "member"}]
    return {
        "ruleId": finding.code,
        "ruleIndex": list(KINDS).index(finding.code),
        "level": severity_of(finding).value,
        "message": {"text": f"{finding.message}. {KINDS[finding.code].remedy}"},
        "locations": [where],
        "properties": {"inputs": [dict(facts) for facts in finding.inputs]},
    }
