"""How does a person at a terminal, or a program, read what was found in rule sets?"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import dawnrule
from dawnrule.cli.counted import counted
from dawnrule.errors import Finding
from dawnrule.rules.findings import KINDS, errors_among, proved, severity_of, to_plain
from dawnrule.rules.plain import in_flow
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.sarif import to_sarif

if TYPE_CHECKING:
    from dawnrule.rules.difference import Difference, VerdictChange


@dataclass(frozen=True, slots=True)
class Checked:
    """A rule file, the rule set in it (None when it cannot be read), and what was found."""

    file: str
    rule_set: RuleSet | None
    findings: Sequence[Finding]

    @property
    def proved(self) -> list[str]:
        """What the check proved."""
        if self.rule_set is None:
            return []
        return proved(self.findings, extends=self.rule_set.extension is not None)


def checks_as_text(checks: Sequence[Checked]) -> str:
    """A paragraph for each file."""
    return "\n".join(line for checked in checks for line in _lines_of_check(checked))


def checks_as_json(checks: Sequence[Checked]) -> str:
    """Everything, by file."""
    plain = [
        {"file": c.file, "findings": [to_plain(f) for f in c.findings], "proved": c.proved}
        for c in checks
    ]
    return json.dumps({"files": plain}, indent=2, ensure_ascii=False)


def checks_as_sarif(checks: Sequence[Checked]) -> str:
    """The findings for a code host."""
    findings = [finding for checked in checks for finding in checked.findings]
    return json.dumps(to_sarif(findings, dawnrule.__version__), indent=2, ensure_ascii=False)


CHECK_FORMATS: Mapping[str, Callable[[Sequence[Checked]], str]] = {
    "text": checks_as_text,
    "json": checks_as_json,
    "sarif": checks_as_sarif,
}


def difference_as_text(before: RuleSet, after: RuleSet, found: Difference) -> str:
    """Rule by rule, and then for each way in which a verdict can change."""
    return "\n".join(
        [
            f"{before.full_name} -> {after.full_name}",
            *_listed("Added", found.added),
            *_listed("Removed", found.removed),
            *_listed("Moved", found.moved),
            *_lines_of_changes(found),
            *map(_line_of_verdict, found.verdicts),
        ]
    )


def _lines_of_check(checked: Checked) -> Iterator[str]:
    for finding in checked.findings:
        yield f"{severity_of(finding).value}: {finding}"
        yield f"    {KINDS[finding.code].mend}"
    yield f"{checked.file}: {_size(checked)}{_count(checked.findings)}"
    if checked.proved:
        yield f"    Proved: {'; '.join(checked.proved)}."


def _size(checked: Checked) -> str:
    if checked.rule_set is None:
        return ""
    rules = checked.rule_set.rules
    examples = sum(len(rule.examples) for rule in rules)
    return f"{counted(len(rules), 'rule')}, {counted(examples, 'example')}, "


def _count(findings: Sequence[Finding]) -> str:
    errors = len(errors_among(findings))
    warnings = len(findings) - errors
    if not findings:
        return "nothing found"
    return f"{counted(errors, 'error')}, {counted(warnings, 'warning')}"


def _listed(word: str, rules: Sequence[str]) -> Iterator[str]:
    if rules:
        yield f"{word}: {', '.join(rules)}"


def _lines_of_changes(found: Difference) -> Iterator[str]:
    for change in found.changed:
        yield f"Changed: {change.rule}"
        for one in change.fields:
            yield f"    {one.field}:"
            yield from (f"      - {line}" for line in _only_in(one.before, one.after))
            yield from (f"      + {line}" for line in _only_in(one.after, one.before))


def _only_in(value: Any, other: Any) -> list[str]:
    """A value on a line; of a list, what the other list does not hold."""
    if isinstance(value, list) and isinstance(other, list):
        return [in_flow(item) for item in value if item not in other]
    return [in_flow(value)]


def _line_of_verdict(change: VerdictChange) -> str:
    way = f"A {change.scope} from {change.before} to {change.after}"
    if change.facts is None:
        return f"{way}: none, proved"
    by = f"{change.rule_before or 'no rule'} -> {change.rule_after or 'no rule'}"
    return f"{way}: {in_flow(change.facts)} ({by})"
