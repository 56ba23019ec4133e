"""Generated weeks, lived through day by day in the real pipeline.

``python -m tests.week.generated --weeks 1000`` invents athletes, wishes and times, lays out each
week, and then submits the check-in of each day with the soreness that was forecast and the plan of
the day, and logs each session as planned. It counts the sessions that any rule refuses; more than
none ends it with 1.
"""

from __future__ import annotations

import argparse
import random
import sys
import time as timing
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory

from dawnrule.application.check_ins import CheckIns
from dawnrule.application.recoveries import Recoveries
from dawnrule.application.weeks import Situation, Weeks
from dawnrule.model import Verdict
from dawnrule.model.entities import Athlete, Block, CheckIn, Session
from dawnrule.model.weeks import WEEKDAYS, Fixed, WeekOrder, Window, Wish
from dawnrule.store import Store, StoredSession
from dawnrule.week.report import WeekReport
from dawnrule.week.request import Placed
from tests.factories import bundled_advisor

MONDAY = date(2026, 3, 9)
_ZONES = ("UTC", "Europe/Berlin", "America/Los_Angeles", "Asia/Tokyo")

_PALETTE = (
    Wish("Legs", 2, 60, (Block("hypertrophy", ("quadriceps", "glutes"), sets=5, minutes=60),)),
    Wish("Push", 2, 60, (Block("hypertrophy", ("chest", "triceps"), sets=5, minutes=60),)),
    Wish("Pull", 2, 60, (Block("hypertrophy", ("lats", "biceps"), sets=5, minutes=60),)),
    Wish("Squats", 2, 45, (Block("strength", pattern="squat", sets=5, minutes=45),)),
    Wish("Bench", 2, 45, (Block("strength", pattern="horizontal-press", sets=5, minutes=45),)),
    Wish("Jumps", 1, 30, (Block("power", modality="jumping", contacts=40, minutes=30),)),
    Wish("Ride", 2, 60, (Block("intervals", modality="cycling", minutes=60),)),
    Wish("Run", 2, 30, (Block("steady-endurance", modality="flat-running", minutes=30),)),
    Wish("Skill", 2, 40, (Block("skill", modality="court-sport", minutes=40),)),
)


@dataclass(slots=True)
class Tally:
    """What came of the weeks: sessions by what became of them, and what was refused."""

    sessions: Counter[str] = field(default_factory=Counter)
    refused: list[str] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)


def live_through(weeks: int, seed: int, tally: Tally) -> None:
    """Lay out so many weeks and live through each."""
    for number in range(weeks):
        with TemporaryDirectory() as folder, Store.open(Path(folder) / "squad.db") as store:
            _Life(store, random.Random(f"{seed}/{number}"), tally).week(number)


@dataclass(frozen=True, slots=True)
class _Life:
    store: Store
    random: random.Random
    tally: Tally
    ids: count[int] = field(default_factory=count)

    def week(self, number: int) -> None:
        athlete = self._athlete()
        order, now = self._order(athlete), datetime(2026, 3, 8, 12, tzinfo=UTC)
        self.store.write(lambda transaction: transaction.athletes.put(athlete))
        self._log_the_weeks_before(athlete, now)
        advisor = bundled_advisor()
        rule_set = advisor.library.get("baseline", "2.0.0")
        layout = Weeks(advisor, Recoveries(), lambda *_: rule_set)
        began = timing.monotonic()
        [situation] = self.store.read(lambda t: layout.situations(t, order, now))
        [report] = layout.lay_out([situation], order, advisor.composer.texts, now)
        self.tally.seconds.append(timing.monotonic() - began)
        self.tally.sessions["no place"] += sum(one.times for one in report.unplaced)
        check_ins = CheckIns(advisor, rule_set, lambda: now, lambda: f"id-{next(self.ids)}")
        self._live(number, athlete, situation, report, check_ins)

    def _live(
        self,
        number: int,
        athlete: Athlete,
        situation: Situation,
        report: WeekReport,
        check_ins: CheckIns,
    ) -> None:
        placed = [
            Placed(one.name, one.starts_at.astimezone(UTC), one.minutes, one.blocks)
            for one in report.sessions
        ]
        fixed = {one.name for one in report.sessions if one.fixed}
        for day in sorted({one.starts_at.date() for one in report.sessions}):
            names = [one.name for one in report.sessions if one.starts_at.date() == day]
            todays = [
                one
                for one, told in zip(placed, report.sessions, strict=True)
                if told.starts_at.date() == day
            ]
            before = [one for one in placed if one.starts_at < todays[0].starts_at]
            at = min(
                datetime.combine(day, time(7), report.sessions[0].starts_at.tzinfo),
                todays[0].starts_at,
            )
            verdicts = self._check_in(athlete, situation, day, at, before, todays, check_ins)
            for name, verdict in zip(names, verdicts, strict=True):
                self._count(number, name, verdict, is_fixed=name in fixed)
            for session in todays:
                self._log(session.as_done(athlete.id))

    def _count(self, number: int, name: str, verdict: Verdict, *, is_fixed: bool) -> None:
        if is_fixed:
            self.tally.sessions["fixed"] += 1
        elif verdict is Verdict.TRAIN:
            self.tally.sessions["let through"] += 1
        else:
            self.tally.sessions["refused"] += 1
            self.tally.refused.append(f"week {number}: {name} {verdict.value}")

    def _check_in(
        self,
        athlete: Athlete,
        situation: Situation,
        day: date,
        at: datetime,
        before: list[Placed],
        todays: list[Placed],
        check_ins: CheckIns,
    ) -> list[Verdict]:
        """Submit the day's check-in; return the verdict on each session."""
        plan = tuple(block for session in todays for block in session.timed_blocks())
        soreness = situation.soreness.at(before, at)
        check_in = CheckIn(
            athlete.id,
            day,
            plan,
            reported_at=at,
            soreness=soreness,
            pain=(),
            illness="none",
            warning_signs=(),
        )
        there = CheckIns(
            check_ins.advisor, check_ins.default_rule_set, lambda: at, check_ins.new_id
        )
        submitted = self.store.write(
            lambda transaction: there.submit(transaction, check_in, there.submission(None))
        )
        of_blocks = [block.verdict for block in submitted.advice.blocks]
        verdicts, first = [], 0
        for session in todays:
            last = first + len(session.blocks)
            verdicts.append(max(of_blocks[first:last], key=list(Verdict).index))
            first = last
        return verdicts

    def _athlete(self) -> Athlete:
        born = date(self.random.choice((1962, 1990, 2003, 2011)), 5, 4)
        status = self.random.choice(("novice", "trained", None))
        return Athlete("a-01", "Kim", self.random.choice(_ZONES), born, status)

    def _order(self, athlete: Athlete) -> WeekOrder:
        days = tuple(d for d in WEEKDAYS if self.random.random() < 0.8) or WEEKDAYS
        windows = [Window(days, time(17), time(20))]
        if self.random.random() < 0.5:
            windows.append(Window(days, time(6), time(8)))
        wishes = self.random.sample(_PALETTE, self.random.randint(1, 4))
        fixed: tuple[Fixed, ...] = ()
        if self.random.random() < 0.3:
            match = Block("speed", modality="court-sport", competition=True, minutes=90)
            fixed = (Fixed("Match", datetime(2026, 3, 14, 14, tzinfo=UTC), 90, (match,)),)
        repeats = self.random.random() < 0.7
        return WeekOrder(
            MONDAY, tuple(windows), tuple(wishes), athlete.id, fixed=fixed, repeats=repeats
        )

    def _log_the_weeks_before(self, athlete: Athlete, now: datetime) -> None:
        every = self.random.choice((2, 3, 4))
        usual = self.random.sample(_PALETTE, 4)
        for ago in range(self.random.randint(2, 4), 8 * 7, every):
            wish = self.random.choice(usual)
            self._log(Session(athlete.id, now - timedelta(days=ago), wish.minutes, wish.blocks, 5))

    def _log(self, session: Session) -> None:
        stored = StoredSession(f"s-{next(self.ids)}", session, session.starts_at, None)
        self.store.write(lambda transaction: transaction.sessions.add(stored))


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weeks", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    tally = Tally()
    live_through(options.weeks, options.seed, tally)
    ordered = sorted(tally.seconds)
    print(f"{options.weeks} weeks: {dict(tally.sessions)}")
    print(f"seconds a week: median {ordered[len(ordered) // 2]:.2f}, longest {ordered[-1]:.2f}")
    print("\n".join(tally.refused))
    return 1 if tally.refused else 0


if __name__ == "__main__":
    sys.exit(main())
