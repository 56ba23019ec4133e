"""Introductions of sheets: what the columns of a coach's sheet mean, said once and remembered."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime

from dawnrule.errors import FieldError, InvalidInput, NotFound
from dawnrule.i18n.lazy import lazy
from dawnrule.sheet import (
    CHECK_INS,
    SESSIONS,
    ColumnMeaning,
    Layout,
    all_meanings,
    column_of_meaning,
    has_other_scale,
)
from dawnrule.sheet.words import plain_word
from dawnrule.store import IntroducedSheet, Transaction, id_of
from dawnrule.store.activity_log import record_act

LAYOUTS: Mapping[str, Layout] = {layout.name: layout for layout in (CHECK_INS, SESSIONS)}
Chosen = Callable[[str, Sequence[str]], Mapping[str, str]]

_IGNORED = "ignore"
_TEN = 10


def chosen_meanings(transaction: Transaction) -> Chosen:
    """Return the function that looks up what was said of a sheet, by its layout and headers."""
    known = {sheet.id: sheet.meanings for sheet in transaction.introduced_sheets.all()}

    def chosen(layout: str, headers: Sequence[str]) -> Mapping[str, str]:
        words = [plain_word(header) for header in headers]
        answers = LAYOUTS[layout].answers
        return known.get(id_of(layout, [word for word in words if word not in answers]), {})

    return chosen


def meanings_said(columns: Sequence[ColumnMeaning], said: Mapping[str, str]) -> dict[str, str]:
    """Return the meaning of each column: what somebody said, else what it is taken to mean. Raises
    ``InvalidInput`` for columns that are still asked about."""
    found: dict[str, str] = {}
    faults = []
    for one in columns:
        word = plain_word(one.header)
        if word in said:
            found[word] = said[word]
        elif one.how == "asked":
            faults.append(FieldError(f"/columns/{word}", None, lazy("sheet.say_what_it_is")))
        elif word:
            found[word] = one.meaning or _IGNORED
    if faults:
        raise InvalidInput(lazy("sheet.still_asked"), faults)
    return found


def introduce(
    transaction: Transaction, layout: str, said: Mapping[str, str], *, by: str, at: datetime
) -> tuple[IntroducedSheet, bool]:
    """Remember what the columns of a sheet mean, and log who said so; return the sheet, and True if
    it is new. To be run inside one transaction. Raises ``InvalidInput`` for unknown meanings, and
    for a sheet without the columns that each needs."""
    answers = LAYOUTS[layout].answers
    plain = {plain_word(header): meaning for header, meaning in said.items()}
    meanings = {word: meaning for word, meaning in plain.items() if word and word not in answers}
    if faults := list(_faults(LAYOUTS[layout], meanings)):
        raise InvalidInput(lazy("sheet.wrong_meanings"), faults)
    sheet = IntroducedSheet(layout, meanings, at.astimezone(UTC), by)
    before = transaction.introduced_sheets.get(sheet.id)
    if before is not None and before.meanings == sheet.meanings:
        return before, False
    transaction.introduced_sheets.put(sheet)
    record_act(transaction, "sheet-introduced", by=by, at=at, about={"sheet": sheet.id})
    return sheet, before is None


def _faults(layout: Layout, meanings: Mapping[str, str]) -> Iterator[FieldError]:
    """Yield what is wrong with the meanings of headers, by kind of fault."""
    known = set(all_meanings(layout))
    own = [one for one in meanings.values() if one not in (_IGNORED, "comment")]

    def where(is_wrong: Callable[[str, str], bool], says: str) -> Iterator[FieldError]:
        for header, meaning in meanings.items():
            if is_wrong(header, meaning):
                yield FieldError(f"/columns/{header}", meaning, lazy(says))

    yield from where(lambda _, meaning: meaning not in known, "sheet.no_meaning")
    yield from where(lambda _, meaning: own.count(meaning) > 1, "sheet.meaning_twice")
    if missing := [one for one in layout.required if one not in own]:
        named = ", ".join(missing)
        yield FieldError("/columns", None, lazy("sheet.meanings_missing", missing=named))
    yield from where(
        lambda header, meaning: has_other_scale(header) and _is_rated_to_ten(layout, meaning),
        "sheet.other_scale",
    )


def _is_rated_to_ten(layout: Layout, meaning: str) -> bool:
    column = column_of_meaning(layout, meaning)
    return column is not None and column.greatest == _TEN


def forget(transaction: Transaction, sheet_id: str, *, by: str, at: datetime) -> None:
    """Forget what was said of a sheet and log who did. Raises ``NotFound``."""
    if not transaction.introduced_sheets.delete(sheet_id):
        raise NotFound(f"No sheet {sheet_id!r} was introduced.")
    record_act(transaction, "sheet-forgotten", by=by, at=at, about={"sheet": sheet_id})
