"""Kinds of batch rows, and the outcome of a row in an answer or as cells of a sheet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Generic, TypeGuard, TypeVar

from dawnrule.advice.summary import until_corrected
from dawnrule.application.batches import Row, RowOutcome
from dawnrule.application.sessions import Logged
from dawnrule.errors import DawnruleError
from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import render_error
from dawnrule.model import Verdict
from dawnrule.model.advice import Advice
from dawnrule.schemas.base import StrictSchema
from dawnrule.sheet import Layout, RowAnswer, SessionRowAnswer, Sheet, SheetReading, problem_text

T = TypeVar("T")
A = TypeVar("A")

AnswerCells = RowAnswer | SessionRowAnswer


@dataclass(frozen=True, slots=True)
class Kind(Generic[T, A]):
    """A kind of batch: check-ins, or sessions.

    ``many`` is the member of the JSON body that lists them, ``label`` the name of their word in the
    catalogue. ``load`` validates one, ``rows_of_sheet`` loads those of a sheet, ``reject`` replaces
    those that contradict each other by errors, ``subject`` fills the required columns of a sheet.
    ``outcome`` names the outcome of one, and ``answer`` is what is said of it; ``answer_cells`` and
    ``problem_cells`` fill the answer columns.
    """

    many: str
    label: str
    file_name: str
    body: StrictSchema
    result: StrictSchema
    layout: Layout
    load: Callable[[Any], T]
    reject: Callable[[Sequence[Row[T]]], list[Row[T]]]
    rows_of_sheet: Callable[[Sheet], list[Row[T]]]
    subject: Callable[[T], Sequence[str]]
    outcome: Callable[[A], str]
    answer: Callable[[A], Advice | Logged]
    answer_cells: Callable[[A], AnswerCells]
    problem_cells: Callable[..., AnswerCells]


@dataclass(frozen=True, slots=True)
class RowResult:
    """A row and what became of it; ``rows`` are all rows of a sheet that belong to it, None where
    there is one."""

    row: int
    rows: Sequence[int] | None
    outcome: str
    answer: Advice | Logged | None = None
    problem: DawnruleError | None = None


@dataclass(frozen=True, slots=True)
class BatchResult:
    """A batch and what became of each row, in the order sent; ``sheet`` is None for JSON."""

    accepted: int
    rejected: int
    sheet: SheetReading | None
    results: Sequence[RowResult]


def row_result(kind: Kind[T, A], one: RowOutcome[T, A], texts: Texts) -> RowResult:
    """Describe a row and what became of it; problems are in the language of the catalogue."""
    numbers = one.row.numbers
    place = numbers[0], numbers if len(numbers) > 1 else None
    if one.outcome is None:
        return RowResult(*place, "not-stored")
    if isinstance(one.outcome, DawnruleError):
        return RowResult(*place, "rejected", problem=render_error(one.outcome, texts))
    answer = kind.answer(one.outcome)
    if one.rest is not None:
        said = None if _is_training(answer) else answer
        return RowResult(*place, "dangers-only", said, render_error(one.rest, texts))
    return RowResult(*place, kind.outcome(one.outcome), answer)


def outcome_cells(kind: Kind[T, A], one: RowOutcome[T, A], texts: Texts) -> AnswerCells:
    """Fill the answer columns of a row; problems are in the language of the catalogue."""
    if one.outcome is None:
        return kind.problem_cells(problem=texts.say("sheet.others_rejected"))
    if isinstance(one.outcome, DawnruleError):
        return kind.problem_cells(problem=problem_text(one.outcome, texts))
    answer = kind.answer(one.outcome)
    if one.rest is not None and _is_training(answer):
        return RowAnswer.without_verdict(until_corrected(answer, texts), one.rest, texts)
    cells = kind.answer_cells(one.outcome)
    return replace(cells, problem=problem_text(one.rest, texts)) if one.rest else cells


def _is_training(answer: Advice | Logged) -> TypeGuard[Advice]:
    """Tell whether it would say to train: never on a row whose plan was perhaps not read."""
    return isinstance(answer, Advice) and answer.verdict is Verdict.TRAIN
