"""Own recovery as it is told: hours, ranges, and chances in tenths, with times where the athlete
lives."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Self

from dawnrule.i18n.catalog import Texts, capital
from dawnrule.i18n.dates import moment_text
from dawnrule.model import Vocabulary
from dawnrule.model.entities import Athlete
from dawnrule.model.forecasts import OwnForecast, ToldChance
from dawnrule.model.time_zones import zone_named
from dawnrule.recovery.forecast import OWN, AthleteRecovery, GroupRecovery
from dawnrule.recovery.intervals import LogNormal
from dawnrule.recovery.low import Low

_TENTHS = 10
_MOST_TENTHS = 9
_LOW, _HIGH = 0.1, 0.9
_MORNINGS_AHEAD = 4


@dataclass(frozen=True, slots=True)
class ToldUnderWay:
    """Work after which a muscle group is not known to be ready again. ``likely_at`` and
    ``chances`` are left out until enough episodes of the athlete were seen."""

    began_at: datetime
    sore_hours: float
    likely_at: datetime | None
    chances: tuple[ToldChance, ...]


@dataclass(frozen=True, slots=True)
class ToldGroup:
    """One muscle group; ``text`` says all of it in a sentence or two. ``usual_soreness`` is the own
    usual that counted as low (None: soreness was under the limit each time). ``episodes`` are the
    ones whose end was seen, oldest first: hours to the last sore and to the first low morning."""

    muscle_group: str
    times_seen: int
    basis: str
    usual_hours: int
    half_from_hours: int
    half_to_hours: int
    usual_soreness: float | None
    under_way: ToldUnderWay | None
    episodes: tuple[tuple[float, float], ...]
    text: str


@dataclass(frozen=True, slots=True)
class AgainstSquad:
    """An athlete's hours divided by the squad's after the same work: as often more as less than
    ``factor``, and 8 times in 10 between the two others."""

    factor: float
    low: float
    high: float

    @classmethod
    def of(cls, factor: LogNormal) -> Self:
        """Round a factor to two digits."""
        return cls(*(round(factor.hours_at(chance), 2) for chance in (0.5, _LOW, _HIGH)))

    @property
    def is_slower(self) -> bool:
        """Whether the athlete takes longer than the squad, beyond doubt (9 times in 10)."""
        return self.low > 1


@dataclass(frozen=True, slots=True)
class RecoveryReport:
    """The recovery of one athlete for one kind of goal. ``note`` says what it rests on, and that
    the rules decide."""

    athlete_id: str
    as_of: datetime
    kind: str
    low_under: float
    muscle_groups: tuple[ToldGroup, ...]
    against_squad: AgainstSquad | None
    note: str


@dataclass(frozen=True, slots=True)
class Reporter:
    """Tells of one athlete's recovery in one language."""

    athlete: Athlete
    kind: str
    low_under: float
    now: datetime
    texts: Texts
    vocabulary: Vocabulary

    def report(
        self, recovery: AthleteRecovery, factor: LogNormal | None, at: Sequence[datetime] = ()
    ) -> RecoveryReport:
        """Report every muscle group with work in the log. ``at`` are the times whose chances are
        asked for; without any, the coming mornings and evenings."""
        times = [self._local(time) for time in at] or self._coming()
        known = recovery.groups(self.now)
        groups = (self._group(group, recovery, times) for group in known)
        to_usual = any(one.low.of_others or one.own_low.usual is not None for one in known)
        low = Low(of_others=to_usual).words(self.texts, self.low_under)
        return RecoveryReport(
            self.athlete.id,
            self._local(self.now),
            self.kind,
            self.low_under,
            tuple(groups),
            None if factor is None else AgainstSquad.of(factor),
            self.texts.say("recovery.note", low=low),
        )

    def forecasts(self, recovery: AthleteRecovery) -> tuple[OwnForecast, ...]:
        """Forecast the muscle groups that are on the way and of which enough was seen, the one that
        takes longest first."""
        times = self._coming()
        groups = [one for one in recovery.groups(self.now) if one.basis == OWN]
        found = [self._forecast(self._group(one, recovery, times), one.low) for one in groups]
        told = [one for one in found if one is not None]
        return tuple(sorted(told, key=_soonest_first, reverse=True))

    def _forecast(self, group: ToldGroup, low: Low) -> OwnForecast | None:
        under_way = group.under_way
        if under_way is None:
            return None
        most = max((chance.in_ten for chance in under_way.chances), default=0)
        best = next((one for one in under_way.chances if one.in_ten == most > 0), None)
        said = {
            "muscle_group": capital(self.vocabulary.label(group.muscle_group)),
            "low": low.words(self.texts, self.low_under),
            "hours": group.usual_hours,
        }
        if best is None:
            text = self.texts.say("recovery.forecast_late", **said)
        else:
            time = self._clock(best.at)
            text = self.texts.say("recovery.forecast", time=time, in_ten=best.in_ten, **said)
        return OwnForecast(
            group.muscle_group,
            group.usual_hours,
            group.half_from_hours,
            group.half_to_hours,
            under_way.likely_at,
            best,
            text,
        )

    def _group(
        self, group: GroupRecovery, recovery: AthleteRecovery, times: Sequence[datetime]
    ) -> ToldGroup:
        under_way = self._under_way(group, recovery, times)
        seen = sorted(
            (one for one in recovery.own.episodes if one.was_seen), key=lambda one: one.work.began
        )
        own = [one for one in seen if one.muscle_group == group.muscle_group]
        return ToldGroup(
            group.muscle_group,
            group.times_seen,
            group.basis,
            round(group.usual_hours),
            round(group.half_from_hours),
            round(group.half_to_hours),
            group.own_low.usual,
            under_way,
            tuple((one.sore_hours, one.low_hours) for one in own),
            " ".join(self._sentences(group, under_way)),
        )

    def _under_way(
        self, group: GroupRecovery, recovery: AthleteRecovery, times: Sequence[datetime]
    ) -> ToldUnderWay | None:
        work = group.under_way
        if work is None:
            return None
        is_told = group.basis == OWN
        likely = work.likely_from(recovery.numbers.likely) if is_told else None
        chances = [ToldChance(at, in_ten(work.chance_at(at))) for at in times] if is_told else []
        return ToldUnderWay(
            self._local(work.began),
            round(work.sore_hours, 1),
            self._next_hour(likely) if likely else None,
            tuple(chances),
        )

    def _sentences(self, group: GroupRecovery, under_way: ToldUnderWay | None) -> Iterator[str]:
        yield self.texts.say(
            f"recovery.{group.basis}",
            muscle_group=capital(self.vocabulary.label(group.muscle_group)),
            low=group.low.words(self.texts, self.low_under),
            hours=round(group.usual_hours),
            first=round(group.half_from_hours),
            last=round(group.half_to_hours),
            seen=group.times_seen,
            seen_here=self._seen_here(group.times_seen),
        )
        if group.basis != OWN and group.own_low.usual is not None:
            low = replace(group.own_low, is_only_usual=True).words(self.texts, self.low_under)
            yield self.texts.say("recovery.counts_too", low=low)
        for chance in _up_to_the_best(under_way.chances) if under_way else ():
            yield self.texts.say(
                "recovery.chance", time=self._clock(chance.at), in_ten=chance.in_ten
            )

    def _seen_here(self, times: int) -> str:
        name = {0: "never", 1: "once"}.get(times, "times")
        return self.texts.say(f"recovery.seen_{name}", seen=times)

    def _coming(self) -> list[datetime]:
        """The next times at which people train: mornings at 8 and evenings at 18 o'clock."""
        start = self._local(self.now)
        days = (start + timedelta(days=ahead) for ahead in range(_MORNINGS_AHEAD))
        times = (day.replace(hour=hour, minute=0) for day in days for hour in (8, 18))
        return [time for time in times if time > start]

    def _next_hour(self, time: datetime) -> datetime:
        minutes_left = -self._local(time).minute % 60
        return self._local(time.astimezone(UTC) + timedelta(minutes=minutes_left))

    def _clock(self, time: datetime) -> str:
        return moment_text(time, self.texts, self._local(self.now).date())

    def _local(self, time: datetime) -> datetime:
        zone = zone_named(self.athlete.time_zone)
        return time.astimezone(zone).replace(microsecond=0, second=0)


def _up_to_the_best(chances: Sequence[ToldChance]) -> Sequence[ToldChance]:
    """Leave out what comes after the best chance is reached; it only grows. Of nothing but zeros
    the last says all."""
    most = max((one.in_ten for one in chances), default=0)
    if not most:
        return chances[-1:]
    first = next(place for place, one in enumerate(chances) if one.in_ten == most)
    return chances[: first + 1]


def _soonest_first(forecast: OwnForecast) -> tuple[bool, float]:
    at = forecast.likely_at
    return at is None, at.timestamp() if at else 0.0


def in_ten(chance: float) -> int:
    """Return in how many of ten cases at least; never ten, as no forecast is certain."""
    return min(int(chance * _TENTHS), _MOST_TENTHS)
