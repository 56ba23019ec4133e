"""When a muscle group is likely ready again: what is known of the squad, then of one athlete."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Self

import numpy as np

from dawnrule.model.training import hours_between
from dawnrule.recovery.episodes import Episode, Work, features, usual_features
from dawnrule.recovery.intervals import LogNormal
from dawnrule.recovery.low import Low
from dawnrule.recovery.model import (
    Coefficients,
    Episodes,
    Posterior,
    Spreads,
    fit,
    fit_spreads,
)
from dawnrule.recovery.numbers import RecoveryNumbers

OWN, SQUAD, PUBLISHED = "own", "squad", "published"
_QUARTER, _HALF, _THREE_QUARTERS = 0.25, 0.5, 0.75


@dataclass(frozen=True, slots=True)
class OwnEpisodes:
    """The episodes of one athlete, and the age in whole years where it is known. ``sore_at`` holds
    the muscle groups whose last answer was not low, each with when that was."""

    episodes: Sequence[Episode]
    age_years: int | None = None
    sore_at: Mapping[str, datetime] = field(default_factory=dict)

    @property
    def informative(self) -> list[Episode]:
        """Those that say anything of the hours."""
        return [episode for episode in self.episodes if episode.is_informative]

    @property
    def muscle_groups(self) -> list[str]:
        """Those with work in the log, by name."""
        return sorted({episode.muscle_group for episode in self.episodes})

    @property
    def low(self) -> Low:
        """What counted as low at the ends that were seen."""
        return Low.of(self.episodes)

    @property
    def times_seen(self) -> int:
        """How often the end was seen."""
        return sum(episode.was_seen for episode in self.episodes)

    def of_group(self, muscle_group: str) -> OwnEpisodes:
        """Return those of one muscle group."""
        own = [episode for episode in self.episodes if episode.muscle_group == muscle_group]
        return OwnEpisodes(own, self.age_years, self.sore_at)

    def usual_features(self) -> tuple[float, ...]:
        """Return the mean features of the work; those of usual work where there is none."""
        known = [features(episode.work, self.age_years) for episode in self.episodes]
        return (
            tuple(map(float, np.mean(known, axis=0))) if known else usual_features(self.age_years)
        )


@dataclass(frozen=True, slots=True)
class SquadRecovery:
    """What the episodes of a squad say; ``posterior`` numbers athletes as ``places`` do.
    ``to_usual`` are those of whom an own usual counted as low."""

    places: Mapping[str, int]
    seen: Mapping[str, int]
    posterior: Posterior
    to_usual: frozenset[str]

    @classmethod
    def fit(cls, squad: Mapping[str, OwnEpisodes], numbers: RecoveryNumbers) -> Self:
        """Fit a squad, by athlete. The order of athletes does not matter."""
        known = {key: squad[key] for key in sorted(squad) if squad[key].informative}
        places = {athlete: place for place, athlete in enumerate(known)}
        prior = _prior(numbers)
        usual = Spreads(
            numbers.spreads["episode"], numbers.spreads["athlete"], numbers.spreads["muscle_group"]
        )
        columns = _columns(known.values())
        posterior = (
            fit_spreads(columns, usual, prior, numbers.spreads["log_sd"])
            if known
            else fit(columns, usual, prior)
        )
        seen = {athlete: own.times_seen for athlete, own in known.items()}
        to_usual = {athlete for athlete, own in known.items() if own.low.usual is not None}
        return cls(places, seen, posterior, frozenset(to_usual))

    def without(self, athlete_id: str) -> Coefficients:
        """Return what the others say of the effects."""
        place = self.places.get(athlete_id)
        return self.posterior.coefficients if place is None else self.posterior.without(place)

    def seen_of_others(self, athlete_id: str) -> int:
        """Count the ends of episodes that were seen of others."""
        return sum(count for athlete, count in self.seen.items() if athlete != athlete_id)

    def hours_against_squad(self, athlete_id: str) -> LogNormal | None:
        """Return by what factor an athlete's hours differ from the squad's after the same work;
        None for somebody of whom nothing was seen."""
        place = self.places.get(athlete_id)
        return None if place is None else self.posterior.factor_of(place)


@dataclass(frozen=True, slots=True)
class UnderWay:
    """Work after which the muscle group is not known to be ready again: when it began, and hours
    after which it was still sore (0 where it was not)."""

    began: datetime
    sore_hours: float
    hours: LogNormal

    def chance_at(self, at: datetime) -> float:
        """Return how probable it is that soreness is low at a time."""
        return self.hours.chance_within(hours_between(self.began, at), self.sore_hours)

    def likely_from(self, chance: float) -> datetime:
        """Return from when on it is that probable."""
        rest = 1 - self.hours.chance_within(self.sore_hours) if self.sore_hours else 1.0
        hours = self.hours.hours_at(1 - (1 - chance) * rest)
        return self.began + timedelta(hours=hours)


@dataclass(frozen=True, slots=True)
class GroupRecovery:
    """The recovery of one muscle group after the work that is usual for the athlete.

    ``times_seen`` counts the episodes whose end was seen. Half of the time it takes between
    ``half_from_hours`` and ``half_to_hours``, as often less as more than ``usual_hours``.
    ``basis`` says whose episodes that rests on: own, the squad's, or published courses; ``own_low``
    what counted as low in own episodes, ``low`` in all that it rests on.
    """

    muscle_group: str
    times_seen: int
    usual_hours: float
    half_from_hours: float
    half_to_hours: float
    basis: str
    under_way: UnderWay | None
    own_low: Low
    low: Low


@dataclass(frozen=True, slots=True)
class AthleteRecovery:
    """The recovery of one athlete, fitted from own episodes on top of the others'."""

    own: OwnEpisodes
    cells: Mapping[str, int]
    posterior: Posterior
    of_others: int
    others_to_usual: bool
    numbers: RecoveryNumbers

    @classmethod
    def fit(
        cls, athlete_id: str, own: OwnEpisodes, squad: SquadRecovery, numbers: RecoveryNumbers
    ) -> Self:
        """Fit one athlete under the spreads of the squad."""
        groups = OwnEpisodes(own.informative).muscle_groups
        posterior = fit(_columns([own]), squad.posterior.spreads, squad.without(athlete_id))
        cells = {group: place for place, group in enumerate(groups)}
        of_others = squad.seen_of_others(athlete_id)
        others_to_usual = bool(squad.to_usual - {athlete_id})
        return cls(own, cells, posterior, of_others, others_to_usual, numbers)

    def groups(self, now: datetime) -> list[GroupRecovery]:
        """Return every muscle group with work in the log, by name."""
        return [self.group(name, now) for name in self.own.muscle_groups]

    def group(self, name: str, now: datetime) -> GroupRecovery:
        """Return one muscle group, whether it was ever trained or not."""
        own, usual = self.own.of_group(name), self.usual(name)
        return GroupRecovery(
            name,
            own.times_seen,
            usual.hours_at(_HALF),
            usual.hours_at(_QUARTER),
            usual.hours_at(_THREE_QUARTERS),
            self._basis(name),
            self._last_under_way(own, now),
            own.low,
            self.low(name),
        )

    def low(self, muscle_group: str) -> Low:
        """Return what counted as low in the episodes that a muscle group's hours rest on."""
        match self._basis(muscle_group):
            case "own":
                return self.own.of_group(muscle_group).low
            case "squad":
                return Low(of_others=self.others_to_usual)
            case _:
                return Low()

    def usual(self, muscle_group: str) -> LogNormal:
        """Return the hours of recovery of a muscle group after the athlete's usual work."""
        return self._predict(self.own.of_group(muscle_group).usual_features(), muscle_group)

    def is_own(self, muscle_group: str) -> bool:
        """Return whether enough was seen of the athlete to tell a chance."""
        return self.own.of_group(muscle_group).times_seen >= self.numbers.least_episodes

    def sore_hours(self, muscle_group: str, work: Work) -> float:
        """Return after how many hours a muscle group was still sore from work in the log; 0 where
        that is not known."""
        own = self.own.of_group(muscle_group).episodes
        return next((episode.sore_hours for episode in own if episode.work == work), 0.0)

    def under_way(self, muscle_group: str, work: Work) -> UnderWay:
        """Return what is expected of a muscle group after some work, in the log or to come."""
        sore_hours = self.sore_hours(muscle_group, work)
        return UnderWay(work.began, sore_hours, self.hours_after(work, muscle_group))

    def on_the_way(self, muscle_group: str, last: Work | None) -> UnderWay | None:
        """Return what is expected of a muscle group after its last work; None where nothing is
        known to be on the way. Soreness that no work explains counts as if work had been done when
        it was reported, since nothing tells how old it is."""
        sore_at = self.own.sore_at.get(muscle_group)
        if sore_at is None or (last is not None and last.began >= sore_at):
            return None if last is None else self.under_way(muscle_group, last)
        if last is None or self._is_over(muscle_group, last, sore_at):
            return UnderWay(sore_at, 0.0, self.usual(muscle_group))
        sore_hours = hours_between(last.began, sore_at)
        return replace(self.under_way(muscle_group, last), sore_hours=sore_hours)

    def _is_over(self, muscle_group: str, work: Work, by: datetime) -> bool:
        """Return whether soreness at a time can no longer be put down to some work."""
        if hours_between(work.began, by) > self.numbers.ends_after_hours:
            return True
        own = self.own.of_group(muscle_group).episodes
        return any(episode.was_seen for episode in own if episode.work == work)

    def hours_after(self, work: Work, muscle_group: str) -> LogNormal:
        """Return the hours of recovery of a muscle group after some work."""
        return self._predict(features(work, self.own.age_years), muscle_group)

    def _predict(self, known: tuple[float, ...], muscle_group: str) -> LogNormal:
        athlete = 0 if self.cells else None
        return self.posterior.predict(np.array(known), self.cells.get(muscle_group), athlete)

    def _basis(self, muscle_group: str) -> str:
        if self.is_own(muscle_group):
            return OWN
        return SQUAD if self.of_others >= self.numbers.least_episodes else PUBLISHED

    def _last_under_way(self, own: OwnEpisodes, now: datetime) -> UnderWay | None:
        """Return the last work of a muscle group unless it is over."""
        if not own.episodes:
            return None
        last = own.episodes[-1]
        hours = hours_between(last.work.began, now)
        is_over = last.is_over or hours > self.numbers.ends_after_hours
        return None if is_over else self.under_way(last.muscle_group, last.work)


def _columns(squad: Iterable[OwnEpisodes]) -> Episodes:
    """Put the informative episodes of a squad into columns: athletes are numbered in their order,
    and the muscle groups of each by name."""
    rows = [
        (place, own.age_years, episode)
        for place, own in enumerate(squad)
        for episode in own.informative
    ]
    of_athletes = sorted({(place, episode.muscle_group) for place, _, episode in rows})
    cells = {cell: number for number, cell in enumerate(of_athletes)}
    known = [features(episode.work, age) for _, age, episode in rows]
    return Episodes.of(
        [(episode.sore_hours, episode.low_hours) for *_, episode in rows],
        np.array(known).reshape(len(known), len(usual_features(None))),
        [place for place, *_ in rows],
        [cells[place, episode.muscle_group] for place, _, episode in rows],
    )


def _prior(numbers: RecoveryNumbers) -> Coefficients:
    effects = numbers.effects.values()
    sds = np.array([effect.sd for effect in effects])
    return Coefficients(np.array([effect.mean for effect in effects]), np.diag(sds**-2))
