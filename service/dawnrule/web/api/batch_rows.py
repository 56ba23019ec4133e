"""Kinds of batch rows, and the outcome of a row as JSON or as cells of a sheet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Generic, TypeVar

from dawnrule.application.batches import Row, RowOutcome
from dawnrule.errors import DawnruleError
from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import render_error
from dawnrule.schemas.base import StrictSchema
from dawnrule.sheet import Layout, RowAnswer, SessionRowAnswer, problem_text

T = TypeVar("T")
A = TypeVar("A")

AnswerCells = RowAnswer | SessionRowAnswer


@dataclass(frozen=True, slots=True)
class Kind(Generic[T, A]):
    """A kind of batch: check-ins, or sessions.

    ``many`` is the member of the JSON body that lists them, ``label`` the name of their word in the
    catalogue. ``load`` validates one, ``reject`` replaces those that contradict each other by
    errors, ``subject`` fills the required columns of a sheet. ``outcome`` names the outcome of one,
    ``answer`` is the value of ``answer_member``; ``answer_cells`` and ``problem_cells`` fill the
    answer columns.
    """

    many: str
    label: str
    file_name: str
    body: StrictSchema
    layout: Layout
    load: Callable[[Any], T]
    reject: Callable[[Sequence[Row[T]]], list[Row[T]]]
    subject: Callable[[T], Sequence[str]]
    answer_member: str
    outcome: Callable[[A], str]
    answer: Callable[[A], dict[str, Any]]
    answer_cells: Callable[[A], AnswerCells]
    problem_cells: Callable[..., AnswerCells]


def outcome_to_json(kind: Kind[T, A], one: RowOutcome[T, A], texts: Texts) -> dict[str, Any]:
    """Describe a row and what became of it; problems are in the language of the catalogue."""
    numbers = one.row.numbers
    found: dict[str, Any] = {"row": numbers[0]}
    if len(numbers) > 1:
        found["rows"] = list(numbers)
    answer = problem = None
    if one.outcome is None:
        found["outcome"] = "not-stored"
    elif isinstance(one.outcome, DawnruleError):
        found["outcome"] = "rejected"
        problem = _problem(render_error(one.outcome, texts))
    else:
        found["outcome"] = kind.outcome(one.outcome)
        answer = kind.answer(one.outcome)
    return found | {kind.answer_member: answer, "problem": problem}


def outcome_cells(kind: Kind[T, A], one: RowOutcome[T, A], texts: Texts) -> AnswerCells:
    """Fill the answer columns of a row; problems are in the language of the catalogue."""
    if one.outcome is None:
        return kind.problem_cells(problem=texts.say("sheet.others_rejected"))
    if isinstance(one.outcome, DawnruleError):
        return kind.problem_cells(problem=problem_text(one.outcome, texts))
    return kind.answer_cells(one.outcome)


def _problem(error: DawnruleError) -> dict[str, Any]:
    return {
        "title": error.title,
        "status": error.status,
        "detail": error.detail,
        "errors": [asdict(fault) for fault in error.errors],
    }
