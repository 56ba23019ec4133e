"""Answered sheets as CSV, with an answer in each row."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Self

from dawnrule.errors import DawnruleError, FieldError
from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import render
from dawnrule.model import Verdict, Vocabulary
from dawnrule.model.advice import Advice, NoAdvice
from dawnrule.sheet.cells import Cell, cell_text, is_number
from dawnrule.sheet.columns import plain_name
from dawnrule.sheet.errors import location_of
from dawnrule.sheet.formulas import escape_formula, looks_like_formula
from dawnrule.sheet.sheet import Sheet

_BYTE_ORDER_MARK = "\ufeff"


@dataclass(frozen=True, slots=True)
class RowAnswer:
    """The answer to a check-in's row: the advice in words, or the problem that stands against
    it."""

    verdict: str = ""
    rule: str = ""
    reason: str = ""
    caution: str = ""
    problem: str = ""

    @classmethod
    def of_advice(cls, advice: Advice | NoAdvice, reason: str, vocabulary: Vocabulary) -> Self:
        """Answer a row with advice, or with why there is none; ``reason`` is that of the advice in
        words.

        A sheet has no column for notes, so their cautions follow the caution; on a day of rest
        nothing follows it.
        """
        if isinstance(advice, NoAdvice):
            return cls(problem=advice.headline)
        notes = () if advice.verdict is Verdict.REST else advice.notes
        caution = " ".join([advice.caution, *(note.caution for note in notes if note.caution)])
        rule = advice.rule.id if advice.rule else ""
        return cls(vocabulary.label(advice.verdict), rule, reason, caution)

    @classmethod
    def of_refusal(cls, error: DawnruleError, texts: Texts) -> Self:
        """Answer a row with the error that stands against it, in the language of a catalogue."""
        return cls(problem=problem_text(error, texts))

    @classmethod
    def without_verdict(cls, why: NoAdvice, rest: DawnruleError, texts: Texts) -> Self:
        """Answer a row of which the dangers alone could be read with why there is no verdict, and
        with the error that stands against the rest of it."""
        problem = problem_text(rest, texts)
        return cls(why.headline, reason=why.reason, caution=why.caution, problem=problem)


@dataclass(frozen=True, slots=True)
class SessionRowAnswer:
    """The answer to a session's row: its id and the advice that supersedes today's, or the problem
    that stands against it."""

    session_id: str = ""
    today_verdict: str = ""
    today_headline: str = ""
    problem: str = ""


Answers = Sequence[RowAnswer] | Sequence[SessionRowAnswer] | Sequence[RowAnswer | SessionRowAnswer]


def problem_text(error: DawnruleError, texts: Texts) -> str:
    """Describe an error in the language of a catalogue: each fault with its column, or the error's
    own detail where it names none."""
    faults = (_fault_text(fault, texts) for fault in error.errors)
    return "; ".join(faults) or str(render(error.detail, texts))


def _fault_text(fault: FieldError, texts: Texts) -> str:
    return f"{location_of(fault)} {render(fault.detail, texts)}".strip()


def write_sheet(sheet: Sheet, answers: Answers) -> str:
    """Write the sheet as CSV text (RFC 4180, the sheet's own delimiter) with an answer in each row.

    The columns come back as they came, except answer columns of an earlier reply, which are
    replaced, and text that a spreadsheet program would run as a formula, which gets an apostrophe.
    """
    text = io.StringIO(_BYTE_ORDER_MARK if sheet.has_byte_order_mark else "", newline="")
    text.seek(0, io.SEEK_END)
    writer = csv.writer(text, delimiter=sheet.delimiter, lineterminator="\r\n")
    added = sheet.layout.answers
    kept = [i for i, name in enumerate(sheet.header) if plain_name(name) not in added]
    writer.writerow(_safe([*(sheet.header[i] for i in kept), *added]))
    answer_cells = answers_by_row(sheet, answers)
    for line in sheet.lines:
        cells = (line.values[i] for i in kept)
        writer.writerow(_safe([*cells, *answer_cells[line.number]]))
    return text.getvalue()


def answers_by_row(sheet: Sheet, answers: Answers) -> dict[int, list[str]]:
    """Return the cells of the answer columns, by the number of their row."""
    added = sheet.layout.answers
    return {
        line.number: [getattr(answer, name) for name in added]
        for row, answer in zip(sheet.rows, answers, strict=True)
        for line in row.lines
    }


def _safe(cells: Sequence[Cell]) -> Iterator[str]:
    for cell in cells:
        text = cell_text(cell)
        is_value = isinstance(cell, int | float) or is_number(text)
        yield escape_formula(text) if looks_like_formula(text) and not is_value else text
