"""Whose advice for today is by other rules than decide now, and what do those say?

An activation changes no advice that was given. It stays until the check-in is sent again, or a
coach has it decided again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.morning import Posting, advise_again_today, by_other_rules
from dawnrule.facts.check_in import Athlete
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Books, Store


@dataclass(frozen=True, slots=True)
class Counted:
    """Of how many athletes the advice for today is by other rules than decide now and stays, and
    of how many it was decided again."""

    stays: int
    decided_again: int = 0


@dataclass(frozen=True, slots=True)
class Again:
    """Today's advice of one store; ``rule_set`` decides where none was activated. ``clock`` gives
    aware times, ``new_id`` ids that are never given twice."""

    store: Store
    advisor: Advisor
    rule_set: RuleSet
    clock: Callable[[], datetime]
    new_id: Callable[[], str]

    def count(self, athlete_ids: Sequence[str] | None, *, decide: bool, by: str | None) -> Counted:
        """Count, and with ``decide`` decide again, for athletes or for all (None)."""
        athletes = self._by_other_rules(athlete_ids)
        if not decide:
            return Counted(len(athletes))
        # Each in a transaction of its own, so that check-ins come in between.
        done = sum(self._decided_again(athlete, by) for athlete in athletes)
        return Counted(len(athletes) - done, done)

    def _by_other_rules(self, athlete_ids: Sequence[str] | None) -> list[Athlete]:
        def find(books: Books) -> list[Athlete]:
            return [
                athlete
                for athlete in books.athletes.all()
                if (athlete_ids is None or athlete.id in athlete_ids) and self._is(books, athlete)
            ]

        return self.store.read(find)

    def _is(self, books: Books, athlete: Athlete) -> bool:
        now = self.clock()
        today = athlete.today(now)
        return by_other_rules(books, self.advisor, self.rule_set, athlete, today, now)

    def _decided_again(self, athlete: Athlete, by: str | None) -> bool:
        """False where the athlete, or today's check-in, has gone meanwhile."""
        posting = Posting(self.clock(), by, self.new_id(), self.new_id())

        def decide(books: Books) -> bool:
            answer = advise_again_today(books, self.advisor, self.rule_set, athlete, posting)
            return answer is not None

        return self.store.write(decide)
