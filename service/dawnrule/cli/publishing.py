"""``dawnrule rules publish``, ``activate``, ``rollback`` and ``shadow``: which rule set decides."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import click
from tabulate import tabulate

from dawnrule.advice.advisor import Advisor
from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.check_ins import CheckIns
from dawnrule.application.rule_sets import (
    Compared,
    Publisher,
    Redecision,
    RedecisionCounts,
    RosterEntry,
    roster,
)
from dawnrule.cli.options import date_option, db_option, default_rule_set_option
from dawnrule.clock import new_id, now
from dawnrule.errors import MalformedInput, RuleSetInvalid
from dawnrule.model import Vocabulary
from dawnrule.rules.analysis.findings import KINDS, severity_of
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.settings import name_and_version
from dawnrule.store import Activation, Store


def rule_sets_table(store: Store, default: str, now: datetime) -> str:
    """Tabulate bundled and published rule sets. ``default``, as name@version, decides where none
    was activated. Raises ``NotFound`` for an unknown one."""
    library = RuleSetLibrary.bundled().with_published(StoredTexts(store))
    decides = library.get(*name_and_version(default))
    entries = store.read(lambda transaction: roster(transaction, library, decides, now.date()))
    rows = [
        (one.full_name, _rule_count(library, one), "; ".join(_roles(one)) or "-", one.digest)
        for one in entries
    ]
    headers = ("Rule set", "Rules", "Decides", "Digest")
    return tabulate(rows, headers=headers, disable_numparse=True)


def _rule_count(library: RuleSetLibrary, entry: RosterEntry) -> str:
    rule_set = library.usable(entry.digest)
    return str(len(rule_set.rules)) if rule_set else "cannot be used"


def _roles(entry: RosterEntry) -> Iterator[str]:
    """Say what a rule set decides now, or will."""
    if entry.active:
        yield f"for all, {_since(entry.activation)}"
    if entry.athletes:
        yield f"for {_athletes(len(entry.athletes))} of their own"
    for one in entry.ahead:
        yield f"for all, from {one.from_date} on"
    if entry.shadow_since:
        yield f"in the shadow, since {_minute(entry.shadow_since)}"


def _since(activation: Activation | None) -> str:
    if activation is None:
        return "as none was activated"
    at, first = activation.at, activation.from_date
    return f"since {first if first and first > at.date() else _minute(at)}"


def _minute(at: datetime) -> str:
    return at.isoformat(sep=" ", timespec="minutes")


_TERMINAL = None
"""No key was used: whoever can open the database may do this."""

_athletes_option = click.option(
    "--athlete",
    "athlete_ids",
    multiple=True,
    metavar="ID",
    help="For this athlete only; repeat for several. For all by default.",
)

_again_option = click.option(
    "--again",
    is_flag=True,
    help="Decide today's advice again, at once, where other rules gave it.",
)


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@db_option
def publish(file: Path, db: Path) -> None:
    """Check a rule file and publish it; it decides nothing until it is activated.

    It is tried in a separate process first, and refused if there are errors among the findings.
    What is published under a name and version never changes.

    \b
    Example:
      dawnrule rules publish our-club/1.0.0.yaml --db squad.db
    """
    with _publisher(db) as publisher:
        try:
            published = publisher.publish(_text(file), str(file), _TERMINAL)
        except RuleSetInvalid as invalid:
            _print_findings(invalid)
            raise click.ClickException(f"{file} is not published.") from invalid
    for warning in published.findings:
        click.echo(f"warning: {warning.file}:{warning.line}: {warning.message}", err=True)
    done = "published" if published.is_new else "was published before"
    click.echo(f"{published.rule_set.full_name} {done}: {published.rule_set.digest}")


@click.command()
@click.argument("named", metavar="NAME@VERSION")
@date_option("--from", "from_date", "The first date that it decides; every date by default.")
@_athletes_option
@_again_option
@default_rule_set_option
@db_option
def activate(
    named: str,
    from_date: date | None,
    athlete_ids: tuple[str, ...],
    again: bool,
    default_rule_set: str,
    db: Path,
) -> None:
    """Let a rule set decide, for all or for some athletes.

    The newest activation whose date has come applies; an athlete's own takes precedence over one
    for all. Running servers switch with the next check-in. Given advice stays until today's
    check-in is sent again. A rule set that lets somebody with a warning sign train is refused.

    \b
    Example:
      dawnrule rules activate our-club@1.0.0 --from 2026-04-01 --db squad.db
    """
    whom = athlete_ids or None
    with _publisher(db) as publisher:
        rule_set = _named(publisher, named)
        try:
            publisher.activate(rule_set, from_date, whom, _TERMINAL)
        except RuleSetInvalid as invalid:
            _print_findings(invalid)
            raise click.ClickException(f"{rule_set.full_name} is not activated.") from invalid
        when = f"from {from_date} on" if from_date else "on every date"
        click.echo(f"{rule_set.full_name} holds for {', '.join(athlete_ids) or 'all'} {when}.")
        _print_redecisions(_redecide(publisher, default_rule_set, whom, again))


@click.command()
@_athletes_option
@_again_option
@default_rule_set_option
@db_option
def rollback(athlete_ids: tuple[str, ...], again: bool, default_rule_set: str, db: Path) -> None:
    """Take back the newest activation, whether its date has come or not.

    The activation before it applies again, at once. Given advice stays until today's check-in is
    sent again.

    \b
    Example:
      dawnrule rules rollback --db squad.db
    """
    with _publisher(db) as publisher:
        publisher.roll_back(athlete_ids or None, _TERMINAL)
        click.echo(f"The newest activation for {', '.join(athlete_ids) or 'all'} is taken back.")
        _print_redecisions(_redecide(publisher, default_rule_set, athlete_ids or None, again))


@click.command()
@click.argument("named", metavar="[NAME@VERSION]", required=False)
@click.option("--off", is_flag=True, help="Run no rule set in the shadow.")
@db_option
def shadow(named: str | None, off: bool, db: Path) -> None:
    """Run a rule set in the shadow, or show what it has decided there.

    It decides every morning alongside the active one, unseen by athletes. Without a rule set,
    compare the verdicts of the one in the shadow with those that were given.

    \b
    Example:
      dawnrule rules shadow our-club@1.1.0 --db squad.db
    """
    if off and named:
        raise click.UsageError("--off takes no rule set.")
    with _publisher(db) as publisher:
        if named or off:
            publisher.run_in_shadow(_named(publisher, named) if named else None, _TERMINAL)
            click.echo(f"{named or 'No rule set'} runs in the shadow.")
        else:
            click.echo(_comparison(publisher.compared()))


@contextmanager
def _publisher(db: Path) -> Iterator[Publisher]:
    with Store.open(db, must_exist=True) as store:
        library = RuleSetLibrary.bundled().with_published(StoredTexts(store))
        yield Publisher(store, library, now)


def _named(publisher: Publisher, named: str) -> RuleSet:
    return publisher.library.get(*name_and_version(named))


def _print_findings(invalid: RuleSetInvalid) -> None:
    for finding in invalid.findings:
        click.echo(f"{severity_of(finding, to_decide=True).value}: {finding}")
        click.echo(f"    {KINDS[finding.code].remedy}")


def _redecide(
    publisher: Publisher, default_rule_set: str, athlete_ids: Sequence[str] | None, again: bool
) -> RedecisionCounts:
    advisor = replace(Advisor.bundled(), library=publisher.library)
    decides = _named(publisher, default_rule_set)
    check_ins = CheckIns(advisor, decides, publisher.clock, new_id)
    return Redecision(publisher.store, check_ins).count(athlete_ids, decide=again, by=_TERMINAL)


def _print_redecisions(counts: RedecisionCounts) -> None:
    if counts.decided_again:
        click.echo(f"Decided again for today: the advice of {_athletes(counts.decided_again)}.")
    if counts.stays:
        click.echo(
            f"Today's advice of {_athletes(counts.stays)} was given by other rules. It stays "
            "until the check-in is sent again; --again decides it again at once."
        )


def _athletes(count: int) -> str:
    return "1 athlete" if count == 1 else f"{count} athletes"


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise MalformedInput(f"{file} is not UTF-8 at byte {error.start}.") from error


def _comparison(compared: Compared) -> str:
    """Tabulate the verdicts, and the newest mornings that differ."""
    label = Vocabulary.bundled().label
    counts = [
        (
            label(one.verdict),
            label(one.shadow_verdict) if one.shadow_verdict else "failed",
            one.count,
        )
        for one in compared.counts
    ]
    differences = [
        (one.athlete_id, one.date, one.rule_id or "-", one.shadow_rule_id or "-")
        for one in compared.differences
    ]
    tables = [
        tabulate(rows, headers=headers)
        for rows, headers in (
            (counts, ("Said", "Would say", "Mornings")),
            (differences, ("Athlete", "Date", "Decided by", "Would be decided by")),
        )
        if rows
    ]
    since = compared.candidate.since.isoformat(timespec="minutes")
    return "\n\n".join([f"{compared.rule_set.full_name} in the shadow since {since}", *tables])
