"""``dawnrule outlook``: when each muscle group is ready again."""

from __future__ import annotations

import json
from pathlib import Path

import click

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.outlook import Outlook, OutlookReport, outlook_text
from dawnrule.application.outlooks import read_outlook
from dawnrule.application.recoveries import Recoveries
from dawnrule.cli.options import db_option, format_option, rule_set_option
from dawnrule.clock import now
from dawnrule.model import Vocabulary
from dawnrule.model.forecasts import OwnForecast
from dawnrule.schemas.advice import MOST_DAYS, OUTLOOK, USUAL_DAYS, USUAL_GOAL
from dawnrule.settings import name_and_version
from dawnrule.store import Store, Transaction


def _known_goal(ctx: click.Context, parameter: click.Parameter, goal: str) -> str:
    goals = Vocabulary.bundled().goals
    if goal not in goals:
        raise click.BadParameter(f"{goal!r} is none of {', '.join(goals)}.")
    return goal


@click.command()
@click.option("--athlete", "athlete_id", required=True, metavar="ID", help="The athlete.")
@click.option(
    "--days",
    type=click.IntRange(1, MOST_DAYS),
    default=USUAL_DAYS,
    show_default=True,
    help="The number of days to look ahead.",
)
@click.option(
    "--goal",
    default=USUAL_GOAL,
    show_default=True,
    callback=_known_goal,
    help="The goal of the balanced session.",
)
@format_option(
    "text",
    "json",
    help_text="A page to read, or JSON with everything.",
)
@db_option
@rule_set_option
def outlook(athlete_id: str, days: int, goal: str, form: str, db: Path, rule_set: str) -> None:
    """Show when each muscle group is ready again, and a balanced session.

    It is based on the training log, and on today's check-in if there is one. Times are local to
    the athlete.

    \b
    Example:
      dawnrule outlook --athlete a-03 --db squad.db
    """
    advisor = Advisor.bundled()
    what_if = advisor.library.what_if(advisor.library.get(*name_and_version(rule_set)))
    at, said = now(), advisor.composer.texts

    def look(transaction: Transaction) -> tuple[Outlook, tuple[OwnForecast, ...]]:
        ahead = read_outlook(transaction, what_if, athlete_id, at, days)
        return ahead, Recoveries().forecasts(transaction, ahead.source.athlete, at, said)

    with Store.open(db, must_exist=True) as store:
        ahead, recovery = store.read(look)
    report = OutlookReport.of(ahead, goal, said, recovery)
    if form == "json":
        click.echo(json.dumps(OUTLOOK.dump(report), indent=2, ensure_ascii=False))
    else:
        click.echo(outlook_text(report, ahead.source.athlete, advisor.composer))
