"""Unanswered stop questions: the last answer carries over (pure).

A warning sign, an illness or a pain counts as still there while its question is left open: until
it is answered, or the window of the fact ends. An answer of "none" clears it, and so does a newer
answer of anything else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Self

from dawnrule.facts.history import Past
from dawnrule.facts.pain import pains_of_part
from dawnrule.model import FactValue, Vocabulary
from dawnrule.model.entities import Block, CheckIn

NOT_ILL = "none"


@dataclass(frozen=True, slots=True)
class EarlierAnswer:
    """A check-in that reported something, and how many days ago; 0 where a newer one of the same
    date took its place."""

    days_ago: int
    check_in: CheckIn


@dataclass(frozen=True, slots=True)
class CarriedOver:
    """For each question that this morning leaves open, the last check-in that answered it; None
    where this morning answers, where nothing was answered before, or where it was "none"."""

    warning_signs: EarlierAnswer | None
    illness: EarlierAnswer | None
    pain: EarlierAnswer | None
    vocabulary: Vocabulary
    reads_words: bool = True
    """Whether the place of pain is looked up in the athlete's words."""

    @classmethod
    def of(cls, past: Past) -> Self:
        """Find the last answer to each stop question that a morning leaves open."""
        return cls(
            _last_answer(past, "warning_sign_left_open", lambda c: c.warning_signs),
            _last_answer(past, "illness_left_open", lambda c: c.illness),
            _last_answer(past, "pain_left_open", lambda c: c.pain),
            past.vocabulary,
            past.is_second_edition,
        )

    def day_facts(self) -> Iterator[tuple[str, FactValue]]:
        """Yield the day's facts; of several warning signs the first in the vocabulary counts."""
        if signs := self.warning_signs:
            reported = signs.check_in.warning_signs or ()
            first = next(s for s in self.vocabulary.warning_signs if s in reported)
            yield "warning_sign_left_open", first
            yield "warning_sign_left_open_days", signs.days_ago
        if self.illness and self.illness.check_in.illness:
            yield "illness_left_open", self.illness.check_in.illness
            yield "illness_left_open_days", self.illness.days_ago
        if self.pain:
            yield "pain_left_open_days", self.pain.days_ago

    def part_facts(self, block: Block, group: str | None) -> Iterator[tuple[str, FactValue]]:
        """Yield the kind of the pain that counts for one muscle group of a block; of several the
        first in the vocabulary."""
        if self.pain:
            pains = pains_of_part(
                self.pain.check_in, block, group, self.vocabulary, reads_words=self.reads_words
            )
            here = {pain.kind for pain in pains}
            for kind in [kind for kind in self.vocabulary.pain_kinds if kind in here][:1]:
                yield "pain_left_open", kind


def _last_answer(past: Past, fact: str, read: Callable[[CheckIn], object]) -> EarlierAnswer | None:
    """Return the last check-in that answered a question this morning leaves open, None if its
    answer was "none"."""
    if read(past.check_in) is not None:
        return None
    for days_ago in range(past.parameters(fact)["days"] + 1):
        for check_in in past.check_ins_on(days_ago):
            answer = read(check_in)
            if answer is not None:
                return EarlierAnswer(days_ago, check_in) if answer not in ((), NOT_ILL) else None
    return None
