"""``dawnrule replay``: past mornings decided again under another rule set."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, nullcontext
from dataclasses import astuple, fields
from datetime import date
from pathlib import Path
from typing import TypeAlias

import click
from tabulate import tabulate

from dawnrule.analytics.archive import Archive
from dawnrule.analytics.replay import (
    Replayed,
    RuleRow,
    athlete_rows,
    club_rows,
    dates_in_steps,
    rule_rows,
    verdict_rows,
)
from dawnrule.analytics.replay_jobs import (
    Listener,
    ReplayRunner,
    known_replay,
    result_of,
)
from dawnrule.application.archives import read_archives
from dawnrule.cli.archive import mornings_of
from dawnrule.cli.options import (
    archives_option,
    bar,
    count_of,
    dates_asked,
    dates_options,
    format_option,
    names_all_option,
    never_applied,
    optional_db_option,
    rule_set_named,
)
from dawnrule.clock import new_id, now
from dawnrule.model import FactDictionary, Vocabulary
from dawnrule.model.serialization import to_json
from dawnrule.rules.columnar import ChangedMorning, ColumnDecider, MorningTable
from dawnrule.rules.rule_set import RuleSet
from dawnrule.schemas.replay import REPLAY
from dawnrule.store import ReplayState, Store, StoredReplay

Row: TypeAlias = Sequence[object]

_NO_RULE = "-"
_PROTECTED = ("Less protected", "Same", "More protected")


def replay_as_text(replay: StoredReplay, result: Replayed, *, names_all: bool = False) -> str:
    """Summarize in a line, then tabulate verdicts, rules that applied, clubs of archives, athletes
    and changed mornings; the rules that never applied are counted, or named too."""
    mornings, decisions = (
        count_of(result.mornings, "morning"),
        count_of(result.decisions, "decision"),
    )
    head = f"{replay.rule_set}: {mornings}, {decisions}"
    silent = (row.rule for row in rule_rows(result) if row.rule and not _counts(row))
    of_morning = ("Said", "Would say", "Decided by", "Would be decided by", "Parts changed")
    tables = (
        _table(("Said", "Would say", "Days", "Parts"), _verdicts(result)),
        _table(("Rule", "Decided", "Would decide", "Would apply"), _rules(result)),
        never_applied(silent, names_all=names_all),
        _table(("Club", *_PROTECTED), map(astuple, club_rows(result))),
        _table(("Athlete", *_PROTECTED), map(astuple, athlete_rows(result))),
        _table(("Athlete", "Date", *of_morning), map(_changed, result.changed)),
    )
    return "\n\n".join([head, *filter(None, tables)])


def changes_as_csv(replay: StoredReplay, result: Replayed) -> str:
    """Write only the mornings with another outcome (RFC 4180)."""
    names = [field.name for field in fields(ChangedMorning)]
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(names)
    writer.writerows([getattr(one, name) for name in names] for one in result.changed)
    return text.getvalue()


def replay_as_json(replay: StoredReplay, result: Replayed) -> str:
    """Write everything."""
    return json.dumps(REPLAY.dump(replay) | to_json(result), indent=2, ensure_ascii=False)


REPLAY_FORMATS: Mapping[str, Callable[[StoredReplay, Replayed], str]] = {
    "table": replay_as_text,
    "csv": changes_as_csv,
    "json": replay_as_json,
}


def _table(headers: Sequence[str], rows: Iterator[Row]) -> str:
    listed = list(rows)
    return tabulate(listed, headers=headers) if listed else ""


def _verdicts(result: Replayed) -> Iterator[Row]:
    words = Vocabulary.bundled()
    for row in verdict_rows(result):
        yield words.label(row.before), words.label(row.after), row.days, row.parts


def _rules(result: Replayed) -> Iterator[Row]:
    for row in rule_rows(result):
        if _counts(row):
            yield row.rule or _NO_RULE, row.decided_before, row.decided_now, row.fired


def _counts(row: RuleRow) -> bool:
    return any((row.decided_before, row.decided_now, row.fired))


def _changed(one: ChangedMorning) -> Row:
    words = Vocabulary.bundled()
    return (
        one.athlete_id,
        one.date,
        words.label(one.before),
        words.label(one.after),
        one.rule_before or _NO_RULE,
        one.rule_after or _NO_RULE,
        one.parts_changed,
    )


@click.command()
@click.option(
    "--rules",
    "named",
    required=True,
    metavar="FILE|NAME@VERSION",
    help="The rule set to try: a rule file, or a bundled or published one.",
)
@dates_options
@optional_db_option
@archives_option
@click.option(
    "--engine",
    type=click.Choice(["columns", "spark"]),
    default="columns",
    show_default=True,
    help="What decides on archives: this machine, or a Spark cluster.",
)
@click.option("--master", metavar="URL", help="The cluster, like spark://10.0.0.5:7077.")
@format_option(
    *REPLAY_FORMATS,
    help_text="Tables to read, CSV of the mornings with another outcome, or JSON with everything.",
)
@names_all_option
@click.option("--restart", is_flag=True, help="Start over, even if this replay was stopped before.")
@click.pass_context
def replay(
    ctx: click.Context,
    named: str,
    first: date | None,
    last: date | None,
    db: Path | None,
    archives: Sequence[str],
    engine: str,
    master: str | None,
    form: str,
    names_all: bool,
    restart: bool,
) -> None:
    """Decide past mornings again under another rule set.

    Each athlete's latest advice for each date is decided again, on the facts that it was based on;
    other outcomes are counted and listed. No advice changes. Ctrl-C stops with what is done so far,
    and the same command resumes from there.

    The facts come from a columnar copy of the logbook, in a file beside the database, which is
    brought up to date first, or rebuilt if it is missing.

    With --archive, the mornings of archives that were exported are decided instead, as one, without
    those who were erased; athletes are named as CLUB/ATHLETE, and each club is counted. --db is
    then only needed for a rule set that was published in it.
    --engine spark does so on a cluster, by the query that dawnrule rules sql prints; it counts, and
    lists neither athletes nor mornings.

    \b
    Example:
      dawnrule replay --rules baseline@2.0.0 --from 2026-01-01 --db squad.db
    """
    if bool(master) != (engine == "spark") or (master and not archives):
        raise click.UsageError("--engine spark, --master and --archive go together.")
    if archives:
        with Store.open(db, must_exist=True) if db else nullcontext() as named_in:
            rule_set = rule_set_named(named, named_in)
        if master:
            result = _replayed_on_cluster(master, archives, rule_set, first, last)
        else:
            result = _replayed_archives(archives, rule_set, first, last)
        asked = _replay_of_archives(rule_set, first, last, result.mornings)
        _show(asked, result, form, names_all)
        if not result.mornings:
            local = map(Path, _of_this_machine(archives))
            _tell_of_dates(read_archives(local).table, first, last)
        return
    if db is None:
        raise click.UsageError("Give --db or --archive.")
    with Store.open(db, must_exist=True) as store:
        rule_set = rule_set_named(named, store)
        runner = ReplayRunner(store, Archive(store), now)
        replay_id = _pending_replay(runner, rule_set, first, last, restart)
        _run(runner, replay_id, rule_set)
        replayed = store.read(lambda transaction: known_replay(transaction, replay_id))
        result = store.read(lambda transaction: result_of(transaction, replay_id))
        _show(replayed, result, form, names_all)
        if replayed.state is ReplayState.DONE and not result.mornings:
            _tell_of_dates(runner.archive.mornings(), first, last)
    if replayed.state is not ReplayState.DONE:
        click.echo(f"Stopped; done up to {replayed.done_through or 'nothing yet'}.", err=True)
        ctx.exit(1)


def _replayed_archives(
    archives: Sequence[str], rule_set: RuleSet, first: date | None, last: date | None
) -> Replayed:
    """Decide in columns, with a progress bar."""
    table = mornings_of(archives).between(first, last)
    decider = ColumnDecider(rule_set, FactDictionary.bundled())
    steps = list(dates_in_steps(table))
    done, of = 0, sum(dates.mornings for dates in steps)
    results = []
    with ExitStack() as stack:
        show = bar("Deciding", stack)
        for dates in steps:
            decided = decider.decide(table.between(dates.first, dates.last))
            results.append(Replayed.of(decided))
            done += dates.mornings
            show(done, of)
    return Replayed.sum(results)


def _replayed_on_cluster(
    master: str,
    archives: Sequence[str],
    rule_set: RuleSet,
    first: date | None,
    last: date | None,
) -> Replayed:
    """Decide on a cluster. Paths of this machine are looked at first; addresses are not."""
    from dawnrule.analytics.cluster import replayed_on_cluster

    mornings_of(_of_this_machine(archives))
    if addresses := [path for path in archives if "://" in path]:
        click.echo(f"What is there is not checked: {', '.join(addresses)}", err=True)
    return replayed_on_cluster(master, archives, rule_set, first, last)


def _show(replay: StoredReplay, result: Replayed, form: str, names_all: bool) -> None:
    if form == "table":
        click.echo(replay_as_text(replay, result, names_all=names_all))
    else:
        click.echo(REPLAY_FORMATS[form](replay, result), nl=form != "csv")


def _of_this_machine(archives: Sequence[str]) -> list[str]:
    return [path for path in archives if "://" not in path]


def _tell_of_dates(table: MorningTable, first: date | None, last: date | None) -> None:
    """Say on standard error that there are no mornings on some dates, and on which there are."""
    dates = [day for day, _, _ in table.sizes()]
    there_are = f"; there are from {dates[0]} to {dates[-1]}" if dates else ""
    click.echo(f"There are no mornings {dates_asked(first, last)}{there_are}.", err=True)


def _replay_of_archives(
    rule_set: RuleSet, first: date | None, last: date | None, mornings: int
) -> StoredReplay:
    """Describe a replay that is kept nowhere and is done."""
    at, done = now(), ReplayState.DONE
    return StoredReplay(
        new_id(),
        rule_set.full_name,
        rule_set.digest,
        first,
        last,
        at,
        at,
        state=done,
        mornings=mornings,
        mornings_done=mornings,
    )


def _pending_replay(
    runner: ReplayRunner, rule_set: RuleSet, first: date | None, last: date | None, restart: bool
) -> str:
    """Return the id of a replay to run: one that was stopped, or a new one."""
    stopped = None if restart else runner.requeue_unfinished(rule_set, first, last)
    if stopped is not None:
        done = stopped.done_through or "nothing yet"
        click.echo(f"Resuming a replay that was stopped; done up to {done}.", err=True)
        return stopped.id
    replay_id = new_id()
    runner.request(replay_id, rule_set, first, last)
    return replay_id


def _run(runner: ReplayRunner, replay_id: str, rule_set: RuleSet) -> None:
    """Run a replay with progress bars, until it is done or Ctrl-C stops it."""
    with ExitStack() as stack:
        listener = Listener(bar("Reading the logbook", stack), bar("Deciding", stack))
        try:
            runner.run(replay_id, rule_set, listener)
        except KeyboardInterrupt:
            return
