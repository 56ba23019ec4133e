"""Lists of athletes: a pasted or uploaded sheet becomes the texts of its known columns.

What a text means is settled where it is entered: a date that has two readings stays as it is, and
whoever adds the athletes sees it beside its field. Columns that nobody knows are named, not dropped
in silence.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from itertools import islice

from dawnrule.i18n.resources import read_data, rules_folder
from dawnrule.sheet.birth_dates import has_short_year
from dawnrule.sheet.cells import Cell, Record, cell_text, find_id
from dawnrule.sheet.columns import plain_name
from dawnrule.sheet.datetimes import date_from_text
from dawnrule.sheet.errors import CellError
from dawnrule.sheet.text_file import decode, records, split_stated_delimiter
from dawnrule.sheet.workbook import ZIP_START, read_workbook

MOST_ATHLETES = 200
"""The most rows that are read at once: more do not fit on a page."""

NAME, FIRST_NAME, LAST_NAME = "name", "first_name", "last_name"

_DELIMITERS = "\t;,|"
_LOOKED_AT = 20  # rows in which a heading is looked for, under a title


@dataclass(frozen=True, slots=True)
class Roster:
    """The athletes of a sheet, each as texts by field, the headings that nobody knows, and how many
    rows were too many."""

    athletes: tuple[Mapping[str, str], ...]
    unknown: tuple[str, ...] = ()
    left_out: int = 0


def read_roster(data: bytes) -> Roster:
    """Read a sheet of athletes: CSV, a workbook, or what was copied out of one. Without a heading
    the first column holds the names. Raises ``MalformedInput`` for a file that cannot be read."""
    lines = list(lines_of(data))
    known = _headings()
    heading = next(
        (n for n, (_, cells) in enumerate(lines[:_LOOKED_AT]) if _names_people(cells, known)), None
    )
    if heading is None:
        people = [{NAME: cell_text(cells[0]).strip()} for _, cells in lines]
        return _roster(people, ())
    head = [cell_text(cell).strip() for cell in lines[heading][1]]
    fields = [known.get(plain_name(name)) for name in head]
    unknown = tuple(name for name, field in zip(head, fields, strict=True) if name and not field)
    people = [_person(fields, cells) for _, cells in lines[heading + 1 :]]
    return _roster(people, unknown)


def _roster(people: Iterable[Mapping[str, str]], unknown: tuple[str, ...]) -> Roster:
    found = [one for one in people if any(one.values())]
    return Roster(tuple(islice(found, MOST_ATHLETES)), unknown, max(len(found) - MOST_ATHLETES, 0))


def lines_of(data: bytes, table: str | None = None) -> Iterator[Record]:
    """Yield the rows of a CSV file, or of a workbook's sheet, the first unless one is named. Raises
    ``MalformedInput`` for a file that cannot be read."""
    if data.startswith(ZIP_START):
        _, found = read_workbook(data, table)
        yield from found
        return
    text, stated = split_stated_delimiter(decode(data).text)
    first = "\n".join(islice((line for line in text.splitlines() if line.strip()), _LOOKED_AT))
    delimiter = stated or max(_DELIMITERS, key=first.count)
    yield from records(text, delimiter)


def _names_people(cells: Sequence[Cell], known: Mapping[str, str]) -> bool:
    fields = {known.get(plain_name(cell_text(cell))) for cell in cells}
    return bool(fields & {NAME, FIRST_NAME, LAST_NAME})


def _person(fields: Sequence[str | None], cells: Sequence[Cell]) -> dict[str, str]:
    texts: dict[str, str] = {}
    for field, cell in zip(fields, cells, strict=False):
        if field is not None and (text := _text(field, cell)):
            texts.setdefault(field, text)
    parts = [texts.pop(part, "") for part in (FIRST_NAME, LAST_NAME)]
    return {NAME: " ".join(filter(None, parts)), **texts}


def _text(field: str, cell: Cell) -> str:
    """Write a cell as the form has it, where that is certain."""
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    text = cell_text(cell).strip()
    if field == "date_of_birth" and text and not has_short_year(text):
        try:
            return date_from_text(text, None)[0].isoformat()
        except CellError:
            return text
    if field == "training_status":
        return find_id("training_statuses", text) or text
    if field == "language":
        return text.lower()
    return text


@cache
def _headings() -> Mapping[str, str]:
    """Map each heading, written as ``plain_name`` does, to its field."""
    listed = read_data(rules_folder() / "roster_columns.yaml")
    return {plain_name(word): field for field, words in listed.items() for word in (field, *words)}
