"""Weeks of plans for several athletes at once: add a session, take one back, copy a week.

A session of a group starts at one time of day, which is another moment for each time zone. Each
function is to be run inside one transaction; today's check-ins are decided again with their new
plans, as ``plans`` says.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta

from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.application.plans import plan_day, remove_plan
from dawnrule.model.entities import Athlete, Block
from dawnrule.model.serialization import to_json
from dawnrule.model.time_zones import zone_or_utc
from dawnrule.schemas.check_in import PlanSchema
from dawnrule.schemas.errors import load
from dawnrule.store import Transaction

DAYS = 7
_ONE_WEEK = timedelta(days=DAYS)
_PLAN = PlanSchema()


@dataclass(frozen=True, slots=True)
class DailySession:
    """A session at a time of day, by the clock of whoever does it; ``clock`` is None where the
    plan names no start. Its block has none. ``days_later`` is 1 in the night after the day."""

    block: Block
    clock: time | None = None
    days_later: int = 0

    @classmethod
    def of(cls, block: Block, athlete: Athlete, day: date) -> DailySession:
        """Read a block of a day by the athlete's clock."""
        if block.starts_at is None:
            return cls(block)
        local = block.starts_at.astimezone(zone_or_utc(athlete.time_zone)).replace(tzinfo=None)
        return cls(replace(block, starts_at=None), local.time(), (local.date() - day).days)

    def on(self, day: date, athlete: Athlete) -> Block:
        """Return the block on a day. A time that clocks skip in spring moves behind the gap."""
        if self.clock is None:
            return self.block
        zone = zone_or_utc(athlete.time_zone)
        date_of_start = day + timedelta(days=self.days_later)
        at = datetime.combine(date_of_start, self.clock, zone).astimezone(UTC).astimezone(zone)
        return replace(self.block, starts_at=at)


@dataclass(frozen=True, slots=True)
class Planner:
    """Who plans, with the key ``by``, for whom. What it does in a transaction may be tried several
    times: its submissions stay the same."""

    check_ins: CheckIns
    athletes: Sequence[Athlete]
    by: str
    begun: dict[tuple[str, date], Submission] = field(default_factory=dict)

    def for_each(self) -> list[Planner]:
        """Split into a planner for each athlete."""
        remembering = self.check_ins.remembering
        return [Planner(remembering(), (athlete,), self.by) for athlete in self.athletes]

    def add(self, transaction: Transaction, days: Iterable[date], session: DailySession) -> None:
        """Add a session to days of all athletes, in the order of their starts. Raises
        ``InvalidInput`` where a day gets too long."""
        for athlete, day in self._each(days):
            known = _blocks(transaction, athlete, day) or ()
            self._set(transaction, athlete, day, (*known, session.on(day, athlete)))

    def take(self, transaction: Transaction, day: date, session: DailySession) -> None:
        """Take a session back from a day of all athletes who have it. A day without another has no
        plan then."""
        for athlete in self.athletes:
            known = list(_blocks(transaction, athlete, day) or ())
            block = session.on(day, athlete)
            if block in known:
                known.remove(block)
                self._set_or_remove(transaction, athlete, day, known)

    def rest(self, transaction: Transaction, days: Iterable[date]) -> None:
        """Plan days off for all athletes, in place of what was planned."""
        for athlete, day in self._each(days):
            self._set(transaction, athlete, day, ())

    def clear(self, transaction: Transaction, days: Iterable[date]) -> None:
        """Take back whatever was planned on days."""
        for athlete, day in self._each(days):
            self._set_or_remove(transaction, athlete, day, ())

    def copy_week(self, transaction: Transaction, monday: date, *, replacing: bool) -> int:
        """Plan a week as the one before; return how many days were planned. Days that have a plan
        stay as they are unless they are ``replacing``."""
        copied = 0
        for athlete, day in self._each(week_from(monday)):
            before = _blocks(transaction, athlete, day - _ONE_WEEK)
            if before is None or (not replacing and _blocks(transaction, athlete, day) is not None):
                continue
            sessions = [DailySession.of(block, athlete, day - _ONE_WEEK) for block in before]
            self._set(transaction, athlete, day, tuple(one.on(day, athlete) for one in sessions))
            copied += 1
        return copied

    def take_week(
        self,
        transaction: Transaction,
        days: Iterable[date],
        blocks: Sequence[Block],
        *,
        replacing: bool,
    ) -> None:
        """Plan blocks, each with its start, on their dates for all athletes, in place of what was
        planned there for later than now. Dates without any stay as they are, unless the whole of
        the days is ``replacing`` what was planned."""
        now = self.check_ins.clock()
        for athlete, day in self._each(days):
            zone, known = zone_or_utc(athlete.time_zone), _blocks(transaction, athlete, day)
            new = [
                replace(block, starts_at=block.starts_at.astimezone(zone))
                for block in blocks
                if block.starts_at and block.starts_at.astimezone(zone).date() == day
            ]
            if not new and not (replacing and known):
                continue
            stays = [b for b in known or () if b.starts_at is None or b.starts_at < now]
            both = [*(block for block in stays if block not in new), *new]
            self._set_or_remove(transaction, athlete, day, both)

    def _each(self, days: Iterable[date]) -> Iterator[tuple[Athlete, date]]:
        chosen = list(days)
        yield from ((athlete, day) for athlete in self.athletes for day in chosen)

    def _set_or_remove(
        self, transaction: Transaction, athlete: Athlete, day: date, blocks: Sequence[Block]
    ) -> None:
        if blocks:
            self._set(transaction, athlete, day, tuple(blocks))
            return
        at = self.check_ins.clock()
        remove_plan(transaction, athlete.id, day, by=self.by, at=at)

    def _set(
        self, transaction: Transaction, athlete: Athlete, day: date, blocks: tuple[Block, ...]
    ) -> None:
        in_order = tuple(sorted(blocks, key=_start))
        load(_PLAN, {"plan": [to_json(block) for block in in_order]})
        begun = (athlete.id, day)
        if begun not in self.begun:
            self.begun[begun] = self.check_ins.submission(self.by)
        submission = self.begun[begun]
        plan_day(transaction, self.check_ins, athlete.id, day, in_order, submission)


def week_from(monday: date) -> list[date]:
    """List the seven days of a week."""
    return [monday + timedelta(days=number) for number in range(DAYS)]


def monday_of(day: date) -> date:
    """Return the Monday of a day's week (ISO 8601)."""
    return day - timedelta(days=day.weekday())


def _blocks(transaction: Transaction, athlete: Athlete, day: date) -> tuple[Block, ...] | None:
    plan = transaction.plans.get(athlete.id, day)
    return plan.blocks if plan else None


def _start(block: Block) -> tuple[bool, datetime]:
    """Blocks without a start come first, in the order in which they were planned."""
    first = datetime.min.replace(tzinfo=UTC)
    return block.starts_at is not None, block.starts_at or first
