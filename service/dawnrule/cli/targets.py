"""``dawnrule targets``: the weeks up to an athlete's next main competition."""

from __future__ import annotations

import json
from pathlib import Path

import click

from dawnrule.application.targets import read_targets
from dawnrule.cli.options import db_option, format_option
from dawnrule.clock import now
from dawnrule.i18n.catalog import Texts
from dawnrule.schemas.week import TARGETS
from dawnrule.store import Store


@click.command()
@click.option("--athlete", "athlete_id", required=True, metavar="ID", help="The athlete.")
@format_option("text", "json", help_text="A page to read, or JSON with everything.")
@db_option
def targets(athlete_id: str, form: str, db: Path) -> None:
    """Show build, deload and taper up to the next main competition.

    Each week is a share of the athlete's usual week. It is no rule: each morning the rules decide.

    \b
    Example:
      dawnrule targets --athlete a-03 --db squad.db
    """
    at, texts = now(), Texts.bundled()
    with Store.open(db, must_exist=True) as store:
        found = store.read(lambda transaction: read_targets(transaction, athlete_id, texts, at))
    if form == "json":
        click.echo(json.dumps(TARGETS.dump(found), indent=2, ensure_ascii=False))
        return
    words = found.words(texts)
    for line in words.lines(texts) if words else (found.note,):
        click.echo(line)
