"""Own recovery: what the log and the check-ins of a squad say of how long soreness lasts.

The squad is fitted once a day on everything before it, one athlete on top of that whenever asked:
the same data give the same numbers. Nothing is stored, and no advice hangs on it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from threading import Lock
from typing import TYPE_CHECKING

from dawnrule.application.athletes import require_athlete
from dawnrule.facts.illness import FEVER
from dawnrule.i18n.catalog import Texts
from dawnrule.model import Vocabulary
from dawnrule.model.concerns import ConcernRules
from dawnrule.model.entities import Athlete, Session
from dawnrule.model.forecasts import OwnForecast
from dawnrule.recovery.episodes import Episode, Morning, episodes_of, morning_of, still_sore
from dawnrule.recovery.numbers import RecoveryNumbers
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import RecoveryAnswers, Transaction

if TYPE_CHECKING:
    from dawnrule.recovery.forecast import AthleteRecovery, SquadRecovery
    from dawnrule.recovery.personal_rules import OwnHours
    from dawnrule.recovery.report import AgainstSquad, RecoveryReport

ONE_DAY = timedelta(days=1)
_GROWTH = "growth"


@dataclass(frozen=True, slots=True)
class RecoveryQuestion:
    """Whose recovery is asked for, for which kind of goal, at which times (aware), and now."""

    athlete_id: str
    kind: str
    now: datetime
    at: Sequence[datetime] = ()


@dataclass(frozen=True, slots=True)
class SquadMember:
    """An athlete beside the squad; ``against_squad`` is None where nothing was seen."""

    athlete_id: str
    times_seen: int
    against_squad: AgainstSquad | None

    @property
    def is_slower(self) -> bool:
        """Whether the athlete takes longer than the squad, beyond doubt."""
        return self.against_squad is not None and self.against_squad.is_slower


@dataclass(frozen=True, slots=True)
class ProposedRules:
    """Rules of one athlete's own: the rule file, None where nothing is proposed, and what it rests
    on."""

    athlete_id: str
    rule_file: str | None
    evidence: Sequence[OwnHours]


@dataclass(frozen=True, slots=True)
class _Log:
    """What is known of one athlete, in the order of time."""

    mornings: Sequence[Morning]
    sessions: Sequence[Session]


@dataclass(slots=True)
class Recoveries:
    """Recovery of a squad; keeps the last fit of each kind of goal until the day (UTC) is over."""

    numbers: RecoveryNumbers = field(default_factory=RecoveryNumbers.bundled)
    vocabulary: Vocabulary = field(default_factory=Vocabulary.bundled)
    _fits: dict[str, tuple[date, SquadRecovery]] = field(default_factory=dict)
    _one_fit: Lock = field(default_factory=Lock)

    def read(
        self, transaction: Transaction, question: RecoveryQuestion, texts: Texts
    ) -> RecoveryReport:
        """Report the recovery of one athlete in the language of ``texts``. Raises ``NotFound``."""
        from dawnrule.recovery.report import Reporter

        athlete = require_athlete(transaction, question.athlete_id)
        low_under = self.numbers.low_under[question.kind]
        recovery = self.of(transaction, athlete, question.kind, question.now)
        squad = self._squad(transaction, question.kind, question.now)
        reporter = Reporter(athlete, question.kind, low_under, question.now, texts, self.vocabulary)
        return reporter.report(recovery, squad.hours_against_squad(athlete.id), question.at)

    def forecasts(
        self, transaction: Transaction, athlete: Athlete, now: datetime, texts: Texts
    ) -> tuple[OwnForecast, ...]:
        """Forecast what is on the way after growth and landing work, where enough was seen of the
        athlete; the squad is not even fitted otherwise."""
        own, low_under = self._own(transaction, athlete, now), self.numbers.low_under[_GROWTH]
        seen = Counter(one.muscle_group for one in self._episodes(own, low_under) if one.was_seen)
        if max(seen.values(), default=0) < self.numbers.least_episodes:
            return ()
        from dawnrule.recovery.report import Reporter

        recovery = self._fit(transaction, athlete, own, _GROWTH, now)
        reporter = Reporter(athlete, _GROWTH, low_under, now, texts, self.vocabulary)
        return reporter.forecasts(recovery)

    def squad(self, transaction: Transaction, kind: str, now: datetime) -> list[SquadMember]:
        """Compare everybody with the squad, the slowest first; those of whom nothing was seen come
        last, by id."""
        from dawnrule.recovery.report import AgainstSquad

        fitted = self._squad(transaction, kind, now)
        found = []
        for athlete in transaction.athletes.all():
            factor = fitted.hours_against_squad(athlete.id)
            told = None if factor is None else AgainstSquad.of(factor)
            found.append(SquadMember(athlete.id, fitted.seen.get(athlete.id, 0), told))
        return sorted(found, key=_slowest_first)

    def proposed_rules(
        self, transaction: Transaction, athlete_id: str, extends: RuleSet, now: datetime
    ) -> ProposedRules:
        """Propose rules of one athlete's own that extend those that decide. Raises ``NotFound``."""
        from dawnrule.recovery.personal_rules import own_hours, rule_file

        athlete = require_athlete(transaction, athlete_id)
        recovery = self.of(transaction, athlete, _GROWTH, now)
        evidence = own_hours(recovery, self.numbers.rule_hours, now)
        named = f"{extends.name}@{extends.version}"
        text = rule_file(athlete_id, named, evidence) if evidence else None
        return ProposedRules(athlete_id, text, evidence)

    def of(
        self, transaction: Transaction, athlete: Athlete, kind: str, now: datetime
    ) -> AthleteRecovery:
        """Fit the recovery of one athlete for a kind of goal on top of the squad's."""
        return self._fit(transaction, athlete, self._own(transaction, athlete, now), kind, now)

    def of_each_kind(
        self, transaction: Transaction, athlete: Athlete, now: datetime
    ) -> dict[str, AthleteRecovery]:
        """Fit the same for every kind of goal, from a log that is read once."""
        own = self._own(transaction, athlete, now)
        return {
            kind: self._fit(transaction, athlete, own, kind, now) for kind in self.numbers.low_under
        }

    def _fit(
        self, transaction: Transaction, athlete: Athlete, own: _Log, kind: str, now: datetime
    ) -> AthleteRecovery:
        # numpy and scipy are slow to import, and nothing else needs them
        from dawnrule.recovery.forecast import AthleteRecovery, OwnEpisodes

        squad = self._squad(transaction, kind, now)
        low_under = self.numbers.low_under[kind]
        known = OwnEpisodes(
            self._episodes(own, low_under),
            athlete.age_years(athlete.today(now)),
            still_sore(own.sessions, own.mornings, low_under, self.vocabulary, self.numbers),
        )
        return AthleteRecovery.fit(athlete.id, known, squad, self.numbers)

    def _squad(self, transaction: Transaction, kind: str, now: datetime) -> SquadRecovery:
        from dawnrule.recovery.forecast import OwnEpisodes, SquadRecovery

        today = now.astimezone(UTC).date()
        with self._one_fit:
            fitted_on, squad = self._fits.get(kind, (None, None))
            if squad is None or fitted_on != today:
                episodes = self._episodes_of_everybody(transaction, kind, today)
                squad = SquadRecovery.fit(
                    {
                        athlete.id: OwnEpisodes(own, athlete.age_years(today))
                        for athlete, own in episodes
                    },
                    self.numbers,
                )
                self._fits[kind] = today, squad
            return squad

    def _episodes_of_everybody(
        self, transaction: Transaction, kind: str, today: date
    ) -> Iterator[tuple[Athlete, list[Episode]]]:
        first, end = today - timedelta(days=self.numbers.days), _midnight(today)
        answers: dict[str, list[RecoveryAnswers]] = defaultdict(list)
        for one in transaction.check_ins.recovery_answers(first, today):
            answers[one.athlete_id].append(one)
        for athlete in transaction.athletes.all():
            sessions = transaction.sessions.window(athlete.id, _midnight(first), end)
            log = self._log(athlete, answers[athlete.id], sessions)
            yield athlete, self._episodes(log, self.numbers.low_under[kind])

    def _own(self, transaction: Transaction, athlete: Athlete, now: datetime) -> _Log:
        today = athlete.today(now)
        first = today - timedelta(days=self.numbers.days)
        answers = transaction.check_ins.own_recovery_answers(athlete.id, first, today + ONE_DAY)
        sessions = transaction.sessions.window(athlete.id, _midnight(first), now)
        return self._log(athlete, answers, sessions)

    def _log(
        self,
        athlete: Athlete,
        answers: Iterable[RecoveryAnswers],
        sessions: Iterable[tuple[str, Session]],
    ) -> _Log:
        mornings = [_morning(athlete, one, self.numbers) for one in answers]
        return _Log(mornings, [session for _, session in sessions])

    def _episodes(self, log: _Log, low_under: float) -> list[Episode]:
        return episodes_of(log.sessions, log.mornings, low_under, self.vocabulary, self.numbers)


def _morning(athlete: Athlete, answers: RecoveryAnswers, numbers: RecoveryNumbers) -> Morning:
    is_hot = (answers.temperature_c or 0) >= ConcernRules.bundled().fever_from_c
    at = answers.reported_at or min(morning_of(athlete, answers.date, numbers), answers.received_at)
    return Morning(at.astimezone(UTC), answers.soreness, FEVER if is_hot else answers.illness)


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


def _slowest_first(member: SquadMember) -> tuple[float, str]:
    factor = member.against_squad.factor if member.against_squad else 0.0
    return -factor, member.athlete_id
