"""``dawnrule recovery``: how long soreness lasts for an athlete."""

from __future__ import annotations

import json
from pathlib import Path

import click

from dawnrule.application.recoveries import Recoveries, RecoveryQuestion
from dawnrule.cli.options import db_option, format_option, rule_set_named, rule_set_option
from dawnrule.clock import now
from dawnrule.i18n.catalog import Texts
from dawnrule.schemas.recovery import KINDS, RECOVERY, USUAL_KIND
from dawnrule.store import Store


@click.command()
@click.option("--athlete", "athlete_id", required=True, metavar="ID", help="The athlete.")
@click.option(
    "--for",
    "kind",
    type=click.Choice(KINDS),
    default=USUAL_KIND,
    show_default=True,
    help="Growth work, or strength, power and speed.",
)
@click.option(
    "--rules",
    "with_rules",
    is_flag=True,
    help="Print a rule file of this athlete's own, to be checked and published, or not.",
)
@format_option("text", "json", help_text="A page to read, or JSON with everything.")
@db_option
@rule_set_option
def recovery(
    athlete_id: str, kind: str, with_rules: bool, form: str, db: Path, rule_set: str
) -> None:
    """Show how long each muscle group is sore after growth and landing work.

    It is based on the training log and the check-ins of the athlete, then on those of the squad,
    then on published studies. The rules decide all the same.

    \b
    Example:
      dawnrule recovery --athlete a-03 --db squad.db
    """
    question = RecoveryQuestion(athlete_id, kind, now())
    if with_rules:
        _show_rules(question, db, rule_set)
        return
    with Store.open(db, must_exist=True) as store:
        report = store.read(
            lambda transaction: Recoveries().read(transaction, question, Texts.bundled())
        )
    if form == "json":
        click.echo(json.dumps(RECOVERY.dump(report), indent=2, ensure_ascii=False))
        return
    for group in report.muscle_groups:
        click.echo(group.text)
    click.echo(report.note)


def _show_rules(question: RecoveryQuestion, db: Path, rule_set: str) -> None:
    with Store.open(db, must_exist=True) as store:
        extends = rule_set_named(rule_set, store)
        proposed = store.read(
            lambda transaction: Recoveries().proposed_rules(
                transaction, question.athlete_id, extends, question.now
            )
        )
    if proposed.rule_file is None:
        raise click.ClickException(
            "Nothing is proposed: no muscle group was seen to be sore for longer than the rules "
            "ask for, five times at least."
        )
    click.echo(proposed.rule_file, nl=False)
