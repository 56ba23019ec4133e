"""``dawnrule audit``: the record is complete and unchanged, and who did what."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import click
from tabulate import tabulate

from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.audit import BY_ENGINE_EACH, Audited
from dawnrule.application.audit import audit as audit_store
from dawnrule.application.heads import head_text, heads_in
from dawnrule.cli.options import bar, count_of, dates_options, db_option, format_option
from dawnrule.model.serialization import to_json
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import Head, opened_to_read
from dawnrule.store.activity_log import Act, acts_of
from dawnrule.store.backup import head_in, is_of_this_version

_HEAD = re.compile(r"[0-9]{1,15}:[0-9a-f]{64}")
_ONE_DAY = timedelta(days=1)
_DEFAULT_LIMIT = 100


@click.group()
def audit() -> None:
    """Check that the record is unchanged, and list who did what.

    \b
    Example:
      dawnrule audit verify --db squad.db
    """


def _as_heads(ctx: click.Context, parameter: click.Parameter, value: Sequence[str]) -> list[Head]:
    found = [_HEAD.fullmatch(text) for text in value]
    if None in found:
        raise click.BadParameter("write it as dawnrule audit head prints it: POSITION:DIGEST.")
    return [head for text in value for head in heads_in(text)]


def _heads_of(ctx: click.Context, parameter: click.Parameter, value: Sequence[Path]) -> list[Head]:
    heads: list[Head] = []
    for file in value:
        found = heads_in(file.read_text(encoding="utf-8", errors="replace"))
        if not found:
            raise click.BadParameter(f"{file} holds no head, POSITION:DIGEST.")
        heads += found
    return heads


@audit.command()
@db_option
@click.option(
    "--head",
    "kept",
    callback=_as_heads,
    multiple=True,
    metavar="POSITION:DIGEST",
    help="A saved head, as dawnrule audit head prints it; detects a missing end. May be repeated.",
)
@click.option(
    "--heads",
    "in_files",
    callback=_heads_of,
    multiple=True,
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="FILE",
    help="A text file with saved heads, such as that of DAWNRULE_HEADS_FILE.",
)
@click.option(
    "--thorough",
    is_flag=True,
    help=f"Let the engine decide every record too, not only every {BY_ENGINE_EACH}th.",
)
@format_option(
    "text",
    "json",
    help_text="Lines to read, or JSON with everything.",
)
@click.pass_context
def verify(
    ctx: click.Context,
    db: Path,
    kept: list[Head],
    in_files: list[Head],
    thorough: bool,
    form: str,
) -> None:
    """Walk through the logbook and decide every piece of advice again.

    Each entry must follow from the one before it, each record must be the one that was entered, and
    each decision must come out the same under the rule set that made it. Erased records are
    accounted for by the act that erased them. Exits with 1 when anything is wrong. The file is only
    read: a database of an earlier version is carried over in a copy.

    \b
    Example:
      dawnrule audit verify --db squad.db
    """
    with opened_to_read(db) as store, ExitStack() as stack:
        library = RuleSetLibrary.bundled().with_published(StoredTexts(store))
        found = audit_store(
            store,
            library,
            kept=[*kept, *in_files],
            by_engine_each=1 if thorough else BY_ENGINE_EACH,
            progress=bar("Verifying", stack),
        )
    if not is_of_this_version(db):  # the copy goes on from there, and goes with its head
        found.head = head_in(db)
    as_json = to_json(found) | {"clean": found.is_clean}
    click.echo(json.dumps(as_json) if form == "json" else _report(found))
    ctx.exit(0 if found.is_clean else 1)


@audit.command()
@db_option
def head(db: Path) -> None:
    """Print the newest entry's position and fingerprint.

    Keep the line somewhere else, such as in a message to yourself: with it, dawnrule audit verify
    detects removed entries at the end, or a logbook that was rewritten as a whole.

    \b
    Example:
      dawnrule audit head --db squad.db
    """
    newest = head_in(db)
    click.echo(head_text(newest))


@audit.command()
@dates_options
@click.option("--act", metavar="NAME", help="Only acts of this kind, like key-made.")
@click.option(
    "--limit",
    type=click.IntRange(min=1),
    default=_DEFAULT_LIMIT,
    show_default=True,
    help="The most to list, starting with the newest.",
)
@format_option(
    "table",
    "json",
    help_text="A table to read, or JSON.",
)
@db_option
def acts(
    first: date | None, last: date | None, act: str | None, limit: int, form: str, db: Path
) -> None:
    """List who did what, newest first.

    Acts concern keys, rule sets, athletes, plans, replays, exports and erasures; dates are UTC.

    \b
    Example:
      dawnrule audit acts --from 2026-03-01 --db squad.db
    """
    start = _midnight(first) if first else None
    end = _midnight(last + _ONE_DAY) if last else None
    with opened_to_read(db) as store:
        found = acts_of(
            store.read(lambda transaction: transaction.ledger.acts(start, end, act, limit=limit))
        )
    click.echo(_ACT_FORMATS[form](found))


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time.min, UTC)


def _report(found: Audited) -> str:
    vouched = found.vouched
    lines = [
        f"{'no entry' if fault.position is None else f'entry {fault.position}'}: {fault.says}"
        for fault in found.faults
    ]
    if found.fault_count > len(found.faults):
        lines.append(f"and {found.fault_count - len(found.faults)} more")
    lines += [
        f"{found.entries} {'entry' if found.entries == 1 else 'entries'}: {found.records} advice, "
        f"{found.decided} decided again ({found.by_engine} by the engine too), "
        f"{found.erased} erased, {count_of(found.acts, 'act')}",
        f"{count_of(vouched.rows, 'row')} of other tables as they were entered, "
        f"{count_of(vouched.histories, 'morning')} decided on what was entered",
        *(
            [f"rows from before {vouched.since} are vouched for since then"]
            if vouched.since
            else []
        ),
        f"head {head_text(found.head)}",
        "Nothing was changed." if found.is_clean else f"{count_of(found.fault_count, 'fault')}.",
    ]
    return "\n".join(lines)


def _table(found: list[Act]) -> str:
    rows = [(one.at, one.by, one.act, _about(one.about), one.position) for one in found]
    return tabulate(rows, headers=("When", "Who", "What", "About", "Entry"), disable_numparse=True)


def _about(about: Mapping[str, str]) -> str:
    return ", ".join(f"{name} {value}" for name, value in about.items())


_ACT_FORMATS: Mapping[str, Callable[[list[Act]], str]] = {
    "table": _table,
    "json": lambda found: json.dumps({"acts": [to_json(one) for one in found]}),
}
