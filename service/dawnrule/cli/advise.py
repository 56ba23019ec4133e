"""``dawnrule advise``: a morning's advice from a file, without a server."""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, BinaryIO
from zoneinfo import ZoneInfo

import click
from click.core import ParameterSource

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.composer import Composer
from dawnrule.application.athletes import id_taken
from dawnrule.application.batches import check_in_of_json, check_in_of_sheet
from dawnrule.application.check_ins import CheckIns
from dawnrule.cli.answer_forms import FORMS, AnswerForm
from dawnrule.cli.forked import cores
from dawnrule.cli.interruption import sigterm_as_ctrl_c
from dawnrule.cli.options import accept_option, format_option, means_option, rule_set_option
from dawnrule.cli.row_advice import ROWS_WORTH_A_PROCESS, Answered, GivenRow, RowAdvice
from dawnrule.cli.tables import grouped_refusal_lines, refusal_lines
from dawnrule.clock import new_id, now
from dawnrule.errors import InvalidInput, MalformedInput
from dawnrule.i18n.catalog import ENGLISH, Texts, languages
from dawnrule.i18n.lazy import LazyText, lazy, lazy_join, render
from dawnrule.model.entities import Athlete
from dawnrule.model.time_zones import time_zone_names
from dawnrule.schemas import load_athlete
from dawnrule.schemas.json import read_json
from dawnrule.settings import name_and_version
from dawnrule.sheet import (
    CHECK_INS,
    DateOrder,
    People,
    ReadOptions,
    Sheet,
    read_sheet,
)

_JSON_STARTS = (b"{", b"[")
_MOST_NAMED = 40
_SQUAD_MEMBERS = {"athletes", "check_ins"}


@dataclass(frozen=True, slots=True)
class CheckInFile:
    """The rows of a file with their sheet; for JSON, a sheet that names its check-ins. ``athletes``
    are those that the file itself describes, ``names`` the names that it has of people, by id."""

    rows: tuple[GivenRow, ...]
    sheet: Sheet
    is_json: bool = False
    athletes: tuple[Athlete, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)


def read_check_in_file(data: bytes, options: ReadOptions) -> CheckInFile:
    """Read a sheet (CSV, .xlsx, .ods), with the options options for it, or JSON.

    JSON is one check-in, a list of them, or ``{"athletes": [...], "check_ins": [...]}``. Raises
    ``InvalidInput`` for a file that cannot be read as a whole.
    """
    if data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(_JSON_STARTS):
        return _of_json(read_json(data))
    sheet = read_sheet(data, CHECK_INS, options)
    names = options.people.written if options.people else {}
    rows = [GivenRow(row.athlete_id, partial(check_in_of_sheet, row)) for row in sheet.rows]
    return CheckInFile(tuple(rows), sheet, names=names)


def _of_json(content: Any) -> CheckInFile:
    is_squad = isinstance(content, dict) and "check_ins" in content
    squad = content if is_squad else {"check_ins": content}
    unknown = squad.keys() - _SQUAD_MEMBERS
    if unknown:
        raise MalformedInput(f"Only athletes may stand beside check_ins, not {min(unknown)}.")
    check_ins = squad["check_ins"]
    if not isinstance(check_ins, list):
        check_ins = [check_ins]
    athletes = _described_athletes(squad.get("athletes", []))
    subjects = [*map(_subject, check_ins)]
    rows = (
        GivenRow(subject[0], partial(check_in_of_json, place, check_in))
        for place, (check_in, subject) in enumerate(zip(check_ins, subjects, strict=True))
    )
    return CheckInFile(
        rows=tuple(rows),
        sheet=Sheet.of(CHECK_INS, subjects),
        is_json=True,
        athletes=athletes,
        names={athlete.id: athlete.name for athlete in athletes},
    )


def _described_athletes(described: Any) -> tuple[Athlete, ...]:
    """Load the athletes of a file; a faulty one refuses the file, as its check-ins need it."""
    if not isinstance(described, list):
        raise MalformedInput("athletes must be a list.")
    return tuple(map(load_athlete, described))


def _subject(check_in: Any) -> tuple[str, str]:
    """Return the athlete and the date of a check-in, empty where they are missing."""
    known = check_in if isinstance(check_in, dict) else {}
    return str(known.get("athlete_id", "")), str(known.get("date", ""))


def advise_file(
    file: CheckInFile, check_ins: CheckIns, form: AnswerForm, time_zone: str, processes: int = 1
) -> list[Answered]:
    """Answer each row as if all were submitted to an empty database, in the file's order.

    Check-ins of earlier dates are the history of later ones, as in the service. Athletes whom the
    file does not describe live in ``time_zone``. Many rows are advised on by several processes; on
    a terminal, standard error shows how far they are.
    """
    _reject_alike(file.athletes)
    described = {athlete.id: athlete for athlete in file.athletes}
    advice = RowAdvice(file.rows, described, time_zone, check_ins, form.of_row)
    with _shown(len(file.rows)) as progress:
        answered = advice.by(processes, progress)
    return sorted(answered, key=lambda one: one.numbers)


@contextmanager
def _shown(rows: int) -> Iterator[Callable[[int], None]]:
    """Show on a terminal how many of the rows are done, where they take a while."""
    if rows < ROWS_WORTH_A_PROCESS or not sys.stderr.isatty():
        yield lambda _: None
        return
    with click.progressbar(length=rows, file=sys.stderr) as bar:
        yield bar.update


def _reject_alike(athletes: Iterable[Athlete]) -> None:
    """Raise ``Conflict`` for athletes whom the file describes by ids that differ in capitals only,
    as one of the two is a typing error."""
    first: dict[str, str] = {}
    for athlete in athletes:
        alike = first.setdefault(athlete.id.lower(), athlete.id)
        if alike != athlete.id:
            raise id_taken(athlete.id, alike)


_XLSX = "xlsx"


def _known_time_zone(ctx: click.Context, parameter: click.Parameter, name: str) -> str:
    if name not in time_zone_names():
        raise click.BadParameter(f"{name!r} is not a time zone like Europe/Berlin.")
    return name


@click.command()
@click.argument("file", type=click.File("rb"))
@format_option(
    *FORMS,
    help_text="A table to read, JSON with everything, or the sheet with the advice in each row; "
    "xlsx needs --output and an .xlsx FILE.",
)
@click.option(
    "--output",
    type=click.File("wb", lazy=True),
    default="-",
    help="Write to this file instead of standard output.",
)
@click.option(
    "--time-zone",
    default="UTC",
    show_default=True,
    callback=_known_time_zone,
    help="The time zone of athletes whom FILE does not describe: it decides which date today is, "
    "and the offset of times without one.",
)
@click.option(
    "--date-order",
    type=click.Choice([order.value for order in DateOrder]),
    help="The order of dates like 04/05/2026; without it, ambiguous dates are rejected.",
)
@click.option(
    "--sheet", metavar="NAME", help="The sheet of a workbook to read, instead of its first."
)
@click.option(
    "--language",
    type=click.Choice(languages()),
    default=ENGLISH,
    show_default=True,
    help="The language of advice, and of problems with rows.",
)
@click.option(
    "--processes",
    type=click.IntRange(min=1),
    default=cores,
    show_default="one for each core",
    help="How many processes may advise on a file of many rows.",
)
@accept_option
@means_option
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
    processes: int,
    accept: bool,
    means: tuple[tuple[str, str], ...],
    rule_set: str,
) -> None:
    """Advise on the check-ins in FILE, without a server.

    FILE is a sheet (CSV, .xlsx or .ods) with one check-in per row, or JSON; - reads standard input.
    A row that cannot be accepted is reported with what would be accepted; the others get their
    advice. A column that is not understood and could tell of health or training is asked about.

    \b
    Example:
      dawnrule advise squad.csv --time-zone Europe/Berlin
    """
    if form == _XLSX and output.name == "-":
        raise click.UsageError(
            "A workbook cannot be written to the terminal: name a file with --output."
        )
    advisor = replace(Advisor.bundled(), composer=Composer.bundled(language))
    active = advisor.library.get(*name_and_version(rule_set))
    order = DateOrder(date_order) if date_order else None
    zone = ZoneInfo(time_zone)
    at = now()
    options = ReadOptions(
        date_order=order,
        table=sheet,
        zone_of=lambda _: zone,
        zone_in_words=_zone_in_words(ctx, time_zone),
        people=People.of_a_file(),
        today=at.astimezone(zone).date(),
        chosen=lambda _layout, _headers: dict(means),
        accept=accept,
    )
    texts = advisor.composer.texts
    check_ins = CheckIns(advisor, active, lambda: at, new_id)
    with _refused_in(texts):
        with _nothing_collected():
            given = read_check_in_file(file.read(), options)
        with sigterm_as_ctrl_c():
            answered = advise_file(given, check_ins, FORMS[form], time_zone, processes)
        answer = FORMS[form].of_all(
            given.sheet, [one.shown for one in answered], given.names, texts
        )
    output.write(answer)
    refusals = list(_refusals(given, answered, texts))
    for line in (*given.sheet.remarks(), *refusals):
        click.echo(render(line, texts), err=True)
    ctx.exit(1 if refusals else 0)


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """Free nothing while rows are read, as all of them stay: looking for rubbish among thousands
    again and again took a third of the time."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


@contextmanager
def _refused_in(texts: Texts) -> Iterator[None]:
    """Translate the refusal of a file that cannot be read as a whole."""
    try:
        yield
    except InvalidInput as error:
        raise InvalidInput("\n".join(refusal_lines(error, texts))) from error


def _zone_in_words(ctx: click.Context, time_zone: str) -> LazyText:
    is_given = ctx.get_parameter_source("time_zone") is not ParameterSource.DEFAULT
    if is_given:
        return lazy("sheet.as_zone", zone=time_zone)
    return lazy("sheet.as_assumed_zone", zone=time_zone)


def _refusals(file: CheckInFile, answered: Sequence[Answered], texts: Texts) -> Iterator[str]:
    """Yield a line for each fault, with its place in the file; of a sheet each cause once."""
    refused = [(one.numbers[0], one.problem) for one in answered if one.problem is not None]
    if not file.is_json:
        yield from grouped_refusal_lines(refused, texts)
    else:
        for number, problem in refused:
            lines = refusal_lines(problem, texts)
            yield from (lazy("sheet.at_check_in", number=number + 1, fault=x) for x in lines)
    yield from _without_verdict(file, answered)


def _without_verdict(file: CheckInFile, answered: Sequence[Answered]) -> Iterator[str]:
    """Name the athletes of rows without a verdict, where others have one: a table of hundreds shows
    nothing in their place."""
    rows = zip(file.rows, answered, strict=True)
    athletes = [row.athlete_id or "?" for row, one in rows if not one.has_verdict]
    if 0 < len(athletes) < len(answered):
        named = _named([*dict.fromkeys(athletes)])
        count = len(athletes)
        yield lazy("sheet.without_verdict", count=count, rows=len(answered), athletes=named)


def _named(athletes: Sequence[str]) -> LazyText:
    """Name a squad's athletes; of hundreds, the lines before name the rows."""
    named = lazy_join(athletes[:_MOST_NAMED], ", ")
    others = len(athletes) - _MOST_NAMED
    return lazy("sheet.and_others", named=named, count=others) if others > 0 else named
