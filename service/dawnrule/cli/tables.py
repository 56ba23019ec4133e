"""Advice and errors as text for a terminal."""

from __future__ import annotations

import textwrap
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice, starmap
from typing import Self, TypeAlias

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
from dawnrule.model.advice import Advice, NoAdvice
from dawnrule.sheet import location_of
from dawnrule.sheet.errors import CellFault, in_ranges

_LINE_WIDTH = 100
_MOST_CELLS = 8  # or ranges of them, that are named in one line
_MOST_VALUES = 3  # of one cause that are told, in a line of their own if there are no more

_Hit: TypeAlias = tuple[int, FieldError | None]
"""The number of a row, and its fault; None where it is of no field."""


@dataclass(frozen=True, slots=True)
class AdviceLine:
    """What a table has of an advice: its line, the caution of an athlete who rests, None for
    others, and what is remarked below the table."""

    athlete_id: str
    date: str
    verdict: str
    rule: str
    why: str
    caution: str | None
    remarks: tuple[str, ...]

    @classmethod
    def of(cls, advice: Advice, composer: Composer) -> Self:
        """Word an advice for a table."""
        return cls(
            advice.athlete_id,
            advice.date.isoformat(),
            composer.vocabulary.label(advice.verdict),
            advice.rule.id if advice.rule else "-",
            reason_text(advice, composer, short=True),
            advice.caution if _rests(advice) else None,
            tuple(_remarks(advice, composer)),
        )

    @classmethod
    def without_verdict(cls, why: NoAdvice) -> Self:
        """Word for a table why there is no verdict."""
        on = why.date.isoformat()
        return cls(why.athlete_id, on, why.headline, "-", why.reason, why.caution, ())


def advice_table(advice: Sequence[AdviceLine], names: Mapping[str, str], texts: Texts) -> str:
    """Tabulate advice, a line each, followed by the cautions of athletes who rest, the questions
    that others left unanswered, and their notes in short. A text about several athletes appears
    once, with their names.

    ``names`` are those of athletes by id; athletes without one are shown by id.
    """
    columns = {
        "athlete": [_who(one, names) for one in advice],
        "date": [one.date for one in advice],
        "verdict": [one.verdict for one in advice],
        "rule": [one.rule for one in advice],
        "why": [one.why for one in advice],
    }
    if len(set(columns["date"])) == 1:
        del columns["date"]
    headers = [texts.say(f"table.{name}") for name in columns]
    table = tabulate(
        list(zip(*columns.values(), strict=True)), headers=headers, disable_numparse=True
    )
    cautions = [(_who(one, names), one.caution) for one in advice if one.caution is not None]
    athletes: dict[str, list[str]] = defaultdict(list)
    for one in advice:
        for text in one.remarks:
            athletes[text].append(_who(one, names))
    remarks = [(", ".join(who), text) for text, who in athletes.items()]
    return "\n\n".join([table, *starmap(_wrapped, (*cautions, *remarks))])


def refusal_lines(error: DawnruleError, texts: Texts) -> list[str]:
    """List what is wrong, field by field, in the language of a catalogue; the error's own detail
    where it names no field, and for a file that cannot be read as a whole."""
    if isinstance(error, MalformedInput):
        return [render(error.detail, texts)]
    return [_fault_line(fault, texts) for fault in error.errors] or [render(error.detail, texts)]


def grouped_refusal_lines(refused: Sequence[tuple[int, DawnruleError]], texts: Texts) -> list[str]:
    """List what is wrong with rows, each cause once with the rows and cells that it hits, in the
    order of the first row of each."""
    found: dict[str, list[_Hit]] = {}
    for number, error in refused:
        for fault in error.errors or (None,):
            cause = render(error.detail, texts) if fault is None else _cause(fault, texts)
            found.setdefault(cause, []).append((number, fault))
    lines = ((cause, some) for cause, hits in found.items() for some in _by_value(hits))
    return [_grouped_line(cause, hits, texts) for cause, hits in lines]


def _cause(fault: FieldError, texts: Texts) -> str:
    return _fault_line(FieldError(fault.pointer, None, fault.detail), texts)


def _by_value(hits: Sequence[_Hit]) -> Sequence[Sequence[_Hit]]:
    """Part what one cause hits by the value that was found, unless there are many values."""
    by_value: dict[str, list[_Hit]] = {}
    for hit in hits:
        by_value.setdefault(repr(hit[1] and hit[1].value), []).append(hit)
    return [*by_value.values()] if len(by_value) <= _MOST_VALUES else [hits]


def _grouped_line(cause: str, hits: Sequence[_Hit], texts: Texts) -> str:
    faults = [fault for _, fault in hits if fault is not None]
    line = cause
    if faults:
        cells = in_ranges(fault.cell for fault in faults if isinstance(fault, CellFault))
        first = replace(faults[0], value=None)
        if isinstance(first, CellFault):
            first = replace(first, cell=", ".join(_first(cells, _MOST_CELLS)))
        values = dict.fromkeys(repr(fault.value) for fault in faults if fault.value is not None)
        line = _with_found(_fault_line(first, texts), values, texts)
    rows = in_ranges(str(number) for number, _ in hits)
    if len(hits) == 1:
        return texts.say("sheet.at_row", number=rows[0], fault=line)
    return texts.say("sheet.at_rows", count=len(hits), rows=", ".join(rows), fault=line)


def _first(some: Iterable[str], most: int) -> list[str]:
    """Return the first of some names, and dots where there are more."""
    kept = [*islice(some, most + 1)]
    return [*kept[:most], "..."] if len(kept) > most else kept


def _fault_line(fault: FieldError, texts: Texts) -> str:
    """Describe one faulty field: its name, what would be accepted, and what was found."""
    line = f"{location_of(fault)} {render(fault.detail, texts)}".strip()
    return _with_found(line, [] if fault.value is None else [repr(fault.value)], texts)


def _with_found(line: str, values: Collection[str], texts: Texts) -> str:
    shown = ", ".join(_first(values, _MOST_VALUES))
    return texts.say("sheet.found", fault=line, value=shown) if values else line


def _rests(advice: Advice) -> bool:
    """Tell whether the day rests, or a part by the rule that decides the day."""
    return any(
        one.verdict is Verdict.REST and one.rule == advice.rule for one in advice.day_and_parts
    )


def _remarks(advice: Advice, composer: Composer) -> Iterator[str]:
    """Yield the open questions, sessions and notes; none for a day of rest, whose caution stands
    alone."""
    if advice.verdict is not Verdict.REST:
        notes = (f"{n.rule.title}. {first_sentence(n.caution)}".strip() for n in advice.notes)
        sessions = sessions_sentences(advice, composer)
        yield from filter(None, (unanswered_questions(advice, composer), *sessions, *notes))


def _wrapped(who: str, text: str) -> str:
    return textwrap.fill(
        f"{who}: {text}", _LINE_WIDTH, subsequent_indent="  ", break_long_words=False
    )


def _who(advice: AdviceLine, names: Mapping[str, str]) -> str:
    athlete_id = advice.athlete_id
    name = names.get(athlete_id, athlete_id)
    return name if name == athlete_id else f"{name} ({athlete_id})"
