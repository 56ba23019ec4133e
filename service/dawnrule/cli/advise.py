"""``dawnrule advise``: the morning's advice from a file, with no server."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, BinaryIO
from zoneinfo import available_timezones

import click

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.batch import Outcome
from dawnrule.advice.morning import Answer
from dawnrule.cli.check_in_file import CheckInFile, read_check_in_file
from dawnrule.cli.offline import advise_file
from dawnrule.cli.options import rule_set_option
from dawnrule.cli.shown import advice_table, refusal_lines
from dawnrule.errors import DawnruleError
from dawnrule.settings import name_and_version
from dawnrule.sheet import RowAnswer, write_sheet
from dawnrule.vocabulary import Vocabulary
from dawnrule.world import new_id, now

_FORMATS = ("text", "json", "csv")


def _known_time_zone(ctx: click.Context, parameter: click.Parameter, name: str) -> str:
    if name not in available_timezones():
        raise click.BadParameter(f"{name!r} is not a time zone like Europe/Berlin.")
    return name


@click.command()
@click.argument("file", type=click.File("rb"))
@click.option(
    "--format",
    "form",
    type=click.Choice(_FORMATS),
    default="text",
    show_default=True,
    help="A table to read, JSON with everything, or the sheet with the advice beside each row.",
)
@click.option(
    "--time-zone",
    default="UTC",
    show_default=True,
    callback=_known_time_zone,
    help="Where athletes live whom FILE does not describe; it says which date today is.",
)
@rule_set_option
@click.pass_context
def advise(ctx: click.Context, file: BinaryIO, form: str, time_zone: str, rule_set: str) -> None:
    """Give advice on the check-ins in FILE, with no server.

    FILE is a CSV sheet, one row for each check-in, or JSON; - reads standard input. A row that
    cannot be accepted is named with what would do, and the others get their advice.

    \b
    Example:
      dawnrule advise squad.csv --time-zone Europe/Berlin
    """
    advisor = Advisor.shipped()
    active = advisor.library.get(*name_and_version(rule_set))
    check_ins = read_check_in_file(file.read())
    outcomes = advise_file(check_ins, advisor, active, time_zone, now(), new_id)
    text = _FORMS[form](check_ins, outcomes)
    click.echo(text.encode("utf-8", "replace"), nl=form != "csv")
    if check_ins.sheet.unread:
        click.echo(f"Columns that were not read: {', '.join(check_ins.sheet.unread)}", err=True)
    refusals = list(_refusals(check_ins, outcomes))
    for line in refusals:
        click.echo(line, err=True)
    ctx.exit(1 if refusals else 0)


def _refusals(file: CheckInFile, outcomes: Sequence[Outcome]) -> Iterator[str]:
    for index, outcome in enumerate(outcomes):
        if isinstance(outcome, DawnruleError):
            yield from (f"{file.place(index)}: {line}" for line in refusal_lines(outcome))


def _as_text(file: CheckInFile, outcomes: Sequence[Outcome]) -> str:
    names = {athlete.id: athlete.name for athlete in file.athletes}
    return advice_table(_given(outcomes), names)


def _as_json(file: CheckInFile, outcomes: Sequence[Outcome]) -> str:
    return json.dumps(_given(outcomes), indent=2, ensure_ascii=False)


def _as_csv(file: CheckInFile, outcomes: Sequence[Outcome]) -> str:
    return write_sheet(file.sheet, [_in_row(outcome) for outcome in outcomes])


def _given(outcomes: Sequence[Outcome]) -> list[dict[str, Any]]:
    return [outcome.advice for outcome in outcomes if isinstance(outcome, Answer)]


def _in_row(outcome: Outcome) -> RowAnswer:
    if isinstance(outcome, DawnruleError):
        return RowAnswer.of_refusal(outcome)
    return RowAnswer.of_advice(outcome.advice, Vocabulary.shipped()) if outcome else RowAnswer()


_FORMS: Mapping[str, Callable[[CheckInFile, Sequence[Outcome]], str]] = dict(
    zip(_FORMATS, (_as_text, _as_json, _as_csv), strict=True)
)
