"""What lies before this morning? The check-ins and the training that facts from history read."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Self, TypeVar

from dawnrule.facts.check_in import Athlete, CheckIn, History
from dawnrule.facts.training_log import TrainingLog
from dawnrule.vocabulary import FactDictionary, Vocabulary

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Past:
    """This morning and all before it; windows and minima stand in the fact dictionary."""

    athlete: Athlete
    check_in: CheckIn
    mornings: Mapping[int, CheckIn]
    """Check-ins by how many days ago they were; this morning's is 0."""
    log: TrainingLog
    dictionary: FactDictionary
    vocabulary: Vocabulary
    last_answers: Sequence[CheckIn] = ()
    """Check-ins that newer ones of the same date may have followed, the newest first."""

    @classmethod
    def of(
        cls,
        athlete: Athlete,
        check_in: CheckIn,
        history: History,
        dictionary: FactDictionary,
        vocabulary: Vocabulary,
    ) -> Self:
        """The past of a morning; the order in which it arrived does not matter."""
        mornings = {(check_in.date - c.date).days: c for c in history.check_ins}
        mornings = {age: c for age, c in mornings.items() if age > 0} | {0: check_in}
        answers = history.last_answers[::-1]
        log = TrainingLog.of(athlete, history, check_in.date)
        return cls(athlete, check_in, mornings, log, dictionary, vocabulary, answers)

    def parameters(self, fact: str) -> Mapping[str, Any]:
        """The numbers that a fact is computed with."""
        return self.dictionary[fact].parameters

    def sent(self, days_ago: int) -> Iterator[CheckIn]:
        """The check-ins of a date that are known, the newest first."""
        if days_ago in self.mornings:
            yield self.mornings[days_ago]
        day = self.check_in.date - timedelta(days=days_ago)
        yield from (answer for answer in self.last_answers if answer.date == day)

    def reported(self, read: Callable[[CheckIn], T | None], first: int, days: int) -> list[T]:
        """What ``read`` finds in so many mornings, the latest ``first`` days ago; the latest comes
        first, and what was not reported is left out."""
        ages = (age for age in range(first, first + days) if age in self.mornings)
        found = (read(self.mornings[age]) for age in ages)
        return [value for value in found if value is not None]
