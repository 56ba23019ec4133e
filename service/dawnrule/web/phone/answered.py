"""What was answered on the page, control by control, and how do a stored check-in's answers look?

A control is called as its answer is in a check-in, with ``/`` between: ``soreness/chest``. No text
is no answer; it is never zero.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import count, takewhile
from typing import Any, Self

from werkzeug.datastructures import MultiDict

from dawnrule.facts.check_in import CheckIn, Pain
from dawnrule.schemas.check_in import MOST_PAINS
from dawnrule.web.phone.planned import Plan, name_of

NONE, SOME = "none", "some"
DATE, SEEN = "date", "seen"
SIGNS = "warning_signs"

_PAIN_PARTS = ("where", "kind", "muscle_groups")


@dataclass(frozen=True, slots=True)
class Answers:
    """The texts of the controls; of those that can be ticked together, several."""

    given: Mapping[str, tuple[str, ...]]

    @classmethod
    def of_form(cls, form: MultiDict[str, str]) -> Self:
        """What a browser sent."""
        return cls.in_a_row({name: tuple(texts) for name, texts in form.lists()})

    @classmethod
    def in_a_row(cls, given: Mapping[str, tuple[str, ...]]) -> Self:
        """Answers of which those on pain may have gaps between them."""
        return cls(_pains_in_a_row(given))

    def one(self, name: str) -> str:
        """The text of a control, without blanks around it."""
        texts = self.given.get(name, ())
        return texts[0].strip() if texts else ""

    def many(self, name: str) -> tuple[str, ...]:
        """What is ticked."""
        return self.given.get(name, ())

    def pains(self) -> int:
        """Of how many pains something was said."""
        return sum(1 for _ in takewhile(lambda n: _says_of_pain(self.given, n), count()))

    def but(self, changed: Mapping[str, tuple[str, ...]]) -> Answers:
        """These answers, with others at some controls."""
        return replace(self, given={**self.given, **changed})

    def completed_by(self, others: Answers) -> Answers:
        """These answers, and the others' where nothing was answered here. A warning sign among the
        others is ticked even so, and "none" no longer: whoever knows that there is none has to
        take it away."""
        kept = {name: texts for name, texts in self.given.items() if any(texts)}
        signs = (sign for sign in others.many(SIGNS) if sign != NONE)
        given = {**self.given, **others.given, **kept}
        if all_signs := tuple(dict.fromkeys((*self.many(SIGNS), *signs))):
            given[SIGNS] = tuple(sign for sign in all_signs if sign != NONE) or all_signs
        return replace(self, given=given)


def answers_of(check_in: CheckIn, plans: Mapping[str, Plan]) -> Answers:
    """A stored check-in as answers; its plan is one of those that can be chosen."""
    return Answers({name: texts for name, texts in _answered(check_in, plans) if any(texts)})


def _pains_in_a_row(given: Mapping[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
    """The answers with the pains of which nothing was said left out."""
    kept = {name: texts for name, texts in given.items() if not name.startswith("pain/")}
    said = (n for n in range(MOST_PAINS) if _says_of_pain(given, n))
    for number, before in enumerate(said):
        for part in _PAIN_PARTS:
            kept[f"pain/{number}/{part}"] = given.get(f"pain/{before}/{part}", ())
    return kept


def _says_of_pain(given: Mapping[str, tuple[str, ...]], number: int) -> bool:
    parts = (given.get(f"pain/{number}/{part}", ()) for part in _PAIN_PARTS)
    return any(text.strip() for texts in parts for text in texts)


def _answered(
    check_in: CheckIn, plans: Mapping[str, Plan]
) -> Iterator[tuple[str, tuple[str, ...]]]:
    yield "plan", (name_of(check_in.plan, plans),)
    for group, rating in check_in.soreness.items():
        yield f"soreness/{group}", (str(rating),)
    yield "sleep/hours", _text(check_in.sleep.hours)
    yield "sleep/quality", _text(check_in.sleep.quality)
    yield "fatigue", _text(check_in.fatigue)
    yield "stress", _text(check_in.stress)
    yield "illness", _text(check_in.illness)
    if check_in.warning_signs is not None:
        yield SIGNS, check_in.warning_signs or (NONE,)
    if check_in.pain is not None:
        yield "pain", (SOME if check_in.pain else NONE,)
        for number, pain in enumerate(check_in.pain):
            yield from _pain(number, pain)


def _pain(number: int, pain: Pain) -> Iterator[tuple[str, tuple[str, ...]]]:
    yield f"pain/{number}/where", (pain.where,)
    yield f"pain/{number}/kind", (pain.kind,)
    yield f"pain/{number}/muscle_groups", pain.muscle_groups


def _text(value: Any) -> tuple[str, ...]:
    if value is None:
        return ()
    return (f"{value:g}" if isinstance(value, float) else str(value),)
