"""What lies before this morning? The check-ins and the training that facts from history read."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
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
        log = TrainingLog.of(athlete, history, check_in.date)
        return cls(athlete, check_in, mornings, log, dictionary, vocabulary)

    def parameters(self, fact: str) -> Mapping[str, Any]:
        """The numbers that a fact is computed with."""
        return self.dictionary[fact].parameters

    def reported(self, read: Callable[[CheckIn], T | None], first: int, days: int) -> list[T]:
        """What ``read`` finds in so many mornings, the latest ``first`` days ago; the latest comes
        first, and what was not reported is left out."""
        ages = (age for age in range(first, first + days) if age in self.mornings)
        found = (read(self.mornings[age]) for age in ages)
        return [value for value in found if value is not None]
