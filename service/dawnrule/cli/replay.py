"""``dawnrule replay``: past mornings decided again under another rule set."""

from __future__ import annotations

from contextlib import ExitStack
from datetime import date
from pathlib import Path

import click

from dawnrule.advice.archive import Archive
from dawnrule.advice.replays import Listener, ReplayRunner, known_replay, result_of
from dawnrule.cli.options import db_option, format_option
from dawnrule.cli.past import bar, dates_options
from dawnrule.cli.replay_shown import REPLAY_FORMATS
from dawnrule.cli.rule_set_named import rule_set_named
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import ReplayState, Store
from dawnrule.world import new_id, now


@click.command()
@click.option(
    "--rules",
    "named",
    required=True,
    metavar="FILE|NAME@VERSION",
    help="The rule set to try: a rule file, or one that ships or was published.",
)
@dates_options
@db_option
@format_option(
    *REPLAY_FORMATS,
    says="Tables to read, the mornings that come out otherwise as CSV, or JSON with everything.",
)
@click.option("--restart", is_flag=True, help="Begin anew, even if this replay was stopped before.")
@click.pass_context
def replay(
    ctx: click.Context,
    named: str,
    first: date | None,
    last: date | None,
    db: Path,
    form: str,
    restart: bool,
) -> None:
    """Decide past mornings again under another rule set.

    Each athlete's latest advice for each date is decided again, on the facts that it was given
    on; what comes out otherwise is counted and listed. No advice is changed. Ctrl-C stops with
    what is done by then, and the same command again goes on from there.

    The facts are read from a copy of the ledger, kept in columns in a file beside the database;
    it is brought up to date first, and made anew when it is missing.

    \b
    Example:
      dawnrule replay --rules baseline@1.2.0 --from 2026-01-01 --db squad.db
    """
    with Store.open(db, must_exist=True) as store:
        rule_set = rule_set_named(named, store)
        runner = ReplayRunner(store, Archive(store), now)
        replay_id = _asked(runner, rule_set, first, last, restart)
        _run(runner, replay_id, rule_set)
        replayed = store.read(lambda books: known_replay(books, replay_id))
        result = store.read(lambda books: result_of(books, replay_id))
    click.echo(REPLAY_FORMATS[form](replayed, result), nl=form != "csv")
    if replayed.state is not ReplayState.DONE:
        click.echo(f"Stopped; done up to {replayed.done_through or 'nothing yet'}.", err=True)
        ctx.exit(1)


def _asked(
    runner: ReplayRunner, rule_set: RuleSet, first: date | None, last: date | None, restart: bool
) -> str:
    """The id of a replay that waits to be run: one that was stopped, or a new one."""
    stopped = None if restart else runner.ask_again_for(rule_set, first, last)
    if stopped is not None:
        done = stopped.done_through or "nothing yet"
        click.echo(f"Going on with a replay that was stopped; done up to {done}.", err=True)
        return stopped.id
    replay_id = new_id()
    runner.ask(replay_id, rule_set, first, last)
    return replay_id


def _run(runner: ReplayRunner, replay_id: str, rule_set: RuleSet) -> None:
    """Run a replay with bars, until it is done or Ctrl-C stops it."""
    with ExitStack() as shown:
        listener = Listener(bar("Reading the ledger", shown), bar("Deciding", shown))
        try:
            runner.run(replay_id, rule_set, listener)
        except KeyboardInterrupt:
            return
