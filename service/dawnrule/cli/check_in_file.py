"""Which check-ins does a file hold, of which athletes, and what is wrong with the others?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from dawnrule.advice.batch import Entry
from dawnrule.errors import DawnruleError, InvalidInput, MalformedInput
from dawnrule.facts.check_in import Athlete, CheckIn
from dawnrule.schemas import load_athlete, load_check_in
from dawnrule.schemas.strict_json import read_json
from dawnrule.sheet import CHECK_INS, Declared, Sheet, read_sheet
from dawnrule.vocabulary.said import Said, say

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

    def placed(self, index: int, fault: str) -> Said:
        """A fault of an entry, with where that stands."""
        if self.is_json:
            return say("sheet.at_check_in", number=index + 1, fault=fault)
        return say("sheet.at_row", number=self.sheet.rows[index].number, fault=fault)

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
        athletes=_athletes(squad.get("athletes", [])),
    )


def _loaded(load: Callable[[T], CheckIn], source: T) -> Entry:
    try:
        return load(source)
    except DawnruleError as error:
        return error


def _athletes(plain: Any) -> tuple[Athlete, ...]:
    """The athletes of a file; one that is wrong spoils the file, as its check-ins need it."""
    if not isinstance(plain, list):
        raise MalformedInput("athletes must be a list.")
    return tuple(map(load_athlete, plain))


def _subject(check_in: Any) -> tuple[str, str]:
    """The athlete and the date, as far as they can be told."""
    known = check_in if isinstance(check_in, dict) else {}
    return str(known.get("athlete_id", "")), str(known.get("date", ""))
