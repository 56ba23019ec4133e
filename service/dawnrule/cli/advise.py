"""``dawnrule advise``: the morning's advice from a file, with no server."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, BinaryIO
from zoneinfo import ZoneInfo, available_timezones

import click
from click.core import ParameterSource

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.batch import Outcome
from dawnrule.advice.compose import Composer
from dawnrule.advice.morning import Answer
from dawnrule.advice.told import why_told
from dawnrule.cli.check_in_file import CheckInFile, read_check_in_file
from dawnrule.cli.offline import advise_file
from dawnrule.cli.options import format_option, rule_set_option
from dawnrule.cli.shown import advice_table, refusal_lines
from dawnrule.errors import DawnruleError, InvalidInput
from dawnrule.settings import name_and_version
from dawnrule.sheet import AnswerBook, DateOrder, Declared, RowAnswer, write_sheet
from dawnrule.vocabulary import Texts
from dawnrule.vocabulary.said import Said, say, told
from dawnrule.vocabulary.texts import ENGLISH, languages
from dawnrule.world import new_id, now

_FORMATS = ("text", "json", "csv", "xlsx")
_XLSX = "xlsx"


def _known_time_zone(ctx: click.Context, parameter: click.Parameter, name: str) -> str:
    if name not in available_timezones():
        raise click.BadParameter(f"{name!r} is not a time zone like Europe/Berlin.")
    return name


@click.command()
@click.argument("file", type=click.File("rb"))
@format_option(
    *_FORMATS,
    says="A table to read, JSON with everything, or the sheet with the advice beside each row; "
    "xlsx needs --output and a FILE that is .xlsx.",
)
@click.option(
    "--output",
    type=click.File("wb", lazy=True),
    default="-",
    help="A file to write to, instead of standard output.",
)
@click.option(
    "--time-zone",
    default="UTC",
    show_default=True,
    callback=_known_time_zone,
    help="Where athletes live whom FILE does not describe; it says which date today is, and "
    "when a time without an offset was.",
)
@click.option(
    "--date-order",
    type=click.Choice([order.value for order in DateOrder]),
    help="The order of dates like 04/05/2026; without it those that can be read in two ways are "
    "refused.",
)
@click.option("--sheet", metavar="NAME", help="The sheet of a workbook, instead of its first.")
@click.option(
    "--language",
    type=click.Choice(languages()),
    default=ENGLISH,
    show_default=True,
    help="The language that advice is told in, and what is wrong with a row.",
)
@rule_set_option
@click.pass_context
def advise(
    ctx: click.Context,
    file: BinaryIO,
    form: str,
    output: BinaryIO,
    time_zone: str,
    date_order: str | None,
    sheet: str | None,
    language: str,
    rule_set: str,
) -> None:
    """Give advice on the check-ins in FILE, with no server.

    FILE is a sheet (CSV, .xlsx or .ods), one row for each check-in, or JSON; - reads standard
    input. A row that cannot be accepted is named with what would do, and the others get their
    advice.

    \b
    Example:
      dawnrule advise squad.csv --time-zone Europe/Berlin
    """
    if form == _XLSX and output.name == "-":
        raise click.UsageError("A workbook is not for the terminal: name a file with --output.")
    advisor = replace(Advisor.shipped(), composer=Composer.shipped(language))
    active = advisor.library.get(*name_and_version(rule_set))
    order = DateOrder(date_order) if date_order else None
    zone = ZoneInfo(time_zone)
    declared = Declared(order, sheet, lambda _: zone, _zone_in_words(ctx, time_zone))
    texts = advisor.composer.texts
    with _refused_in(texts):
        check_ins = read_check_in_file(file.read(), declared)
        outcomes = advise_file(check_ins, advisor, active, time_zone, now(), new_id)
        answer = _FORMS[form](check_ins, outcomes, advisor.composer)
    output.write(answer)
    refusals = list(_refusals(check_ins, outcomes, texts))
    for line in (*check_ins.sheet.remarks(), *refusals):
        click.echo(told(line, texts), err=True)
    ctx.exit(1 if refusals else 0)


@contextmanager
def _refused_in(texts: Texts) -> Iterator[None]:
    """A file that cannot be read as a whole is refused in the language of a catalogue."""
    try:
        yield
    except InvalidInput as error:
        raise InvalidInput("\n".join(refusal_lines(error, texts))) from error


def _zone_in_words(ctx: click.Context, time_zone: str) -> Said:
    is_given = ctx.get_parameter_source("time_zone") is not ParameterSource.DEFAULT
    if is_given:
        return say("sheet.as_zone", zone=time_zone)
    return say("sheet.as_assumed_zone", zone=time_zone)


def _refusals(file: CheckInFile, outcomes: Sequence[Outcome], texts: Texts) -> Iterator[Said]:
    for index, outcome in enumerate(outcomes):
        if isinstance(outcome, DawnruleError):
            yield from (file.placed(index, line) for line in refusal_lines(outcome, texts))


def _as_text(file: CheckInFile, outcomes: Sequence[Outcome], composer: Composer) -> bytes:
    names = {athlete.id: athlete.name for athlete in file.athletes}
    given = _given(outcomes)
    if not given:
        return _line(composer.texts.say("table.no_row"))
    return _line(advice_table(given, names, composer))


def _as_json(file: CheckInFile, outcomes: Sequence[Outcome], composer: Composer) -> bytes:
    return _line(json.dumps(_given(outcomes), indent=2, ensure_ascii=False))


def _as_csv(file: CheckInFile, outcomes: Sequence[Outcome], composer: Composer) -> bytes:
    return _bytes(write_sheet(file.sheet, _beside(outcomes, composer)))


def _as_xlsx(file: CheckInFile, outcomes: Sequence[Outcome], composer: Composer) -> bytes:
    return AnswerBook.open(file.sheet).written(_beside(outcomes, composer))


def _line(text: str) -> bytes:
    return _bytes(f"{text}\n")


def _bytes(text: str) -> bytes:
    """UTF-8; half a character that JSON let through becomes a question mark."""
    return text.encode("utf-8", "replace")


def _given(outcomes: Sequence[Outcome]) -> list[dict[str, Any]]:
    return [outcome.advice for outcome in outcomes if isinstance(outcome, Answer)]


def _beside(outcomes: Sequence[Outcome], composer: Composer) -> list[RowAnswer]:
    return [_in_row(outcome, composer) for outcome in outcomes]


def _in_row(outcome: Outcome, composer: Composer) -> RowAnswer:
    if isinstance(outcome, DawnruleError):
        return RowAnswer.of_refusal(outcome, composer.texts)
    if outcome is None:
        return RowAnswer()
    why = why_told(outcome.advice, composer)
    return RowAnswer.of_advice(outcome.advice | {"reason": why}, composer.vocabulary)


_FORMS: Mapping[str, Callable[[CheckInFile, Sequence[Outcome], Composer], bytes]] = dict(
    zip(_FORMATS, (_as_text, _as_json, _as_csv, _as_xlsx), strict=True)
)
