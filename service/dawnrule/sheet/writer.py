"""How does a sheet go back with the answer beside each row?"""

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
from dawnrule.sheet.cells import Cell, is_number, shown
from dawnrule.sheet.columns import plain_name
from dawnrule.sheet.errors import where_in_words
from dawnrule.sheet.formulas import guarded, looks_like_formula
from dawnrule.sheet.sheet import Sheet

_BYTE_ORDER_MARK = "\ufeff"


@dataclass(frozen=True, slots=True)
class RowAnswer:
    """What a row gets back: the advice in words, or the problem that stands against one."""

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
        caution = " ".join([advice.caution, *(note.caution for note in notes)])
        rule = advice.rule.id if advice.rule else ""
        return cls(vocabulary.label(advice.verdict), rule, reason, caution)

    @classmethod
    def of_refusal(cls, error: DawnruleError, texts: Texts) -> Self:
        """What stands against a row, in the language of a catalogue."""
        return cls(problem=refusal_in_words(error, texts))


@dataclass(frozen=True, slots=True)
class SessionRowAnswer:
    """What a session's row gets back: its id and the advice that takes the place of today's, or
    the problem that stands against it."""

    session_id: str = ""
    today_verdict: str = ""
    today_headline: str = ""
    problem: str = ""


Answers = Sequence[RowAnswer] | Sequence[SessionRowAnswer] | Sequence[RowAnswer | SessionRowAnswer]


def refusal_in_words(error: DawnruleError, texts: Texts) -> str:
    """What stands against a row, in the language of a catalogue: each fault with its column, or
    what went wrong otherwise."""
    faults = (_fault_in_words(fault, texts) for fault in error.errors)
    return "; ".join(faults) or str(render(error.detail, texts))


def _fault_in_words(fault: FieldError, texts: Texts) -> str:
    return f"{where_in_words(fault)} {render(fault.detail, texts)}".strip()


def write_sheet(sheet: Sheet, answers: Answers) -> str:
    """The sheet as CSV text (RFC 4180, the sheet's own delimiter) with an answer for each row.

    The given columns come back as they came, save answer columns of an earlier reply and text
    that a spreadsheet program would take for a formula: that is led by an apostrophe.
    """
    text = io.StringIO(_BYTE_ORDER_MARK if sheet.has_byte_order_mark else "", newline="")
    text.seek(0, io.SEEK_END)
    writer = csv.writer(text, delimiter=sheet.delimiter, lineterminator="\r\n")
    added = sheet.layout.answers
    kept = [i for i, name in enumerate(sheet.header) if plain_name(name) not in added]
    writer.writerow(_safe([*(sheet.header[i] for i in kept), *added]))
    beside = answers_by_row(sheet, answers)
    for line in sheet.lines:
        given = (line.values[i] for i in kept)
        writer.writerow(_safe([*given, *beside[line.number]]))
    return text.getvalue()


def answers_by_row(sheet: Sheet, answers: Answers) -> dict[int, list[str]]:
    """The cells of the answer columns by the number of the row that they stand in."""
    added = sheet.layout.answers
    return {
        line.number: [getattr(answer, name) for name in added]
        for row, answer in zip(sheet.rows, answers, strict=True)
        for line in row.lines
    }


def _safe(cells: Sequence[Cell]) -> Iterator[str]:
    for cell in cells:
        text = shown(cell)
        is_value = isinstance(cell, int | float) or is_number(text)
        yield guarded(text) if looks_like_formula(text) and not is_value else text
