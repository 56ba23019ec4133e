"""``dawnrule rules``: list rule sets, check rule files, compare two rule sets."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path

import click
from tabulate import tabulate

import dawnrule
from dawnrule.cli.lazy import Elsewhere, LazyGroup
from dawnrule.cli.options import (
    count_of,
    default_rule_set_option,
    format_option,
    published_in_option,
    rule_set_named,
)
from dawnrule.cli.publishing import rule_sets_table
from dawnrule.clock import now
from dawnrule.errors import Finding, RuleSetInvalid
from dawnrule.model import FactDictionary
from dawnrule.model.serialization import to_json
from dawnrule.rules.analysis.applicability import applicable_codes
from dawnrule.rules.analysis.check import check_rule_set
from dawnrule.rules.analysis.diff import Difference, VerdictChange, lines_only_in
from dawnrule.rules.analysis.diff import diff as diff_rule_sets
from dawnrule.rules.analysis.findings import (
    KINDS,
    ReportedFinding,
    errors_among,
    proved,
    severity_of,
    to_sarif,
)
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.registry import RuleSetLibrary, bundled_rule_set_files
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.serialization import in_flow
from dawnrule.store import Store


@dataclass(frozen=True, slots=True)
class Checked:
    """A rule file, its rule set (None when it cannot be read), and the findings."""

    file: str
    rule_set: RuleSet | None
    findings: Sequence[Finding]

    @property
    def proved(self) -> list[str]:
        """Return what the check proved."""
        if self.rule_set is None:
            return []
        applicable = applicable_codes(self.rule_set, FactDictionary.bundled())
        extends = self.rule_set.extension is not None
        return proved(self.findings, extends=extends, applicable=applicable)


def checks_as_text(checks: Sequence[Checked]) -> str:
    """Write a paragraph for each file."""
    return "\n".join(line for checked in checks for line in _lines_of_check(checked))


def checks_as_json(checks: Sequence[Checked]) -> str:
    """Write everything, by file."""
    plain = [
        {
            "file": checked.file,
            "findings": [to_json(ReportedFinding.of(found)) for found in checked.findings],
            "proved": checked.proved,
        }
        for checked in checks
    ]
    return json.dumps({"files": plain}, indent=2, ensure_ascii=False)


def checks_as_sarif(checks: Sequence[Checked]) -> str:
    """Write the findings for a code host."""
    findings = [finding for checked in checks for finding in checked.findings]
    return json.dumps(to_sarif(findings, dawnrule.__version__), indent=2, ensure_ascii=False)


CHECK_FORMATS: Mapping[str, Callable[[Sequence[Checked]], str]] = {
    "text": checks_as_text,
    "json": checks_as_json,
    "sarif": checks_as_sarif,
}


def difference_as_text(before: RuleSet, after: RuleSet, found: Difference) -> str:
    """Describe the changed rules, and then each way in which a verdict can change."""
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
        yield f"    {KINDS[finding.code].remedy}"
    yield f"{checked.file}: {_size(checked)}{_count(checked.findings)}"
    if checked.proved:
        yield f"    Proved: {'; '.join(checked.proved)}."


def _size(checked: Checked) -> str:
    if checked.rule_set is None:
        return ""
    rules = checked.rule_set.rules
    examples = sum(len(rule.examples) for rule in rules)
    return f"{count_of(len(rules), 'rule')}, {count_of(examples, 'example')}, "


def _count(findings: Sequence[Finding]) -> str:
    errors = len(errors_among(findings))
    warnings = len(findings) - errors
    if not findings:
        return "nothing found"
    return f"{count_of(errors, 'error')}, {count_of(warnings, 'warning')}"


def _listed(word: str, rules: Sequence[str]) -> Iterator[str]:
    if rules:
        yield f"{word}: {', '.join(rules)}"


def _lines_of_changes(found: Difference) -> Iterator[str]:
    for change in found.changed:
        yield f"Changed: {change.rule}"
        for one in change.fields:
            yield f"    {one.field}:"
            before = lines_only_in(one.field, one.before, one.after)
            after = lines_only_in(one.field, one.after, one.before)
            yield from (f"      - {line}" for line in before)
            yield from (f"      + {line}" for line in after)


def _line_of_verdict(change: VerdictChange) -> str:
    way = f"A {change.scope} from {change.before} to {change.after}"
    if change.facts is None:
        return f"{way}: none, proved"
    by = f"{change.rule_before or 'no rule'} -> {change.rule_after or 'no rule'}"
    return f"{way}: {in_flow(change.facts)} ({by})"


@click.group(
    cls=LazyGroup,
    elsewhere={
        "activate": Elsewhere("publishing", "Let a rule set decide, for all or for some athletes."),
        "publish": Elsewhere(
            "publishing",
            "Check a rule file and publish it; it decides nothing until it is activated.",
        ),
        "rollback": Elsewhere(
            "publishing", "Take back the newest activation, whether its date has come or not."
        ),
        "scorecard": Elsewhere(
            "statistics", "Show how often each rule applied and decided, and what happened next."
        ),
        "shadow": Elsewhere(
            "publishing", "Run a rule set in the shadow, or show what it has decided there."
        ),
        "sql": Elsewhere("query", "Print a rule set as a query for your own warehouse."),
        "verify": Elsewhere(
            "statistics", "Prove on stored mornings that replays decide as the engine does."
        ),
    },
)
def rules() -> None:
    """List, check, compare, try out and publish rule sets.

    \b
    Example:
      dawnrule rules check our-club/1.0.0.yaml
    """


@rules.command()
@click.argument(
    "files",
    nargs=-1,
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="[FILE]...",
)
@format_option(
    *CHECK_FORMATS,
    help_text="Text to read, JSON with everything, or SARIF 2.1.0 for a code host.",
)
@click.option("--strict", is_flag=True, help="Exit with 1 for warnings too, not only for errors.")
@click.pass_context
def check(ctx: click.Context, files: Sequence[Path], form: str, strict: bool) -> None:
    """Check rule files for mistakes.

    Checks the form, each rule's own examples under both evaluations, and whether the examples cover
    every limit; and proves for all possible mornings whether each rule can apply and decide, and
    whether worse facts never lead to a more permissive verdict. Each finding names its file, line
    and rule, and a remedy. Without a FILE, the bundled rule sets are checked.

    \b
    Example:
      dawnrule rules check our-club/1.0.0.yaml
    """
    checks = [_checked(file) for file in files or bundled_rule_set_files()]
    click.echo(CHECK_FORMATS[form](checks))
    found = [finding for checked in checks for finding in checked.findings]
    ctx.exit(1 if errors_among(found) or (strict and found) else 0)


@rules.command()
@click.argument("before", metavar="A")
@click.argument("after", metavar="B")
@format_option(
    "text",
    "json",
    help_text="Text to read, or JSON with everything.",
)
@published_in_option("The database where A or B was published.")
def diff(before: str, after: str, form: str, db: Path | None) -> None:
    """Show how rule set B differs from A.

    Lists the changed rules, and what they decide: for each way in which the verdict on a day or a
    part can change, the smallest example, or the proof that there is none. A and B are files, or
    bundled or published rule sets as name@version.

    \b
    Example:
      dawnrule rules diff baseline@1.0.0 our-club/1.0.0.yaml
    """
    with Store.open(db, must_exist=True) if db else nullcontext() as store:
        one, other = rule_set_named(before, store), rule_set_named(after, store)
    found = diff_rule_sets(one, other, FactDictionary.bundled())
    if form == "text":
        click.echo(difference_as_text(one, other, found))
    else:
        names = {"before": one.full_name, "after": other.full_name}
        plain = {**names, **to_json(found)}
        click.echo(json.dumps(plain, indent=2, ensure_ascii=False))


@rules.command("list")
@published_in_option("A database: also list what is published and active there.")
@default_rule_set_option
def list_(db: Path | None, default_rule_set: str) -> None:
    """List the bundled rule sets.

    With a database, also list those published in it, which one decides now and since when, and
    which one runs in the shadow.

    \b
    Example:
      dawnrule rules list --db squad.db
    """
    if db is None:
        rows = [(r.full_name, len(r.rules), r.digest) for r in RuleSetLibrary.bundled().all()]
        click.echo(tabulate(rows, headers=("Rule set", "Rules", "Digest")))
        return
    with Store.open(db, must_exist=True) as store:
        click.echo(rule_sets_table(store, default_rule_set, now()))


def _checked(file: Path) -> Checked:
    try:
        rule_set = load_rule_set(file, shown_as=str(file))
    except RuleSetInvalid as invalid:
        return Checked(str(file), None, invalid.findings)
    return Checked(str(file), rule_set, check_rule_set(rule_set, FactDictionary.bundled()))
