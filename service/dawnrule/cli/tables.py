"""Advice and errors as text for a terminal."""

from __future__ import annotations

import textwrap
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

from tabulate import tabulate

from dawnrule.advice.composer import Composer
from dawnrule.advice.summary import (
    first_sentence,
    reason_text,
    sessions_sentences,
    unanswered_questions,
)
from dawnrule.errors import DawnruleError, FieldError, MalformedInput
from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import render
from dawnrule.model import Verdict
from dawnrule.model.advice import Advice
from dawnrule.sheet import location_of
from dawnrule.sheet.errors import CellFault

_LINE_WIDTH = 100
_MOST_CELLS = 8  # that are named in one line


def advice_table(advice: Sequence[Advice], names: Mapping[str, str], composer: Composer) -> str:
    """Tabulate advice, a line each, followed by the cautions of athletes who rest, the questions
    that others left unanswered, and their notes in short. A text about several athletes appears
    once, with their names.

    ``names`` are those of athletes by id; athletes without one are shown by id.
    """
    columns = {
        "athlete": [_who(one, names) for one in advice],
        "date": [one.date.isoformat() for one in advice],
        "verdict": [composer.vocabulary.label(one.verdict) for one in advice],
        "rule": [one.rule.id if one.rule else "-" for one in advice],
        "why": [reason_text(one, composer, short=True) for one in advice],
    }
    if len(set(columns["date"])) == 1:
        del columns["date"]
    headers = [composer.texts.say(f"table.{name}") for name in columns]
    table = tabulate(
        list(zip(*columns.values(), strict=True)), headers=headers, disable_numparse=True
    )
    cautions = (_wrapped(_who(one, names), one.caution) for one in advice if _rests(one))
    return "\n\n".join([table, *cautions, *_remarks(advice, names, composer)])


def refusal_lines(error: DawnruleError, texts: Texts) -> list[str]:
    """List what is wrong, field by field, in the language of a catalogue; the error's own detail
    where it names no field, and for a file that cannot be read as a whole."""
    if isinstance(error, MalformedInput):
        return [render(error.detail, texts)]
    return [_fault_line(fault, texts) for fault in error.errors] or [render(error.detail, texts)]


def grouped_refusal_lines(refused: Sequence[tuple[int, DawnruleError]], texts: Texts) -> list[str]:
    """List what is wrong with rows, each cause once with the rows and cells that it hits, in the
    order of the first row of each."""
    found: dict[str, list[tuple[int, FieldError | None]]] = {}
    for number, error in refused:
        for fault in error.errors or (None,):
            cause = render(error.detail, texts) if fault is None else _cause(fault, texts)
            found.setdefault(cause, []).append((number, fault))
    return [_grouped_line(cause, hits, texts) for cause, hits in found.items()]


def _cause(fault: FieldError, texts: Texts) -> str:
    return _fault_line(FieldError(fault.pointer, fault.value, fault.detail), texts)


def _grouped_line(cause: str, hits: Sequence[tuple[int, FieldError | None]], texts: Texts) -> str:
    cells = [fault.cell for _, fault in hits if isinstance(fault, CellFault)]
    first, more = hits[0][1], ", ..." if len(cells) > _MOST_CELLS else ""
    line = cause
    if isinstance(first, CellFault):
        shown = ", ".join(cells[:_MOST_CELLS]) + more
        line = _fault_line(replace(first, cell=shown), texts)
    rows = [str(number) for number, _ in hits]
    if len(rows) == 1:
        return texts.say("sheet.at_row", number=rows[0], fault=line)
    return texts.say("sheet.at_rows", count=len(rows), rows=", ".join(rows), fault=line)


def _fault_line(fault: FieldError, texts: Texts) -> str:
    """Describe one faulty field: its name, what would be accepted, and what was found."""
    line = f"{location_of(fault)} {render(fault.detail, texts)}".strip()
    is_found = fault.value is not None
    return texts.say("sheet.found", fault=line, value=repr(fault.value)) if is_found else line


def _rests(advice: Advice) -> bool:
    """Tell whether the day rests, or a part by the rule that decides the day."""
    return any(
        one.verdict is Verdict.REST and one.rule == advice.rule for one in advice.day_and_parts
    )


def _remarks(advice: Sequence[Advice], names: Mapping[str, str], composer: Composer) -> list[str]:
    """Return open questions, sessions and notes; none for a day of rest, whose caution stands
    alone."""
    athletes: dict[str, list[str]] = defaultdict(list)
    for one in (one for one in advice if one.verdict is not Verdict.REST):
        notes = (f"{n.rule.title}. {first_sentence(n.caution)}".strip() for n in one.notes)
        sessions = sessions_sentences(one, composer)
        for text in filter(None, (unanswered_questions(one, composer), *sessions, *notes)):
            athletes[text].append(_who(one, names))
    return [_wrapped(", ".join(who), text) for text, who in athletes.items()]


def _wrapped(who: str, text: str) -> str:
    return textwrap.fill(
        f"{who}: {text}", _LINE_WIDTH, subsequent_indent="  ", break_long_words=False
    )


def _who(advice: Advice, names: Mapping[str, str]) -> str:
    athlete_id = advice.athlete_id
    name = names.get(athlete_id, athlete_id)
    return name if name == athlete_id else f"{name} ({athlete_id})"
