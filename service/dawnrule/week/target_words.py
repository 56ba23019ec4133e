"""Targets before a competition as people read them, in one language (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Self

from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.dates import date_text
from dawnrule.week.targets import UsualWeek, WeekTarget


@dataclass(frozen=True, slots=True)
class TargetWeekWords:
    """One week in words; ``amounts`` is empty where the usual week is not known."""

    span: str
    phase: str
    share: str
    amounts: str


@dataclass(frozen=True, slots=True)
class TargetWords:
    """The weeks up to a competition in words. ``weekdays`` says on which weekday each begins and
    ends; ``sources`` has a sentence for each phase."""

    competition: str
    weekdays: str
    usual: str
    weeks: tuple[TargetWeekWords, ...]
    sources: tuple[str, ...]
    note: str

    @classmethod
    def of(
        cls,
        competition: date,
        usual: UsualWeek | None,
        weeks: Sequence[WeekTarget],
        texts: Texts,
        today: date,
    ) -> Self:
        """Word targets (at least one week) on a local date."""
        say = texts.say
        sources = {one.phase: texts.of_rule(one.source) for one in weeks}
        return cls(
            say("targets.competition", date=date_text(competition, texts, today)),
            say(
                "targets.weekdays",
                first=_weekday(weeks[0].first, texts),
                last=_weekday(weeks[0].last, texts),
            ),
            say("targets.not_known")
            if usual is None
            else say("targets.usual", amounts=_amounts(usual, texts)),
            tuple(_week(one, texts, today) for one in weeks),
            tuple(
                say("targets.source", phase=say(f"phases.{phase}"), source=source)
                for phase, source in sources.items()
            ),
            say("targets.note"),
        )

    def lines(self, texts: Texts) -> Iterator[str]:
        """Yield all of it as lines of text."""
        yield from (self.competition, self.weekdays, self.usual)
        for week in self.weeks:
            said = {"span": week.span, "phase": week.phase, "share": week.share}
            if week.amounts:
                yield texts.say("targets.week_amounts", amounts=week.amounts, **said)
            else:
                yield texts.say("targets.week", **said)
        yield from self.sources
        yield self.note


def _week(week: WeekTarget, texts: Texts, today: date) -> TargetWeekWords:
    first, last = (date_text(day, texts, today) for day in (week.first, week.last))
    return TargetWeekWords(
        texts.say("targets.span", first=first, last=last),
        texts.say(f"phases.{week.phase}"),
        texts.say("targets.share", percent=week.percent),
        "" if week.minutes is None else _amounts(week, texts),
    )


def _amounts(week: UsualWeek | WeekTarget, texts: Texts) -> str:
    return texts.say(
        "targets.amounts",
        sets=round(week.sets or 0),
        landing=round(week.landing_minutes or 0),
        minutes=round(week.minutes or 0),
    )


def _weekday(day: date, texts: Texts) -> str:
    return texts.say(f"dates.weekdays.{day.isoweekday()}")
