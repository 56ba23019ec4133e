"""``dawnrule advise``: the morning's advice from a file, with no server."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, BinaryIO, TypeVar
from zoneinfo import ZoneInfo, available_timezones

import click
from click.core import ParameterSource

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.composer import Composer
from dawnrule.advice.summary import reason_text
from dawnrule.application.check_ins import (
    CheckIns,
    Entry,
    Outcome,
    Submitted,
    submit_each,
    without_contradictions,
)
from dawnrule.cli.options import format_option, rule_set_option
from dawnrule.cli.tables import advice_table, refusal_lines
from dawnrule.clock import new_id, now
from dawnrule.errors import DawnruleError, InvalidInput, MalformedInput
from dawnrule.i18n.catalog import ENGLISH, Texts, languages
from dawnrule.i18n.lazy import LazyText, lazy, render
from dawnrule.model.advice import Advice
from dawnrule.model.entities import Athlete, CheckIn
from dawnrule.model.serialization import to_json
from dawnrule.schemas import load_athlete, load_check_in
from dawnrule.schemas.json import read_json
from dawnrule.settings import name_and_version
from dawnrule.sheet import (
    CHECK_INS,
    AnswerBook,
    DateOrder,
    Declared,
    RowAnswer,
    Sheet,
    read_sheet,
    write_sheet,
)
from dawnrule.store import Store, Transaction

T = TypeVar("T")

_JSON_STARTS = (b"{", b"[")
_NAMES_OF_A_SQUAD = {"athletes", "check_ins"}


@dataclass(frozen=True, slots=True)
class CheckInFile:
    """The entries of a file, a row of ``sheet`` for each. JSON has no sheet of its own and gets
    one that names its check-ins. ``athletes`` are those that the file itself describes."""

    entries: tuple[Entry, ...]
    sheet: Sheet
    is_json: bool = False
    athletes: tuple[Athlete, ...] = ()

    def placed(self, index: int, fault: str) -> LazyText:
        """A fault of an entry, with where that stands."""
        if self.is_json:
            return lazy("sheet.at_check_in", number=index + 1, fault=fault)
        return lazy("sheet.at_row", number=self.sheet.rows[index].number, fault=fault)

    def located(self, index: int, error: DawnruleError) -> DawnruleError:
        """What stands against an entry, with its faults where the file has them."""
        if self.is_json:
            return error
        return InvalidInput(error.detail, self.sheet.rows[index].in_columns(error.errors))


def read_check_in_file(data: bytes, declared: Declared) -> CheckInFile:
    """Read a sheet (CSV, .xlsx, .ods) or JSON. Raises ``InvalidInput`` for a file that cannot be
    read as a whole. ``declared`` is for a sheet.

    JSON is one check-in, a list of them, or ``{"athletes": [...], "check_ins": [...]}``.
    """
    if data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(_JSON_STARTS):
        return _of_json(read_json(data))
    sheet = read_sheet(data, CHECK_INS, declared)
    return CheckInFile(
        entries=tuple(_loaded(lambda row: row.load(load_check_in), row) for row in sheet.rows),
        sheet=sheet,
    )


def _of_json(plain: Any) -> CheckInFile:
    squad = plain if isinstance(plain, dict) and "check_ins" in plain else {"check_ins": plain}
    unknown = squad.keys() - _NAMES_OF_A_SQUAD
    if unknown:
        raise MalformedInput(f"Beside check_ins only athletes may stand, not {min(unknown)}.")
    check_ins = squad["check_ins"]
    if not isinstance(check_ins, list):
        check_ins = [check_ins]
    return CheckInFile(
        entries=tuple(_loaded(load_check_in, check_in) for check_in in check_ins),
        sheet=Sheet.of(CHECK_INS, map(_subject, check_ins)),
        is_json=True,
        athletes=_described_athletes(squad.get("athletes", [])),
    )


def _loaded(load: Callable[[T], CheckIn], source: T) -> Entry:
    try:
        return load(source)
    except DawnruleError as error:
        return error


def _described_athletes(plain: Any) -> tuple[Athlete, ...]:
    """The athletes of a file; one that is wrong spoils the file, as its check-ins need it."""
    if not isinstance(plain, list):
        raise MalformedInput("athletes must be a list.")
    return tuple(map(load_athlete, plain))


def _subject(check_in: Any) -> tuple[str, str]:
    """The athlete and the date, as far as they can be told."""
    known = check_in if isinstance(check_in, dict) else {}
    return str(known.get("athlete_id", "")), str(known.get("date", ""))


def advise_file(
    file: CheckInFile,
    check_ins: CheckIns,
    time_zone: str,
) -> list[Outcome]:
    """An outcome for each entry, in the file's order, over a database that is then thrown away.

    It is the straight line of the service: the file's check-ins of earlier dates are the history
    of the later ones. Athletes whom the file does not describe live in ``time_zone``.
    """

    def answer(transaction: Transaction, check_in: CheckIn) -> Submitted:
        return check_ins.submit(transaction, check_in, check_ins.submission(None))

    entries = without_contradictions(file.entries)
    by_date = sorted(range(len(entries)), key=lambda place: _date(entries[place]))
    with _store_of(_athletes(file, time_zone)) as store:
        outcomes = submit_each(store, [entries[place] for place in by_date], answer)
    found = dict(zip(by_date, outcomes, strict=True))
    return [_located(file, place, found[place]) for place in range(len(entries))]


@contextmanager
def _store_of(athletes: list[Athlete]) -> Iterator[Store]:
    with (
        TemporaryDirectory(prefix="dawnrule-") as folder,
        Store.open(Path(folder) / "dawnrule.db") as store,
    ):
        store.write(lambda transaction: [transaction.athletes.put(athlete) for athlete in athletes])
        yield store


def _athletes(file: CheckInFile, time_zone: str) -> list[Athlete]:
    """Everybody whom the file describes or has a check-in of."""
    met = [entry.athlete_id for entry in file.entries if isinstance(entry, CheckIn)]
    assumed = {athlete_id: Athlete(athlete_id, athlete_id, time_zone) for athlete_id in met}
    return [*(assumed | {athlete.id: athlete for athlete in file.athletes}).values()]


def _date(entry: Entry) -> date:
    return entry.date if isinstance(entry, CheckIn) else date.min


def _located(file: CheckInFile, place: int, outcome: Outcome) -> Outcome:
    return file.located(place, outcome) if isinstance(outcome, DawnruleError) else outcome


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
    advisor = replace(Advisor.bundled(), composer=Composer.bundled(language))
    active = advisor.library.get(*name_and_version(rule_set))
    order = DateOrder(date_order) if date_order else None
    zone = ZoneInfo(time_zone)
    declared = Declared(order, sheet, lambda _: zone, _zone_in_words(ctx, time_zone))
    texts = advisor.composer.texts
    at = now()
    check_ins = CheckIns(advisor, active, lambda: at, new_id)
    with _refused_in(texts):
        given = read_check_in_file(file.read(), declared)
        outcomes = advise_file(given, check_ins, time_zone)
        answer = _FORMS[form](given, outcomes, advisor.composer)
    output.write(answer)
    refusals = list(_refusals(given, outcomes, texts))
    for line in (*given.sheet.remarks(), *refusals):
        click.echo(render(line, texts), err=True)
    ctx.exit(1 if refusals else 0)


@contextmanager
def _refused_in(texts: Texts) -> Iterator[None]:
    """A file that cannot be read as a whole is refused in the language of a catalogue."""
    try:
        yield
    except InvalidInput as error:
        raise InvalidInput("\n".join(refusal_lines(error, texts))) from error


def _zone_in_words(ctx: click.Context, time_zone: str) -> LazyText:
    is_given = ctx.get_parameter_source("time_zone") is not ParameterSource.DEFAULT
    if is_given:
        return lazy("sheet.as_zone", zone=time_zone)
    return lazy("sheet.as_assumed_zone", zone=time_zone)


def _refusals(file: CheckInFile, outcomes: Sequence[Outcome], texts: Texts) -> Iterator[LazyText]:
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
    given = [to_json(advice) for advice in _given(outcomes)]
    return _line(json.dumps(given, indent=2, ensure_ascii=False))


def _as_csv(file: CheckInFile, outcomes: Sequence[Outcome], composer: Composer) -> bytes:
    return _bytes(write_sheet(file.sheet, _beside(outcomes, composer)))


def _as_xlsx(file: CheckInFile, outcomes: Sequence[Outcome], composer: Composer) -> bytes:
    return AnswerBook.open(file.sheet).written(_beside(outcomes, composer))


def _line(text: str) -> bytes:
    return _bytes(f"{text}\n")


def _bytes(text: str) -> bytes:
    """UTF-8; half a character that JSON let through becomes a question mark."""
    return text.encode("utf-8", "replace")


def _given(outcomes: Sequence[Outcome]) -> list[Advice]:
    return [outcome.advice for outcome in outcomes if isinstance(outcome, Submitted)]


def _beside(outcomes: Sequence[Outcome], composer: Composer) -> list[RowAnswer]:
    return [_in_row(outcome, composer) for outcome in outcomes]


def _in_row(outcome: Outcome, composer: Composer) -> RowAnswer:
    if isinstance(outcome, DawnruleError):
        return RowAnswer.of_refusal(outcome, composer.texts)
    if outcome is None:
        return RowAnswer()
    why = reason_text(outcome.advice, composer)
    return RowAnswer.of_advice(outcome.advice, why, composer.vocabulary)


_FORMS: Mapping[str, Callable[[CheckInFile, Sequence[Outcome], Composer], bytes]] = dict(
    zip(_FORMATS, (_as_text, _as_json, _as_csv, _as_xlsx), strict=True)
)
