"""Which plans can today's check-in choose from? (pure)"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from dawnrule.facts.check_in import Athlete, Block

SENT, COACH, YESTERDAY, OFF, OWN = "sent", "coach", "yesterday", "off", "own"

Plan = Sequence[Block]


def plans_to_choose_from(
    athlete: Athlete, sent: Plan | None, coach: Plan | None, yesterday: Plan | None
) -> Mapping[str, Plan]:
    """Plans by what they are called on the page: what the coach plans for today, what the athlete
    planned yesterday (a day later), a day off, and first what was sent today already, where that
    is none of the others. An own plan is not among them: it is made up on the page."""
    plans: dict[str, Plan] = {}
    if coach is not None:
        plans[COACH] = tuple(coach)
    if yesterday:
        plans[YESTERDAY] = tuple(a_day_later(block, athlete) for block in yesterday)
    plans[OFF] = ()
    if sent is not None and tuple(sent) not in plans.values():
        return {SENT: tuple(sent), **plans}
    return plans


def name_of(plan: Plan, plans: Mapping[str, Plan]) -> str:
    """What a plan is called among others, the first name that fits. Raises ``StopIteration``."""
    return next(name for name, known in plans.items() if tuple(known) == tuple(plan))


def a_day_later(block: Block, athlete: Athlete) -> Block:
    """The block when the athlete's clock shows the same time on the next date."""
    if block.starts_at is None:
        return block
    local = block.starts_at.astimezone(ZoneInfo(athlete.time_zone))
    return replace(block, starts_at=on_the_clock(local.replace(fold=0) + timedelta(days=1)))


def on_the_clock(local: datetime) -> datetime:
    """A local time as clocks show it; one that they skip in spring is the time after the gap."""
    return local.astimezone(UTC).astimezone(local.tzinfo)
