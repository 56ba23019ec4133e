"""``dawnrule rules scorecard`` and ``verify``: what stored mornings tell of a rule set."""

from __future__ import annotations

from contextlib import ExitStack
from datetime import date
from pathlib import Path

import click

from dawnrule.advice.agreement import compare
from dawnrule.advice.archive import Archive
from dawnrule.advice.scorecard import scorecard as scorecard_of
from dawnrule.cli.counted import counted
from dawnrule.cli.options import db_option, format_option
from dawnrule.cli.past import bar, dates_options
from dawnrule.cli.rule_set_named import rule_set_named
from dawnrule.cli.scorecard_shown import SCORECARD_FORMATS
from dawnrule.rules.decider import Decider
from dawnrule.store import Store
from dawnrule.vocabulary import FactDictionary
from dawnrule.world import now


@click.command()
@click.argument("named", metavar="NAME@VERSION")
@dates_options
@db_option
@format_option(
    *SCORECARD_FORMATS,
    says="A table to read, CSV with a row for each share, or JSON with everything.",
)
def scorecard(named: str, first: date | None, last: date | None, db: Path, form: str) -> None:
    """Tell how often each rule fired and decided, and what happened afterwards.

    Of the mornings on which advice was given by this rule set: whether there was training, whether
    the output held, and whether soreness had risen the next morning. Each share comes with its
    count and its 95 % interval (Wilson); with fewer than 10 mornings none is given. What followed
    has many causes: read a rule's shares beside those of all mornings.

    \b
    Example:
      dawnrule rules scorecard baseline@1.0.0 --from 2026-01-01 --db squad.db
    """
    with Store.open(db, must_exist=True) as store, ExitStack() as shown:
        rule_set = rule_set_named(named, store)
        mornings = Archive(store).mornings(bar("Reading the ledger", shown))
        card = scorecard_of(store, mornings, rule_set, first, last, now())
    click.echo(SCORECARD_FORMATS[form](card), nl=form != "csv")


@click.command()
@click.argument("named", metavar="FILE|NAME@VERSION")
@dates_options
@db_option
@click.pass_context
def verify(ctx: click.Context, named: str, first: date | None, last: date | None, db: Path) -> None:
    """Prove on stored mornings that replays decide as the engine does.

    Replays are decided by columns, not morning by morning. This decides each stored morning both
    ways, by columns and by the engine with its evaluator, and compares the verdicts, the rules
    that decide, and all that fire.

    \b
    Example:
      dawnrule rules verify baseline@1.2.0 --db squad.db
    """
    with Store.open(db, must_exist=True) as store, ExitStack() as shown:
        rule_set = rule_set_named(named, store)
        mornings = Archive(store).mornings(bar("Reading the ledger", shown))
        decider = Decider(rule_set, FactDictionary.shipped())
        shown.callback(decider.close)
        found = compare(mornings.between(first, last), rule_set, decider, bar("Deciding", shown))
    for one in found.differences:
        click.echo(f"{one.athlete_id} {one.date}: engine {one.by_engine}, columns {one.by_columns}")
    different = len(found.differences)
    compared = f"{counted(found.mornings, 'morning')}, {counted(found.decisions, 'decision')}"
    click.echo(f"{compared}, {different} different")
    ctx.exit(1 if different else 0)
