"""What does the page say of dates, plans and advice, in words?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from dawnrule.facts.check_in import Athlete, Block
from dawnrule.vocabulary.texts import capital
from dawnrule.web.language import label, say, texts
from dawnrule.web.phone.planned import Plan

Plain = Mapping[str, Any]


def told_day(on: date) -> str:
    """``Monday, 2026-03-09``."""
    weekday = texts().section("phone.weekdays")[str(on.isoweekday())]
    return say("phone.day", weekday=weekday, date=on.isoformat())


def told_time(at: datetime, today: date) -> str:
    """A local time; with its day when that is another."""
    clock = at.strftime("%H:%M")
    if at.date() == today:
        return clock
    return say("phone.day_and_time", day=told_day(at.date()), time=clock)


def told_plan(plan: Plan, athlete: Athlete) -> str:
    """Every block of a plan, in a few words."""
    if not plan:
        return say("phone.plan_nothing")
    return "; ".join(_block(block, athlete) for block in plan)


def told_alternative(alternative: Plain) -> str:
    """What could be done instead: a modality, or a goal by another pattern or for another muscle
    group."""
    if "modality" in alternative:
        return label(alternative["modality"])
    goal = label(alternative["goal"])
    if "pattern" in alternative:
        return say("phone.instead_pattern", goal=goal, pattern=label(alternative["pattern"]))
    group = label(alternative["muscle_group"])
    return say("phone.instead_goal", goal=goal, muscle_group=group)


def told_part(part: Plain, day: Plain, today: date) -> dict[str, Any]:
    """One part of the advice as the page shows it; what is the same as for the day is not said
    twice."""
    group, opens_at = part["muscle_group"], part["opens_at"]
    what = [capital(label(group)), label(part["goal"])] if group else [label(part["goal"])]
    at = told_time(datetime.fromisoformat(opens_at), today) if opens_at else None
    return {
        "what": ", ".join(what),
        "verdict": label(part["verdict"]),
        "reason": part["reason"] if part["reason"] != day["reason"] else "",
        "caution": "" if day["caution"].startswith(part["caution"]) else part["caution"],
        "opens": say("phone.opens_at", time=at) if at else part["opens_note"] or "",
        "instead": texts().listing([told_alternative(one) for one in part["alternatives"]]),
    }


def _block(block: Block, athlete: Athlete) -> str:
    said = [label(block.goal)]
    if block.pattern or block.muscle_groups:
        groups = [block.pattern] if block.pattern else block.muscle_groups
        said.append(texts().listing([label(group) for group in groups]))
    if block.modality:
        said.append(label(block.modality))
    if block.starts_at:
        said.append(block.starts_at.astimezone(ZoneInfo(athlete.time_zone)).strftime("%H:%M"))
    return ", ".join(said)
