"""Which rows does a batch hold, and what became of each?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any, Generic, TypeVar

from dawnrule.errors import DawnruleError, FieldError
from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import render_error
from dawnrule.schemas.base import StrictSchema
from dawnrule.sheet import Layout, RowAnswer, SessionRowAnswer, Sheet, refusal_in_words

T = TypeVar("T")
A = TypeVar("A")

InSheet = RowAnswer | SessionRowAnswer


@dataclass(frozen=True, slots=True)
class Kind(Generic[T, A]):
    """What the rows of a batch are: check-ins, or sessions.

    ``many`` is the list of the JSON body, ``said`` the name in the catalogue of what people call
    it. ``load`` lets a plain one in, ``settled`` refuses those that do not go together,
    ``subject`` fills the required columns of a sheet. ``outcome`` says in a word what became of
    one, ``answer`` the member of its result with the value; ``in_sheet`` and ``refused`` fill the
    answer columns.
    """

    many: str
    said: str
    file_name: str
    body: StrictSchema
    layout: Layout
    load: Callable[[Any], T]
    settled: Callable[[Sequence[T | DawnruleError]], Sequence[T | DawnruleError]]
    subject: Callable[[T], Sequence[str]]
    answer_member: str
    outcome: Callable[[A], str]
    answer: Callable[[A], dict[str, Any]]
    in_sheet: Callable[[A], InSheet]
    refused: Callable[..., InSheet]


@dataclass(frozen=True, slots=True)
class Row(Generic[T]):
    """A row as it was sent: its number and those of all rows that belong to it, what it holds or
    what is wrong with it, where the faults of what it holds stand in what was sent, and in whose
    words they are told to a program."""

    numbers: tuple[int, ...]
    entry: T | DawnruleError
    locate: Callable[[Sequence[FieldError]], Iterable[FieldError]]
    texts: Texts

    def located(self, outcome: A | DawnruleError | None) -> A | DawnruleError | None:
        """What became of the row; the faults of an error are put where they stand."""
        if not isinstance(outcome, DawnruleError):
            return outcome
        return type(outcome)(outcome.detail, tuple(self.locate(outcome.errors)))


@dataclass(frozen=True, slots=True)
class Result(Generic[T, A]):
    """A row and what became of it: its answer, what stands against it, or None: nothing does, and
    yet it is not stored."""

    kind: Kind[T, A]
    row: Row[T]
    outcome: A | DawnruleError | None

    @property
    def is_rejected(self) -> bool:
        """Whether something stands against the row."""
        return isinstance(self.outcome, DawnruleError)

    @property
    def is_stored(self) -> bool:
        """Whether what the row holds is stored, now or from before."""
        return self.outcome is not None and not self.is_rejected

    def to_json(self) -> dict[str, Any]:
        """The result as plain JSON values."""
        if self.outcome is None:
            return self._plain("not-stored")
        if isinstance(self.outcome, DawnruleError):
            told = render_error(self.outcome, self.row.texts)
            return self._plain("rejected", problem=_problem(told))
        return self._plain(self.kind.outcome(self.outcome), self.kind.answer(self.outcome))

    def in_sheet(self, texts: Texts) -> InSheet:
        """What stands beside the row in a sheet; a problem in the language of a catalogue."""
        if self.outcome is None:
            return self.kind.refused(problem=texts.say("sheet.others_rejected"))
        if isinstance(self.outcome, DawnruleError):
            return self.kind.refused(problem=refusal_in_words(self.outcome, texts))
        return self.kind.in_sheet(self.outcome)

    def _plain(self, outcome: str, answer: Any = None, problem: Any = None) -> dict[str, Any]:
        numbers = self.row.numbers
        several = {"rows": list(numbers)} if len(numbers) > 1 else {}
        found = {self.kind.answer_member: answer, "problem": problem}
        return {"row": numbers[0], **several, "outcome": outcome} | found


def rows_of_sheet(sheet: Sheet, load: Callable[[Any], T], texts: Texts) -> list[Row[T]]:
    """The rows of a sheet; a fault's pointer names the column, and it is told in the language of
    a catalogue."""
    return [
        Row(row.numbers, _loaded(partial(row.load, load)), row.in_columns, texts)
        for row in sheet.rows
    ]


def rows_of_json(many: str, entries: Sequence[Any], load: Callable[[Any], T]) -> list[Row[T]]:
    """The rows of a body like ``{"check_ins": [...]}``; a fault's pointer is that of the whole
    body, and it is told in English, as all that programs send as JSON."""
    return [
        Row((place,), _loaded(partial(load, plain)), _under(f"/{many}/{place}"), Texts.bundled())
        for place, plain in enumerate(entries)
    ]


def _loaded(load: Callable[[], T]) -> T | DawnruleError:
    try:
        return load()
    except DawnruleError as error:
        return error


def _under(pointer: str) -> Callable[[Sequence[FieldError]], Iterable[FieldError]]:
    return lambda faults: [FieldError(pointer + f.pointer, f.value, f.detail) for f in faults]


def _problem(error: DawnruleError) -> dict[str, Any]:
    return {
        "title": error.title,
        "status": error.status,
        "detail": error.detail,
        "errors": [asdict(fault) for fault in error.errors],
    }
