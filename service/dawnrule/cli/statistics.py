"""``dawnrule rules scorecard`` and ``verify``: a rule set measured on stored mornings."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from datetime import date
from pathlib import Path

import click
from tabulate import tabulate

from dawnrule.analytics.archive import Archive
from dawnrule.analytics.cross_check import compare
from dawnrule.analytics.scorecard import Score, Scorecard, Share, scorecard_of_archives
from dawnrule.analytics.scorecard import scorecard as scorecard_of
from dawnrule.cli.archive import mornings_of
from dawnrule.cli.options import (
    archives_option,
    bar,
    count_of,
    dates_asked,
    dates_options,
    db_option,
    format_option,
    library_of,
    names_all_option,
    never_applied,
    optional_db_option,
    rule_set_named,
)
from dawnrule.clock import now
from dawnrule.errors import NotFound
from dawnrule.model import FactDictionary
from dawnrule.rules.columnar import MorningTable
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.schemas.replay import SCORECARD
from dawnrule.store import Store

_ALL = "all mornings"
_HEADERS = ("Rule", "Applied", "Decided", "Trained", "Output held", "Sorer next day")
_OUTCOMES = (("session", "done"), ("output", "held"), ("soreness_next_day", "rose"))
_MOST_DECIDERS = 5  # that are named where there is nothing to score
_DIGEST_SHOWN = len("sha256:") + 8
_CSV_HEADERS = ("rule", "share_of", "count", "of", "share", "low", "high", "why_none")

_UNKNOWN = {
    "session": "Trained is not known of any morning: no session was logged by then, or the date is "
    "not over.",
    "output": "Output held is not known of any morning: no session of these dates was logged that "
    "says how its output was.",
    "soreness_next_day": "Sorer next day is not known of any morning: no muscle group was rated on "
    "one and on the next.",
}


def scorecard_as_text(card: Scorecard, *, names_all: bool = False) -> str:
    """Tabulate all mornings and each rule that applied; those that never did are counted, or named
    too."""
    mornings = count_of(card.all_mornings.mornings, "morning")
    head = f"{card.rule_set.full_name}: {mornings}"
    if card.first is None:
        return head
    rows = [(_ALL, "", "", *_outcome_cells(card.all_mornings))]
    rows += [
        (rule.rule, _share(rule.fired), _share(rule.decided), *_outcome_cells(rule.after))
        for rule in card.rules
        if rule.fired.count
    ]
    silent = [rule.rule for rule in card.rules if not rule.fired.count]
    table = tabulate(rows, headers=_HEADERS, disable_numparse=True)
    unknown = "\n".join(
        why
        for outcome, why in _UNKNOWN.items()
        if not any(share.of for share in card.all_mornings.outcomes[outcome].values())
    )
    silent_rules = never_applied(silent, names_all=names_all)
    return "\n\n".join(
        filter(None, (f"{head}, {card.first} to {card.last}", table, unknown, silent_rules))
    )


def scorecard_as_csv(card: Scorecard) -> str:
    """Write a row for each share, of all mornings and of each rule (RFC 4180)."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(_CSV_HEADERS)
    for rule, what, share in _shares(card):
        writer.writerow(
            (rule, what, share.count, share.of, share.share, share.low, share.high, share.why_none)
        )
    return text.getvalue()


def scorecard_as_json(card: Scorecard) -> str:
    """Write everything."""
    return json.dumps(SCORECARD.dump(card), indent=2, ensure_ascii=False)


SCORECARD_FORMATS: Mapping[str, Callable[[Scorecard], str]] = {
    "table": scorecard_as_text,
    "csv": scorecard_as_csv,
    "json": scorecard_as_json,
}


def _shares(card: Scorecard) -> Iterator[tuple[str, str, Share]]:
    for what, share in _after(card.all_mornings):
        yield _ALL, what, share
    for rule in card.rules:
        yield rule.rule, "fired", rule.fired
        yield rule.rule, "decided", rule.decided
        for what, share in _after(rule.after):
            yield rule.rule, what, share


def _after(score: Score) -> Iterator[tuple[str, Share]]:
    for outcome, shares in score.outcomes.items():
        for what, share in shares.items():
            yield f"{outcome} {what}", share


def _outcome_cells(score: Score) -> list[str]:
    return [_share(score.outcomes[outcome][what]) for outcome, what in _OUTCOMES]


def _share(share: Share) -> str:
    """Write ``7 of 12: 58 % (32-81)``; without the share where there are too few mornings to claim
    one."""
    counts = f"{share.count} of {share.of}"
    if share.share is None or share.low is None or share.high is None:
        return counts
    return f"{counts}: {share.share:.0%} ({share.low:.0%} to {share.high:.0%})"


@click.command()
@click.argument("named", metavar="FILE|NAME@VERSION")
@dates_options
@optional_db_option
@archives_option
@format_option(
    *SCORECARD_FORMATS,
    help_text="A table to read, CSV with a row for each share, or JSON with everything.",
)
@names_all_option
def scorecard(
    named: str,
    first: date | None,
    last: date | None,
    db: Path | None,
    archives: Sequence[str],
    form: str,
    names_all: bool,
) -> None:
    """Show how often each rule applied and decided, and what happened next.

    For the mornings advised by this rule set: whether there was training, whether the output held,
    and whether soreness had risen the next morning. Each share comes with its count and its 95 %
    interval (Wilson), and is omitted below 10 mornings. Outcomes have many causes: compare a rule's
    shares with those of all mornings.

    With --archive, the mornings are those of archives that were exported, as one, with what had
    followed until then; --db is then only needed for a rule set that was published in it. Without
    that database, give the rule set's FILE.

    \b
    Example:
      dawnrule rules scorecard baseline@1.0.0 --from 2026-01-01 --db squad.db
    """
    with ExitStack() as stack:
        store = stack.enter_context(Store.open(db, must_exist=True)) if db else None
        rule_set = rule_set_named(named, store)
        if archives:
            table = mornings_of(archives)
            card = scorecard_of_archives(table, rule_set, first, last)
        elif store is None:
            raise click.UsageError("Give --db or --archive.")
        else:
            with ExitStack() as shown:
                table = Archive(store).mornings(bar("Reading the logbook", shown))
            card = scorecard_of(store, table, rule_set, first, last, now())
        if form == "table":
            click.echo(scorecard_as_text(card, names_all=names_all))
        else:
            click.echo(SCORECARD_FORMATS[form](card), nl=form != "csv")
        if card.first is None:
            dates = dates_asked(first, last)
            why = _why_nothing(table, rule_set, named, library_of(store), dates)
            click.echo(why, err=True)


def _why_nothing(
    table: MorningTable, rule_set: RuleSet, named: str, library: RuleSetLibrary, dates: str
) -> str:
    """Say that a rule set, as it was ``named``, gave no advice on some dates, and when it did or
    which ones did."""
    deciders = table.deciders()
    own = [f"from {one[2]} to {one[3]}" for one in deciders if one[0] == rule_set.digest]
    if own:
        return f"{rule_set.full_name} gave no advice {dates}; it did {own[0]}."
    if not deciders:
        return "There are no mornings yet."
    others = [
        f"{_name_of(digest, library, rule_set.full_name)} ({mornings}, {first} to {last})"
        for digest, number, first, last in deciders[:_MOST_DECIDERS]
        for mornings in [count_of(number, "morning")]
    ]
    if more := len(deciders[_MOST_DECIDERS:]):
        others.append(f"{more} more")
    return (
        f"{rule_set.full_name} gave no advice here, so there is nothing to score. Advice was given "
        f"by {', '.join(others)}. What these rules would have decided: "
        f"dawnrule replay --rules {named}."
    )


def _name_of(digest: str, library: RuleSetLibrary, other: str) -> str:
    """Name a rule set, with the beginning of its digest where its name does not tell it apart from
    an ``other``."""
    begins = f"{digest[:_DIGEST_SHOWN]}…"
    try:
        name = library.by_digest(digest).full_name
    except NotFound:
        return f"one that is not known here, {begins}"
    return f"another {name}, {begins}" if name == other else name


@click.command()
@click.argument("named", metavar="FILE|NAME@VERSION")
@dates_options
@db_option
@click.pass_context
def verify(ctx: click.Context, named: str, first: date | None, last: date | None, db: Path) -> None:
    """Prove on stored mornings that replays decide as the engine does.

    Replays decide in columns, not morning by morning. This command decides each stored morning both
    ways, in columns and by the engine with its evaluator, and compares the verdicts, the deciding
    rules, and all rules that apply.

    \b
    Example:
      dawnrule rules verify baseline@2.0.0 --db squad.db
    """
    with Store.open(db, must_exist=True) as store, ExitStack() as stack:
        rule_set = rule_set_named(named, store)
        mornings = Archive(store).mornings(bar("Reading the logbook", stack))
        decider = Decider(rule_set, FactDictionary.bundled())
        stack.callback(decider.close)
        found = compare(mornings.between(first, last), rule_set, decider, bar("Deciding", stack))
    for one in found.differences:
        click.echo(f"{one.athlete_id} {one.date}: engine {one.by_engine}, columns {one.by_columns}")
    different = len(found.differences)
    compared = f"{count_of(found.mornings, 'morning')}, {count_of(found.decisions, 'decision')}"
    click.echo(f"{compared}, {different} different")
    ctx.exit(1 if different else 0)
