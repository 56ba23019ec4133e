"""The forms in which ``dawnrule advise`` answers: what each shows of a row, and all of it together.

What is shown of a row is made beside its advice, maybe in another process: it is less than the
advice.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

from dawnrule.advice.composer import Composer
from dawnrule.advice.summary import reason_text, until_corrected
from dawnrule.application.amendments import Told
from dawnrule.application.batches import RowOutcome
from dawnrule.application.check_ins import Submitted
from dawnrule.cli.tables import AdviceLine, advice_table
from dawnrule.errors import DawnruleError
from dawnrule.i18n.catalog import Texts
from dawnrule.model import Verdict
from dawnrule.model.advice import Advice
from dawnrule.model.serialization import to_json
from dawnrule.sheet import AnswerBook, RowAnswer, Sheet, problem_text, write_sheet

Outcome: TypeAlias = RowOutcome[Told, Submitted]
Names: TypeAlias = Mapping[str, str]
"""The names of athletes by id."""


@dataclass(frozen=True, slots=True)
class AnswerForm:
    """A form of answer: what it shows of a row, and the answer of what it shows of all rows, in
    their order."""

    of_row: Callable[[Outcome, Composer], Any]
    of_all: Callable[[Sheet, Sequence[Any], Names, Texts], bytes]


def _line_of(one: Outcome, composer: Composer) -> AdviceLine | None:
    if advice := advice_shown(one):
        return AdviceLine.of(advice, composer)
    if isinstance(one.outcome, Submitted):
        return AdviceLine.without_verdict(until_corrected(one.outcome.advice, composer.texts))
    return None


def _as_text(_: Sheet, shown: Sequence[AdviceLine | None], names: Names, texts: Texts) -> bytes:
    lines = [line for line in shown if line]
    return _encoded(advice_table(lines, names, texts) if lines else texts.say("table.no_row"))


def _json_of(one: Outcome, composer: Composer) -> str | None:
    """Write advice as an entry of the list that is the answer."""
    if not isinstance(one.outcome, Submitted):
        return None
    shown = advice_shown(one) or until_corrected(one.outcome.advice, composer.texts)
    as_only_one = json.dumps([to_json(shown)], indent=2, ensure_ascii=False)
    return as_only_one.removeprefix("[\n").removesuffix("\n]")


def _as_json(_: Sheet, shown: Sequence[str | None], *__: object) -> bytes:
    entries = ",\n".join(filter(None, shown))
    return _encoded(f"[\n{entries}\n]" if entries else "[]")


def _answer_of(one: Outcome, composer: Composer) -> RowAnswer:
    if isinstance(one.outcome, DawnruleError):
        return RowAnswer.of_refusal(one.outcome, composer.texts)
    if one.outcome is None:
        return RowAnswer()
    rest = one.rest
    if rest is not None and _trains_unread(one):
        why = until_corrected(one.outcome.advice, composer.texts)
        return RowAnswer.without_verdict(why, rest, composer.texts)
    reason = reason_text(one.outcome.advice, composer)
    answer = RowAnswer.of_advice(one.outcome.advice, reason, composer.vocabulary)
    return replace(answer, problem=problem_text(rest, composer.texts)) if rest else answer


def _as_csv(sheet: Sheet, shown: Sequence[RowAnswer], *_: object) -> bytes:
    return write_sheet(sheet, shown).encode("utf-8", "replace")


def _as_xlsx(sheet: Sheet, shown: Sequence[RowAnswer], *_: object) -> bytes:
    return AnswerBook.open(sheet).with_answers(shown)


def _encoded(text: str) -> bytes:
    """Encode a text and end its line, in UTF-8; a lone surrogate, which JSON may contain, becomes a
    question mark."""
    return f"{text}\n".encode("utf-8", "replace")


def advice_shown(one: Outcome) -> Advice | None:
    """Return the advice on a row; none where only the dangers of the row were read, and the advice
    would say to train."""
    is_shown = isinstance(one.outcome, Submitted) and not _trains_unread(one)
    return one.outcome.advice if isinstance(one.outcome, Submitted) and is_shown else None


def _trains_unread(one: Outcome) -> bool:
    """Tell whether a row of which only the dangers were read would say to train."""
    trains = isinstance(one.outcome, Submitted) and one.outcome.advice.verdict is Verdict.TRAIN
    return trains and one.rest is not None


FORMS: Mapping[str, AnswerForm] = {
    "text": AnswerForm(_line_of, _as_text),
    "json": AnswerForm(_json_of, _as_json),
    "csv": AnswerForm(_answer_of, _as_csv),
    "xlsx": AnswerForm(_answer_of, _as_xlsx),
}
