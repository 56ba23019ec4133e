"""What does the page start from: what was sent today, which plans there are, what holds?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from dawnrule.facts.check_in import Athlete, Block, CheckIn
from dawnrule.facts.muscle_groups import groups_of
from dawnrule.facts.plain import from_plain
from dawnrule.store import Books, StoredAdvice, StoredCheckIn
from dawnrule.vocabulary import Vocabulary
from dawnrule.web.phone.answered import Answers, answers_of
from dawnrule.web.phone.planned import COACH, OFF, Plan, plans_to_choose_from


@dataclass(frozen=True, slots=True)
class Day:
    """One athlete's today: the newest check-in and the advice that was given on it, None before
    the first, and the plans that can be chosen from."""

    athlete: Athlete
    date: date
    stored: StoredCheckIn | None
    plans: Mapping[str, Plan]
    given: StoredAdvice | None

    @classmethod
    def of(cls, books: Books, athlete: Athlete, now: datetime) -> Day:
        """The day as it stands in the books."""
        today = athlete.today(now)
        stored = books.check_ins.latest(athlete.id, today)
        plans = plans_to_choose_from(
            athlete,
            from_plain(CheckIn, stored.body).plan if stored else None,
            _of_coach(books, athlete, today),
            _of_yesterday(books, athlete, today - timedelta(days=1)),
        )
        return cls(athlete, today, stored, plans, books.advice.latest(athlete.id, today))

    @property
    def as_of(self) -> datetime | None:
        """When the advice was given, on the athlete's clock."""
        if self.given is None:
            return None
        return self.given.decided_at.astimezone(ZoneInfo(self.athlete.time_zone))

    @property
    def revision(self) -> int:
        """Which of today's check-ins is the newest; 0 before the first."""
        return self.stored.revision if self.stored else 0

    def answers(self) -> Answers:
        """What was sent today already; before that only what the coach plans is filled in."""
        if self.stored is not None:
            return answers_of(from_plain(CheckIn, self.stored.body), self.plans)
        return Answers({"plan": (COACH,)} if COACH in self.plans else {})

    @property
    def plan_unless_chosen(self) -> str:
        """What the plan is called that counts where none is chosen: that which was sent today
        already, or the coach's, or none at all."""
        return self.answers().one("plan") or OFF

    def muscle_groups(self, chosen: str) -> tuple[Sequence[str], Sequence[str]]:
        """The muscle groups of the plan that is chosen, or of all that can be, and the others."""
        words = Vocabulary.shipped()
        plans = [self.plans[chosen]] if chosen in self.plans else self.plans.values()
        planned = {group for plan in plans for block in plan for group in groups_of(block, words)}
        first = [group for group in words.muscle_groups if group in planned]
        return first, [group for group in words.muscle_groups if group not in planned]


def _of_coach(books: Books, athlete: Athlete, on: date) -> Plan | None:
    planned = books.plans.get(athlete.id, on)
    if planned is None:
        return None
    plain = {"athlete_id": athlete.id, "date": on.isoformat(), "plan": list(planned.blocks)}
    return from_plain(CheckIn, plain).plan


def _of_yesterday(books: Books, athlete: Athlete, on: date) -> tuple[Block, ...] | None:
    stored = books.check_ins.latest(athlete.id, on)
    return from_plain(CheckIn, stored.body).plan if stored else None
