"""``dawnrule rules``: what rule sets there are, what is wrong with one, how two differ."""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import nullcontext
from pathlib import Path

import click
from tabulate import tabulate

from dawnrule.cli.options import format_option, otherwise_option
from dawnrule.cli.rule_set_named import rule_set_named
from dawnrule.cli.rules_listed import rule_sets_listed
from dawnrule.cli.rules_shown import CHECK_FORMATS, Checked, difference_as_text
from dawnrule.errors import RuleSetInvalid
from dawnrule.rules.checking import check_rule_set
from dawnrule.rules.findings import errors_among
from dawnrule.rules.library import RuleSetLibrary, shipped_rule_set_files
from dawnrule.rules.loading import load_rule_set
from dawnrule.store import Store
from dawnrule.vocabulary import FactDictionary
from dawnrule.world import now


@click.group()
def rules() -> None:
    """Rule sets: list them, check one, tell two apart.

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
    says="Text to read, JSON with everything, or SARIF 2.1.0 for a code host.",
)
@click.option("--strict", is_flag=True, help="End with 1 for warnings too, not only for errors.")
@click.pass_context
def check(ctx: click.Context, files: Sequence[Path], form: str, strict: bool) -> None:
    """Look for all that can be wrong with rule files.

    Their form, each rule's own examples by both evaluations, whether the examples show every edge,
    and, proved over every morning that can be: whether each rule can fire and decide, and whether
    worse facts ever buy a more permissive verdict. Everything found is told with its file, line and
    rule, and what mends it. Without a FILE, the rule sets that ship with the service are checked.

    \b
    Example:
      dawnrule rules check our-club/1.0.0.yaml
    """
    checks = [_checked(file) for file in files or shipped_rule_set_files()]
    click.echo(CHECK_FORMATS[form](checks))
    found = [finding for checked in checks for finding in checked.findings]
    ctx.exit(1 if errors_among(found) or (strict and found) else 0)


@rules.command()
@click.argument("before", metavar="A")
@click.argument("after", metavar="B")
@format_option(
    "text",
    "json",
    says="Text to read, or JSON with everything.",
)
@click.option(
    "--db",
    envvar="DAWNRULE_DB",
    show_envvar=True,
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="The database in which A or B was published.",
)
def diff(before: str, after: str, form: str, db: Path | None) -> None:
    """Tell how rule set B differs from A.

    Rule by rule, and in what they decide: for each way in which the verdict on a day or on a part
    can change, the smallest example, or the proof that there is none. A and B are files, or rule
    sets that ship with the service or were published in a database, as name@version.

    \b
    Example:
      dawnrule rules diff baseline@1.0.0 our-club/1.0.0.yaml
    """
    # The solver is large, and only who compares or checks rules needs it.
    from dawnrule.rules.difference import difference, difference_to_plain

    with Store.open(db, must_exist=True) if db else nullcontext() as store:
        one, other = rule_set_named(before, store), rule_set_named(after, store)
    found = difference(one, other, FactDictionary.shipped())
    if form == "text":
        click.echo(difference_as_text(one, other, found))
    else:
        names = {"before": one.full_name, "after": other.full_name}
        plain = {**names, **difference_to_plain(found)}
        click.echo(json.dumps(plain, indent=2, ensure_ascii=False))


@rules.command("list")
@click.option(
    "--db",
    envvar="DAWNRULE_DB",
    show_envvar=True,
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A database: also what was published in it, and what decides there.",
)
@otherwise_option
def list_(db: Path | None, otherwise: str) -> None:
    """List the rule sets that ship with the service.

    With a database, those that were published in it as well, with which decides now and since
    when, and which runs in the shadow.

    \b
    Example:
      dawnrule rules list --db squad.db
    """
    if db is None:
        rows = [(r.full_name, len(r.rules), r.digest) for r in RuleSetLibrary.shipped().all()]
        click.echo(tabulate(rows, headers=("Rule set", "Rules", "Digest")))
        return
    with Store.open(db, must_exist=True) as store:
        click.echo(rule_sets_listed(store, otherwise, now()))


def _checked(file: Path) -> Checked:
    try:
        rule_set = load_rule_set(file, shown_as=str(file))
    except RuleSetInvalid as invalid:
        return Checked(str(file), None, invalid.findings)
    return Checked(str(file), rule_set, check_rule_set(rule_set, FactDictionary.shipped()))
