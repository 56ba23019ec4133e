"""Sample days of one athlete: mornings and sessions by how many days ago they were."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from dawnrule.facts.derive import MorningFacts, PartFacts, derive_facts
from dawnrule.model.entities import Athlete, Block, CheckIn, History, LastTrained, Session

TODAY = date(2026, 3, 9)
KIM = Athlete("a-01", "Kim", "Europe/Berlin", date(1996, 3, 9), "trained")
BERLIN = ZoneInfo("Europe/Berlin")
NOW = datetime.combine(TODAY, time(6, 40), BERLIN)
GROWTH = Block("hypertrophy", ("quadriceps",), sets=4)
STRENGTH = Block("strength", ("quadriceps",), sets=5)


def at(text: str) -> datetime:
    """A time with its offset, as the interface reads it."""
    return datetime.fromisoformat(text)


def days_ago(days: int, clock: time = time(18)) -> datetime:
    """A time of day where Kim lives, so many days before today."""
    return datetime.combine(TODAY - timedelta(days=days), clock, BERLIN)


def morning(days: int = 0, *plan: Block, **reported: Any) -> CheckIn:
    """Kim's check-in of so many days ago."""
    return CheckIn(KIM.id, TODAY - timedelta(days=days), plan, **reported)


def session(days: int, *blocks: Block, **more: Any) -> Session:
    """A session of Kim's, an hour at RPE 5 that started at 18:00 so many days ago."""
    values = {"starts_at": days_ago(days), "minutes": 60.0, "rpe": 5.0, **more}
    return Session(KIM.id, blocks=blocks or (GROWTH,), **values)


def logged(*sessions: Session) -> History:
    """A history of sessions only."""
    return History(sessions=sessions)


def told(group: str, when: datetime, goal: str = "hypertrophy") -> dict[str, LastTrained]:
    """What a check-in says was trained last."""
    return {group: LastTrained(when, goal)}


def facts(
    check_in: CheckIn, history: History | None = None, athlete: Athlete = KIM
) -> MorningFacts:
    """The facts of a morning at 06:40."""
    return derive_facts(athlete, check_in, history or History(), NOW)


def day_after(sessions: Iterable[Session]) -> MorningFacts:
    """The facts of this morning after sessions, with nothing planned."""
    return facts(morning(), logged(*sessions))


def part_of(check_in: CheckIn, history: History | None = None, athlete: Athlete = KIM) -> PartFacts:
    """The facts of the one part that is planned."""
    (part,) = facts(check_in, history, athlete).parts
    return part
