"""How does a person at a terminal read advice and refusals?"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from tabulate import tabulate

from dawnrule.advice.told import first_sentence
from dawnrule.errors import DawnruleError, FieldError
from dawnrule.vocabulary import Verdict, Vocabulary

_DATE = "Date"
_LINE_WIDTH = 100


def advice_table(advice: Sequence[Mapping[str, Any]], names: Mapping[str, str]) -> str:
    """A line for each advice (plain JSON values), and below it what those at rest must heed.

    ``names`` says by athlete id how people call the athlete; the id stands for who has none.
    """
    columns = {header: [cell(one, names) for one in advice] for header, cell in _COLUMNS.items()}
    if len(set(columns[_DATE])) == 1:
        del columns[_DATE]
    table = tabulate(columns, headers="keys", disable_numparse=True)
    cautions = (_caution(one, names) for one in advice if one["verdict"] == Verdict.REST)
    return "\n\n".join([table, *cautions])


def refusal_lines(error: DawnruleError) -> list[str]:
    """What is wrong, field by field; the error's own words where it names no field."""
    return [fault_in_words(fault) for fault in error.errors] or [error.detail]


def fault_in_words(fault: FieldError) -> str:
    """One wrong field: which, what would be accepted, and what was found."""
    field = fault.pointer.removeprefix("/")
    found = "" if fault.value is None else f" (found: {fault.value!r})"
    return f"{field} {fault.detail}{found}".strip()


def _caution(advice: Mapping[str, Any], names: Mapping[str, str]) -> str:
    text = f"{_who(advice, names)}: {advice['caution']}"
    return textwrap.fill(text, _LINE_WIDTH, subsequent_indent="  ", break_long_words=False)


def _who(advice: Mapping[str, Any], names: Mapping[str, str]) -> str:
    athlete_id: str = advice["athlete_id"]
    name = names.get(athlete_id, athlete_id)
    return name if name == athlete_id else f"{name} ({athlete_id})"


_COLUMNS: Mapping[str, Callable[[Mapping[str, Any], Mapping[str, str]], str]] = {
    "Athlete": _who,
    _DATE: lambda advice, _: str(advice["date"]),
    "Verdict": lambda advice, _: Vocabulary.shipped().label(advice["verdict"]),
    "Rule": lambda advice, _: advice["rule"]["id"] if advice["rule"] else "-",
    "Why": lambda advice, _: first_sentence(advice["reason"]),
}
