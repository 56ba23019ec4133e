"""``dawnrule week``: a week that the rules let through."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import click

from dawnrule.advice.advisor import Advisor
from dawnrule.application.active_rules import StoredTexts, active_rule_set
from dawnrule.application.athletes import require_athlete
from dawnrule.application.groups import common_zone, members
from dawnrule.application.recoveries import Recoveries
from dawnrule.application.weeks import Weeks
from dawnrule.cli.options import db_option, format_option, rule_set_option
from dawnrule.clock import now
from dawnrule.model.weeks import WeekOrder
from dawnrule.rules.rule_set import RuleSet
from dawnrule.schemas.errors import load
from dawnrule.schemas.json import read_json
from dawnrule.schemas.week import WEEK_ORDER, WEEKS
from dawnrule.settings import name_and_version
from dawnrule.sheet import People, ReadOptions
from dawnrule.sheet.formulas import escape_formula, looks_like_formula
from dawnrule.sheet.weeks import read_week_sheet
from dawnrule.store import Store, Transaction

if TYPE_CHECKING:
    from dawnrule.week.report import WeekReport

_BLANK = b"\xef\xbb\xbf \t\r\n"
COLUMNS = ("athlete_id", "starts_at", "minutes", "session", "goals", "muscle_groups")


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@format_option(
    "text",
    "json",
    "csv",
    "ics",
    help_text="A page to read, JSON with everything, a sheet, or a calendar.",
)
@click.option("--sheet", "table", metavar="NAME", help="The sheet of a workbook; else the first.")
@db_option
@rule_set_option
def week(file: Path, form: str, table: str | None, db: Path, rule_set: str) -> None:
    """Lay out the week that FILE asks for.

    FILE names an athlete or a group, what is wanted, when it is possible, and what is fixed: in
    JSON as POST /v1/weeks takes it, or as a sheet (CSV, .xlsx or .ods), a row for each. The rules
    let through every session that is shown. What has no place is named with the rule and the least
    change that would place it. Nothing is stored.

    \b
    Example:
      dawnrule week week.csv --db squad.db --format ics
    """
    at = now()
    with Store.open(db, must_exist=True) as store:
        order = store.read(partial(_order, file.read_bytes(), table))
        layout = _layout(store, rule_set)
        situations = store.read(partial(layout.situations, order=order, now=at))
        reports = layout.lay_out(situations, order, layout.advisor.composer.texts, at)
    if form == "ics":
        from dawnrule.web.private.calendar import calendar_of_weeks

        athletes = [situation.athlete for situation in situations]
        told = calendar_of_weeks(athletes, reports, layout.advisor.composer, at)
        click.echo(told, nl=False)
    elif form == "json":
        click.echo(json.dumps(WEEKS.dump({"weeks": reports}), indent=2, ensure_ascii=False))
    elif form == "csv":
        click.echo(_sheet(reports), nl=False)
    else:
        click.echo("\n\n".join("\n".join(_lines(report)) for report in reports))


def _order(data: bytes, table: str | None, transaction: Transaction) -> WeekOrder:
    """Read what is asked for, as JSON or from a sheet, which may name an athlete by name."""
    if data.lstrip(_BLANK).startswith(b"{"):
        order: WeekOrder = load(WEEK_ORDER, read_json(data))
        return order

    def zone_of(athlete_id: str | None, group: str | None) -> ZoneInfo:
        if group is not None:
            return common_zone(members(transaction, group))
        return common_zone([require_athlete(transaction, athlete_id or "")])

    people = People.of((one.id, one.name) for one in transaction.athletes.all())
    options = ReadOptions(table=table, people=people, today=now().date())
    return read_week_sheet(data, options, zone_of)


def _layout(store: Store, rule_set: str) -> Weeks:
    bundled = Advisor.bundled()
    library = bundled.library.with_published(StoredTexts(store))
    default = library.get(*name_and_version(rule_set))

    def decides(transaction: Transaction, athlete_id: str, on: date) -> RuleSet:
        return active_rule_set(transaction, library, default, athlete_id, on)

    return Weeks(replace(bundled, library=library), Recoveries(), decides)


def _lines(report: WeekReport) -> Iterator[str]:
    yield report.athlete_id
    for session in report.sessions:
        yield f"  {session.text}"
        if session.fallback is not None:
            yield f"    {session.fallback.text}"
    yield from (f"  {one.text}" for one in report.unplaced)
    yield from (f"  {one.text}" for one in report.no_longer_holds)


def _sheet(reports: list[WeekReport]) -> str:
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\n")
    writer.writerow(COLUMNS)
    for report in reports:
        for session in report.sessions:
            goals = dict.fromkeys(block.goal for block in session.blocks)
            groups = dict.fromkeys(g for block in session.blocks for g in block.muscle_groups)
            begins = session.starts_at.isoformat(timespec="minutes")
            writer.writerow(
                (
                    report.athlete_id,
                    begins,
                    f"{session.minutes:g}",
                    escape_formula(session.name)
                    if looks_like_formula(session.name)
                    else session.name,
                    " ".join(goals),
                    " ".join(groups),
                )
            )
    return written.getvalue()
